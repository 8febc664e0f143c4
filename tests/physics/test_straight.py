"""A body taken down as a straight line against the body itself."""

import numpy as np
import pytest

from proofpatch.physics.elementwise import choose, erfc
from proofpatch.physics.straight import OF_DRAW, OF_PAIR, OF_SETTING, PLAIN, Record, Straight, Term, without_if


def body(draw, setting, target):
    """Every operation, every kind of side, an `if` on a value and things worth rewriting."""
    x, y = draw
    p, q = setting
    both = np.sqrt(3.0 * x * p) + np.log(x * p) + (x + p) / (q * (y + p)) + y / ((x + q) / (p + y))
    shared = p / (x + p) + y / (x + p) + np.sqrt(x + p) * np.sqrt(x + p)
    shared = shared + np.expm1(-x * p) + np.log1p(x * p) + np.tanh(x - p) + erfc(x - q) + np.abs(y - p) ** 3
    risen = x ** (0.5 * p) + np.minimum(x, p) * np.maximum(y, q) * (x <= p) - (x == p) * 2.0
    risen = risen + 2.5 / (x + q) - (1.5 - y)
    found = choose((x > p) & (y < q) | (x >= 1.5), both, shared) + risen
    if target > 0.5:
        found = found * np.exp(-p)
        aside = x / p
    return found, choose(target > 0.5, aside, 0.0), x * y, 2.0


def taken():
    record = Record()
    draw = [record.input(OF_DRAW, n) for n in range(2)]
    row = [record.input(OF_SETTING, n) for n in range(3)]
    return Straight(record, without_if(body)(draw, row[:2], row[2]))


def gone_along(line, draws, settings):
    """What a kernel does, in NumPy: the tables, then the text."""
    scope = {name: PLAIN[name] for name in ("absolute", "sqrt", "exp", "log", "expm1", "log1p", "tanh", "erfc")}
    scope |= {"select": np.where, "larger": np.maximum, "smaller": np.minimum, "inf": np.inf}
    scope |= {"d": line.table(OF_DRAW, draws)[:, :, None], "s": line.table(OF_SETTING, settings)[:, None, :]}
    lines, found = line.text("s[{}]", "d[{}]")
    exec("\n".join([*lines, f"found = [{', '.join(found)}]"]), scope)
    return scope["found"]


# The body itself, in NumPy, is the outside reference.
def test_the_line_says_what_the_body_says():
    rng = np.random.default_rng(1)
    draws, settings = rng.uniform(0.1, 3, (50, 2)), rng.uniform(0.1, 3, (40, 3))
    settings[:, 2] = np.arange(40) % 2
    found = gone_along(taken(), draws, settings)
    for j, row in enumerate(settings):
        exact = without_if(body)(draws.T, row[:2], row[2])
        for a, b in zip(found, exact, strict=True):
            mine = np.broadcast_to(a, (50, 40))[:, j]
            np.testing.assert_allclose(mine, np.broadcast_to(b, 50), rtol=1e-12, atol=1e-13)


def test_what_hangs_on_one_side_is_worked_out_once():
    record = Record()
    x, p = record.input(OF_DRAW, 0), record.input(OF_SETTING, 0)
    line = Straight(record, [np.exp(x) * np.exp(-p), np.sqrt(x * p), 1.0 / (x * p)])
    # Nothing but products is left for the pairs.
    assert set(line.count()) == {"multiply"}
    assert all(t.side == OF_PAIR for t in line.pair)
    assert line.flops() == sum(line.count().values()) == 3
    assert len(line.draws) == len(line.settings) == 3


def test_a_divisor_wanted_twice_is_divided_by_once():
    record = Record()
    x, p = record.input(OF_DRAW, 0), record.input(OF_SETTING, 0)
    line = Straight(record, [x / (x + p), p / (x + p)])
    assert line.count() == {"add": 1, "divide": 1, "multiply": 2}


def test_the_same_thing_is_noted_once():
    record = Record()
    x, p = record.input(OF_DRAW, 0), record.input(OF_SETTING, 0)
    assert x + p is p + x
    assert np.exp(x - p) is np.exp(x - p)
    assert x - p is not p - x


def test_what_a_line_cannot_hold_is_refused():
    x = Record().input(OF_DRAW, 0)
    assert isinstance(x, Term)
    with pytest.raises(TypeError, match="choose"):
        bool(x > 1.0)
    with pytest.raises(TypeError, match="sin"):
        np.sin(x)
    with pytest.raises(TypeError, match="clip"):
        np.clip(x, 0.0, 1.0)

    def otherwise(a):
        if a > 0:
            b = a + 1.0
        else:
            b = a - 1.0
            a = b
        return a + b

    with pytest.raises(TypeError, match="else"):
        without_if(otherwise)
