"""The readable bodies of grading, compiled for several draws side by side.

A body marked `@elementwise` is NumPy for people. Here the same text is compiled with NumPy's functions exchanged for
those of `physics.fast_math` and every function it calls built in, so that the compiler lays it into vector registers.
The outcome itself goes another way: `physics.straight`.
"""

from __future__ import annotations

import ast
import inspect
import textwrap
import types
from collections.abc import Callable
from typing import Any

import numpy as np

from proofpatch.physics import elementwise, fast_math

numba = elementwise.numba
# Contracting and reciprocals move the last digits only; sums keep their order, so any number of threads agrees.
LIBERTIES = {"contract", "arcp", "nsz"}


def _text(function: Callable[..., Any]) -> Any:
    """The code of a function without decorators and annotations."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(function)))
    body = tree.body[0]
    assert isinstance(body, ast.FunctionDef)
    body.decorator_list, body.returns = [], None
    for argument in body.args.args:
        argument.annotation = None
    made = compile(ast.fix_missing_locations(tree), inspect.getfile(function), "exec")
    return next(c for c in made.co_consts if isinstance(c, types.CodeType))


if numba is not None:
    _built = numba.njit(forceinline=True, error_model="numpy", fastmath=LIBERTIES)
    _fast = {name: getattr(fast_math, name) for name in dir(fast_math) if not name.startswith("_")}
    _fast_scope: dict[str, Any] = dict(vars(fast_math))
    vector = types.ModuleType("vector")
    for _name in ("absolute", "maximum", "minimum", "sqrt", "choose", "exp", "log", "expm1", "log1p", "tanh", "erfc"):
        _twin = _built(types.FunctionType(_fast[_name].__code__, _fast_scope, _name))
        _fast_scope[_name] = _twin
        setattr(vector, _name, _twin)
    vector.abs = vector.absolute  # type: ignore[attr-defined]  # NumPy's second name for it
    _known: dict[Callable[..., Any], Any] = {}

    log, sqrt = vector.log, vector.sqrt

    def _plain_twin(function: Callable[..., Any]) -> Any:
        """The function as the compiler is to see it: its text, over twins of all that it calls."""
        scope = dict(function.__globals__)
        for name in function.__code__.co_names:
            found = scope.get(name)
            if found is np:
                scope[name] = vector
            elif found in (elementwise.erfc, elementwise.choose):
                scope[name] = getattr(vector, found.__name__)
            elif isinstance(found, types.FunctionType) and found.__module__.startswith("proofpatch."):
                scope[name] = lanes(found)
        return types.FunctionType(_text(function), scope, function.__name__, function.__defaults__)

    def lanes(function: Callable[..., Any]) -> Any:
        """The compiled twin of an elementwise function, for use within a kernel."""
        if function not in _known:
            _known[function] = _built(_plain_twin(function))
        return _known[function]


def which(layers: int) -> tuple[int, ...]:
    """What tells a kernel how many layers there are: a tuple so long."""
    return tuple(range(layers))
