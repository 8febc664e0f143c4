"""The few errors a caller can do something about."""

from __future__ import annotations


class InputError(ValueError):
    """A value given by the user that cannot be used; `field` names the argument or form field.

    The message is one or two plain sentences: what is wrong, and what to do.
    A face turns it into exit code 2 or a sentence at the field; a bug is never an InputError.
    """

    def __init__(self, field: str, problem: str, remedy: str = "") -> None:
        super().__init__(f"{problem} {remedy}".strip())
        self.field = field
        self.problem = problem
        self.remedy = remedy


def expect(field: str, value: object, kind: type | tuple[type, ...], remedy: str) -> None:
    """One sentence when a call is given a thing of another kind.

    Raises:
        InputError: `value` is not a `kind`.
    """
    if not isinstance(value, kind):
        names = " or ".join(k.__name__ for k in (kind if isinstance(kind, tuple) else (kind,)))
        raise InputError(field, f"{field} is a {type(value).__name__}, not a {names}.", remedy)
