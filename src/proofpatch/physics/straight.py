"""A body written element by element, taken down as one straight line of arithmetic.

The readable body is called once with `Term`s in the place of numbers. NumPy hands every operation to them, so what is
left is the list of all that is worked out, each thing once, and for each whether it depends on the setting, on the draw
or on both. What depends on one alone is worked out beforehand, with NumPy, once for each setting or draw (`table`);
only the rest has to be done for every pair (`text`, which a compiler lays into vector registers).

Rewritten on the way, each within rounding: x/y as x · (1/y) where 1/y is known beforehand or wanted twice, x/(y/z) as
x z/y, √(a b) as √a √b and ln(a b) as ln a + ln b where a depends on one side alone, √x √x as x.
"""

from __future__ import annotations

import ast
import inspect
import textwrap
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import special

Floats = NDArray[np.float64]
OF_SETTING, OF_DRAW, OF_PAIR = 1, 2, 3  # what a term depends on
# How a kernel writes it; what it costs there, counted from the series of `fast_math`.
SIGNS = {
    "add": "+", "subtract": "-", "multiply": "*", "divide": "/", "less": "<", "less_equal": "<=", "greater": ">",
    "greater_equal": ">=", "equal": "==", "bitwise_and": "&", "bitwise_or": "|",
}  # fmt: skip
CALLS = {
    "absolute": "absolute", "sqrt": "sqrt", "maximum": "larger", "minimum": "smaller", "exp": "exp", "log": "log",
    "expm1": "expm1", "log1p": "log1p", "tanh": "tanh", "erfc": "erfc", "where": "select",
}  # fmt: skip
FLOPS = {"exp": 23, "log": 33, "expm1": 25, "log1p": 38, "tanh": 30, "erfc": 58, "bitwise_and": 0, "bitwise_or": 0}
TRUTHS = {"less", "less_equal", "greater", "greater_equal", "equal", "bitwise_and", "bitwise_or"}
NUMBERED = {"add", "subtract", "multiply", "divide", "negative", "maximum", "minimum"}
EITHER_WAY = {"add", "multiply", "equal", "bitwise_and", "bitwise_or"}
PLAIN: dict[str, Callable[..., Any]] = {name: getattr(np, name) for name in {*SIGNS, *CALLS, "negative"} - {"erfc"}}
PLAIN["erfc"] = special.erfc


class Record:
    """All terms of one body, in the order they came up."""

    def __init__(self) -> None:
        self.terms: list[Term] = []
        self._seen: dict[Any, Term] = {}

    def input(self, side: int, number: int) -> Term:
        """What stands in a row: its column `number`."""
        return self._new("input", (side, number), side)

    def _new(self, what: str, parts: tuple[Any, ...], side: int) -> Term:
        key = (what, *(p.number if isinstance(p, Term) else (type(p).__name__, repr(p)) for p in parts))
        if key not in self._seen:
            self._seen[key] = term = Term(self, what, parts, side, len(self.terms))
            self.terms.append(term)
        return self._seen[key]

    def make(self, what: str, *parts: Any) -> Any:
        """The term of an operation, or its number where all parts are numbers."""
        if not any(isinstance(p, Term) for p in parts):
            with np.errstate(all="ignore"):
                return PLAIN[what](*parts)[()].item()
        simpler = self._simpler(what, parts)
        if simpler is not None:
            return simpler
        if what in EITHER_WAY:
            parts = tuple(sorted(parts, key=lambda p: p.number if isinstance(p, Term) else -1))
        return self._new(what, parts, _side(parts))

    def _simpler(self, what: str, parts: tuple[Any, ...]) -> Any:
        """The same in another form, or None."""
        a, b = parts[0], parts[-1]
        if what == "divide":
            if isinstance(b, Term) and b.what == "divide" and _side((b,)) == OF_PAIR:
                return self.make("divide", self.make("multiply", a, b.parts[1]), b.parts[0])
            if not isinstance(b, Term):
                return self.make("multiply", a, 1.0 / b) if b else None
            split = _split(b) if b.side == OF_PAIR else None
            if split is not None:
                known, rest = split
                return self.make("divide", self.make("multiply", a, self.make("divide", 1.0, known)), rest)
            if b.side != OF_PAIR and _side((a,)) not in (0, b.side):
                return self.make("multiply", a, self.make("divide", 1.0, b))
        elif what == "multiply":
            if a is b and a.what == "sqrt":
                return a.parts[0]
            for one, other in ((a, b), (b, a)):
                if not isinstance(one, Term) and one == 1.0:
                    return other
        elif what == "where" and not isinstance(a, Term):
            return parts[1] if a else b
        elif what in ("sqrt", "log") and a.side == OF_PAIR:
            split = _split(a)
            if split is not None and (isinstance(split[0], Term) or split[0] > 0.0):
                joined = "multiply" if what == "sqrt" else "add"
                return self.make(joined, self.make(what, split[0]), self.make(what, split[1]))
        return None


