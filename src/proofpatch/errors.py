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
