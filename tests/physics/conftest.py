"""What the physics tests share: a printed number and its rounding."""

from decimal import Decimal

import pytest


@pytest.fixture
def printed():
    """A number as printed: equal within half a unit of its last digit, and `slack` for rounded inputs."""

    def approx(text: str, slack: float = 0.0):
        number = Decimal(text)
        half = Decimal(5).scaleb(number.as_tuple().exponent - 1)
        return pytest.approx(float(number), abs=float(half) * (1 + 1e-9) + slack, rel=0)

    return approx