class Term:
    """One thing worked out: an operation on other terms and numbers."""

    __array_priority__ = 1e3

    def __init__(self, record: Record, what: str, parts: tuple[Any, ...], side: int, number: int) -> None:
        self.record, self.what, self.parts, self.side, self.number = record, what, parts, side, number

    def __array_ufunc__(self, ufunc: Any, method: str, *parts: Any, **options: Any) -> Any:
        if method != "__call__" or options or ufunc.__name__ not in {*PLAIN, "true_divide", "square", "power"}:
            raise TypeError(f"a body may not use {ufunc.__name__} ({method}, {sorted(options)})")
        if ufunc.__name__ == "power":
            return _power(self.record, *parts)
        if ufunc.__name__ == "square":
            return self.record.make("multiply", parts[0], parts[0])
        return self.record.make(ufunc.__name__, *(_number(p) for p in parts))

    def __array_function__(self, function: Any, kinds: Any, parts: Any, options: Any) -> Any:
        if function is not np.where or len(parts) != 3 or options:
            raise TypeError(f"a body may not use {function.__name__}")
        return self.record.make("where", *(_number(p) for p in parts))

    def __bool__(self) -> bool:
        raise TypeError("a body may not ask `if` of a value: use choose")

    def __pow__(self, exponent: Any) -> Any:
        return _power(self.record, self, exponent)

    def __rpow__(self, base: Any) -> Any:
        return _power(self.record, base, self)

    def __neg__(self) -> Any:
        return self.record.make("negative", self)

    def __abs__(self) -> Any:
        return self.record.make("absolute", self)

    def __hash__(self) -> int:
        return id(self)


def _operator(name: str, reverse: bool) -> Any:
    def operate(self: Term, other: Any) -> Any:
        parts = (_number(other), self) if reverse else (self, _number(other))
        return self.record.make(name, *parts)

    return operate


for _name, _mark in {
    "add": "add", "subtract": "sub", "multiply": "mul", "divide": "truediv", "bitwise_and": "and", "bitwise_or": "or",
}.items():  # fmt: skip
    setattr(Term, f"__{_mark}__", _operator(_name, False))
    setattr(Term, f"__r{_mark}__", _operator(_name, True))
for _name, _mark in {
    "less": "lt", "less_equal": "le", "greater": "gt", "greater_equal": "ge", "equal": "eq",
}.items():  # fmt: skip
    setattr(Term, f"__{_mark}__", _operator(_name, False))


def _number(part: Any) -> Any:
    if isinstance(part, Term):
        return part
    return bool(part) if isinstance(part, (bool, np.bool_)) else float(part)


def _side(parts: Iterable[Any]) -> int:
    side = 0
    for part in parts:
        side |= part.side if isinstance(part, Term) else 0
    return side


def _split(term: Term) -> tuple[Any, Any] | None:
    """(what depends on one side or on nothing, the rest) of a product of a pair."""
    if term.what != "multiply":
        return None
    a, b = term.parts
    if _side((a,)) != OF_PAIR:
        return a, b
    return (b, a) if _side((b,)) != OF_PAIR else None


def _power(record: Record, base: Any, exponent: Any) -> Any:
    if exponent in (2, 3) if not isinstance(exponent, Term) else False:
        square = record.make("multiply", base, base)
        return square if exponent == 2 else record.make("multiply", square, base)
    return record.make("exp", record.make("multiply", exponent, record.make("log", base)))


class _NoIf(ast.NodeTransformer):
    """Writes `if` as `choose` for every name set in it; a name not set before keeps what it is set to."""

    def __init__(self, arguments: Iterable[str]) -> None:
        self.known = set(arguments)

    def visit_Assign(self, node: ast.Assign) -> Any:
        self.known |= {n.id for target in node.targets for n in ast.walk(target) if isinstance(n, ast.Name)}
        return node

    def visit_If(self, node: ast.If) -> Any:
        if node.orelse or not all(isinstance(s, ast.Assign) for s in node.body):
            raise TypeError("a body may only set names in an `if`, without `else`")
        lines = [ast.unparse(ast.Assign([ast.Name("_if")], node.test, lineno=0))]
        for statement in node.body:
            assert isinstance(statement, ast.Assign)
            (target,) = statement.targets
            assert isinstance(target, ast.Name)
            value = ast.unparse(statement.value)
            lines.append(
                f"{target.id} = _choose(_if, {value}, {target.id})"
                if target.id in self.known
                else f"{target.id} = {value}"
            )
            self.known.add(target.id)
        return ast.parse("\n".join(lines)).body


