"""The readable bodies, compiled for several draws side by side.

A body marked `@elementwise` is NumPy for people. Here the same text is compiled with NumPy's functions exchanged for
those of `physics.fast_math`, loops over the layers written out, and every function it calls built in: what is left is
one straight line of arithmetic, which the compiler lays into vector registers, eight or more draws at once.

Draws stand in blocks of WIDE: (blocks, columns, WIDE), flat, so that every load is at a known distance from the first.
"""

from __future__ import annotations

import ast
import inspect
import textwrap
import types
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from proofpatch.physics import elementwise, fast_math
from proofpatch.physics.rows import LAYER, SETTING, SUBSTRATE

Floats = NDArray[np.float64]
WIDE = 16
numba = elementwise.numba
# Contracting and reciprocals move the last digits only; sums keep their order, so any number of threads agrees.
LIBERTIES = {"contract", "arcp", "nsz"}


def blocks_of(layer: Floats, sub: Floats, weight: Floats) -> tuple[Floats, Floats, int]:
    """(draws in blocks, flat; their weights, 0 where a block is filled up; number of blocks)."""
    draws = len(layer)
    count = -(-draws // WIDE)
    table = np.concatenate([layer.reshape(draws, -1), sub], axis=1)
    table = np.concatenate([table, np.repeat(table[-1:], count * WIDE - draws, axis=0)])
    flat = np.ascontiguousarray(np.moveaxis(table.reshape(count, WIDE, -1), 1, 2)).ravel()
    return flat, np.concatenate([weight, np.zeros(count * WIDE - draws)]), count


class _Unrolled(ast.NodeTransformer):
    """Writes out every `for i in range(count)`."""

    def __init__(self, count: int) -> None:
        self.count = count

    def visit_For(self, node: ast.For) -> Any:
        if ast.unparse(node.iter) != "range(count)":
            return node
        assert isinstance(node.target, ast.Name)
        body = []
        for number in range(self.count):
            body.append(ast.parse(f"{node.target.id} = {number}").body[0])
            fixed = _Fixed(node.target.id, number)
            body += [fixed.visit(ast.parse(ast.unparse(statement)).body[0]) for statement in node.body]
        return body


class _Fixed(ast.NodeTransformer):
    """Puts a number in the place of a name."""

    def __init__(self, name: str, number: int) -> None:
        self.name, self.number = name, number

    def visit_Name(self, node: ast.Name) -> Any:
        return ast.Constant(self.number) if node.id == self.name and isinstance(node.ctx, ast.Load) else node


def _text(function: Callable[..., Any], layers: int) -> Any:
    """The code of a function with its loops over layers written out."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(function)))
    body = tree.body[0]
    assert isinstance(body, ast.FunctionDef)
    body.decorator_list, body.returns = [], None
    for argument in body.args.args:
        argument.annotation = None
    made = compile(ast.fix_missing_locations(_Unrolled(layers).visit(tree)), inspect.getfile(function), "exec")
    return next(c for c in made.co_consts if isinstance(c, types.CodeType))


if numba is not None:
    from numba.extending import overload

    _built = numba.njit(forceinline=True, error_model="numpy", fastmath=LIBERTIES)
    _fast = {name: getattr(fast_math, name) for name in dir(fast_math) if not name.startswith("_")}
    _fast_scope: dict[str, Any] = dict(vars(fast_math))
    vector = types.ModuleType("vector")
    for _name in ("absolute", "maximum", "minimum", "sqrt", "choose", "exp", "log", "expm1", "log1p", "tanh", "erfc"):
        _twin = _built(types.FunctionType(_fast[_name].__code__, _fast_scope, _name))
        _fast_scope[_name] = _twin
        setattr(vector, _name, _twin)
    vector.abs = vector.absolute  # type: ignore[attr-defined]  # NumPy's second name for it
    _known: dict[tuple[Callable[..., Any], int], Any] = {}

    log, sqrt = vector.log, vector.sqrt

    def plain_twin(function: Callable[..., Any], layers: int = 1) -> Any:
        """The function as the compiler is to see it: its text, over twins of all that it calls."""
        scope = dict(function.__globals__)
        for name in function.__code__.co_names:
            found = scope.get(name)
            if found is np:
                scope[name] = vector
            elif found in (elementwise.erfc, elementwise.choose):
                scope[name] = getattr(vector, found.__name__)
            elif isinstance(found, types.FunctionType) and found.__module__.startswith("proofpatch."):
                scope[name] = lanes(found, layers)
        return types.FunctionType(_text(function, layers), scope, function.__name__, function.__defaults__)

    def lanes(function: Callable[..., Any], layers: int = 1) -> Any:
        """The compiled twin of an elementwise function, for use within a kernel."""
        key = (function, layers)
        if key not in _known:
            _known[key] = _built(plain_twin(function, layers))
        return _known[key]

    def _made(name: str, arguments: str, value: str) -> Any:
        """A function of one expression."""
        scope: dict[str, Any] = {}
        exec(f"def {name}({arguments}):\n    return {value}\n", scope)
        return scope[name]

    def _columns(first: int, count: int) -> str:
        return ", ".join(f"flat[start + {WIDE * (first + j)} + lane]" for j in range(count))

    def stack(flat: Any, start: Any, lane: Any, which: Any) -> Any:
        """The layers of one draw, a tuple of tuples; as many as `which` is long."""
        raise NotImplementedError

    @overload(stack, strict=False, jit_options={"forceinline": True})
    def _stack(flat: Any, start: Any, lane: Any, which: Any) -> Any:
        layers = [f"({_columns(i * len(LAYER), len(LAYER))},)" for i in range(len(which))]
        return _made("stack", "flat, start, lane, which", f"({', '.join(layers)},)")

    def under(flat: Any, start: Any, lane: Any, which: Any) -> Any:
        """The substrate of one draw, a tuple."""
        raise NotImplementedError

    @overload(under, strict=False, jit_options={"forceinline": True})
    def _under(flat: Any, start: Any, lane: Any, which: Any) -> Any:
        return _made("under", "flat, start, lane, which", f"({_columns(len(which) * len(LAYER), len(SUBSTRATE))},)")

    setting_of = _built(_made("setting_of", "rows, j", f"({', '.join(f'rows[j, {k}]' for k in range(len(SETTING)))},)"))


def which(layers: int) -> tuple[int, ...]:
    """What tells a kernel how many layers there are: a tuple so long."""
    return tuple(range(layers))


def columns(layers: int) -> int:
    """Numbers a draw has."""
    return layers * len(LAYER) + len(SUBSTRATE)


__all__: Sequence[str] = ["WIDE", "blocks_of", "columns", "which"]