def without_if(body: Callable[..., Any]) -> Callable[..., Any]:
    """The body with every `if` written as a choice between both sides."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(body)))
    (function,) = tree.body
    assert isinstance(function, ast.FunctionDef)
    function.decorator_list, function.returns = [], None
    for argument in function.args.args:
        argument.annotation = None
    tree = _NoIf(a.arg for a in function.args.args).visit(tree)
    scope = {**inspect.unwrap(body).__globals__, "_choose": _choose}
    exec(compile(ast.fix_missing_locations(tree), inspect.getfile(body), "exec"), scope)
    return scope[body.__name__]  # type: ignore[no-any-return]  # what exec made has no type


def _choose(condition: Any, yes: Any, no: Any) -> Any:
    return (
        condition.record.make("where", condition, yes, no)
        if isinstance(condition, Term)
        else (yes if condition else no)
    )


class Straight:
    """What a body comes to.

    Args:
        record: what its terms were noted in.
        found: what it returned, terms or numbers.
    """

    def __init__(self, record: Record, found: Sequence[Any]) -> None:
        self.record, self.found = record, tuple(found)
        self._share_divisors()
        needed = self._needed(self.found)
        self.pair = [t for t in needed if t.side == OF_PAIR]
        used = {p.number: p for t in self.pair for p in t.parts if isinstance(p, Term) and p.side != OF_PAIR}
        used |= {t.number: t for t in self.found if isinstance(t, Term) and t.side != OF_PAIR}
        ordered = [used[n] for n in sorted(used)]
        self.settings = [t for t in ordered if t.side == OF_SETTING]
        self.draws = [t for t in ordered if t.side == OF_DRAW]

    def _needed(self, found: Iterable[Any]) -> list[Term]:
        """All terms these rest on, in order."""
        waiting, seen = [t for t in found if isinstance(t, Term)], {}
        while waiting:
            term = waiting.pop()
            if term.number not in seen:
                seen[term.number] = term
                waiting += [p for p in term.parts if isinstance(p, Term)]
        return [seen[n] for n in sorted(seen)]

    def _share_divisors(self) -> None:
        """Divides once by what several things are divided by."""
        old = self._needed(self.found)
        wanted = Counter(t.parts[1].number for t in old if t.what == "divide" and t.side == OF_PAIR)
        fresh, new = Record(), dict[int, Any]()
        for term in old:
            if term.what == "input":
                new[term.number] = fresh.input(*term.parts)
                continue
            parts = tuple(new[p.number] if isinstance(p, Term) else p for p in term.parts)
            if term.what == "divide" and term.side == OF_PAIR and wanted[term.parts[1].number] > 1:
                inverse = fresh._new("divide", (1.0, parts[1]), _side(parts[1:]))
                new[term.number] = fresh.make("multiply", parts[0], inverse)
            else:
                new[term.number] = fresh._new(term.what, parts, term.side)
        self.record = fresh
        self.found = tuple(new[t.number] if isinstance(t, Term) else t for t in self.found)

    def table(self, side: int, rows: Floats) -> Floats:
        """Everything of one side that a pair needs, worked out with NumPy: (columns, rows) from (rows, inputs)."""
        wanted = self.settings if side == OF_SETTING else self.draws
        values: dict[int, Any] = {}
        with np.errstate(all="ignore"):  # a choice works out the side it does not take
            for term in self._needed(wanted):
                if term.what == "input":
                    values[term.number] = rows[:, term.parts[1]]
                else:
                    parts = (values[p.number] if isinstance(p, Term) else p for p in term.parts)
                    values[term.number] = PLAIN[term.what](*parts)
        table = np.empty((len(wanted), len(rows)))
        for column, term in enumerate(wanted):
            table[column] = values[term.number]
        return table

    def text(self, setting: str, draw: str) -> tuple[list[str], list[str]]:
        """(statements, what is returned); setting, draw: how a column is read, with {} for its number."""
        words = {t.number: f"({setting.format(n)} != 0.0)" if _truth(t) else setting.format(n)
                 for n, t in enumerate(self.settings)}  # fmt: skip
        words |= {t.number: f"(d{n} != 0.0)" if _truth(t) else f"d{n}" for n, t in enumerate(self.draws)}

        def word(part: Any, number: bool = False) -> str:
            if not isinstance(part, Term):
                return repr(float(part)) if number or not isinstance(part, bool) else repr(part)
            name = words.get(part.number, f"t{part.number}")
            return f"select({name}, 1.0, 0.0)" if number and _truth(part) else name

        lines = [f"d{n} = {draw.format(n)}" for n in range(len(self.draws))]  # no load left within a choice
        for term in self.pair:
            parts = [
                word(p, term.what in NUMBERED or (term.what == "where" and n > 0)) for n, p in enumerate(term.parts)
            ]
            if term.what == "negative":
                value = f"-{parts[0]}"
            elif term.what in SIGNS:
                value = f"{parts[0]} {SIGNS[term.what]} {parts[1]}"
            else:
                value = f"{CALLS[term.what]}({', '.join(parts)})"
            lines.append(f"t{term.number} = {value}")
        return lines, [word(t, True) for t in self.found]

    def flops(self) -> int:
        """Operations on numbers for one pair."""
        return sum(FLOPS.get(t.what, 1) for t in self.pair)

    def count(self) -> Counter[str]:
        """How often each operation comes up for one pair."""
        return Counter(t.what for t in self.pair)


def _truth(term: Term) -> bool:
    return term.what in TRUTHS
