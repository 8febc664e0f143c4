"""Money in decimals to the currency's smallest unit: rounding, sharing out without a cent lost, and how it is shown."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, ROUND_UP, Decimal, InvalidOperation
from fractions import Fraction
from functools import lru_cache
from typing import Any

from babel import Locale
from babel.core import UnknownLocaleError
from babel.numbers import format_currency, get_currency_precision

from proofpatch.errors import InputError

MOST = Decimal(10) ** 12  # of any currency; beyond it a figure is a slip
ROUNDINGS = {"half-up": ROUND_HALF_UP, "half-even": ROUND_HALF_EVEN}


@lru_cache(maxsize=1)
def currencies() -> frozenset[str]:
    """The codes of ISO 4217 that have a name in CLDR (through Babel)."""
    return frozenset(Locale("en").currencies)


@lru_cache(maxsize=64)
def minor_digits(currency: str) -> int:
    """Decimals of the smallest amount that is written in a currency.

    Raises:
        InputError: no such code.

    Source: Unicode CLDR through `babel.numbers.get_currency_precision`. These are the exponents of ISO 4217, but for
    14 currencies whose small coins are out of use, which CLDR writes without decimals (such as HUF, IDR, COP).
    """
    if not isinstance(currency, str) or currency not in currencies():
        raise InputError("currency", f"The currency {str(currency)[:20]!r} is not known.", "Give its code, like EUR.")
    return int(get_currency_precision(currency))


def amount(value: Any, field: str, words: str = "", low: int = 0) -> Decimal:
    """An amount of money or a plain number as a decimal, exactly as written.

    Raises:
        InputError: no number, not finite, below `low`, or absurd.
    """
    words = words or f"{field.rsplit('.', 1)[-1].replace('_', ' ').capitalize()}"
    text = value.strip() if isinstance(value, str) else value
    if isinstance(text, bool) or not isinstance(text, (str, int, float, Decimal)):
        raise InputError(field, f"{words} is not a number.", "Write it like 78.50.")
    try:
        # A float is meant as it is written: 0.1, not its nearest binary fraction.
        found = Decimal(repr(text)) if isinstance(text, float) else Decimal(text)
    except (InvalidOperation, ValueError):
        raise InputError(field, f"{words} {str(text)[:20]!r} is not a number.", "Write it like 78.50.") from None
    if not found.is_finite() or not low <= found <= MOST:
        raise InputError(field, f"{words} is outside {low} to {MOST:f}.", "Check it.")
    return found


def rounded(value: Decimal, currency: str, rounding: str = "half-up") -> Decimal:
    """The amount in whole smallest units; rounding: a name of ROUNDINGS.

    Raises:
        InputError: another rounding or currency.
    """
    if rounding not in ROUNDINGS:
        raise InputError("rounding", f"The rounding {rounding!r} is not known.", f"Use: {', '.join(ROUNDINGS)}.")
    return value.quantize(unit_of(currency), ROUNDINGS[rounding])


def rounded_up(value: Decimal, step: Decimal) -> Decimal:
    """The next whole multiple of a step, never less than the value."""
    return (value / step).quantize(Decimal(1), ROUND_UP) * step if step > 0 else value


def unit_of(currency: str) -> Decimal:
    """The smallest amount of a currency."""
    return Decimal(1).scaleb(-minor_digits(currency))


def shared_out(total: Decimal, weights: Sequence[Any], unit: Decimal) -> tuple[Decimal, ...]:
    """A total in parts of whole units that follow the weights and add up to it exactly.

    By the largest remainder: each gets the whole units of its quota, then those with the largest rest one more; of
    equal rests the earlier.

    Args:
        total: a whole multiple of `unit`, also negative. weights: ≥ 0, not all 0 (then all are taken as equal).

    Raises:
        InputError: no weights, one is negative, or the total is no multiple of the unit.

    Source: Hamilton's method of apportionment.
    """
    shares = [Fraction(weight) for weight in weights]
    if not shares or min(shares) < 0:
        raise InputError("weights", "Nothing to share out by.", "Give weights of at least nought.")
    units = total / unit
    if units != units.to_integral_value():
        raise InputError("total", f"The total {total} is not a whole number of {unit}.", "Round it first.")
    if sum(shares) == 0:
        shares = [Fraction(1)] * len(shares)
    sign, count = (-1 if units < 0 else 1), abs(int(units))
    quotas = [Fraction(count) * share / sum(shares) for share in shares]
    parts = [int(quota) for quota in quotas]
    order = sorted(range(len(parts)), key=lambda i: (parts[i] - quotas[i], i))
    for i in order[: count - sum(parts)]:
        parts[i] += 1
    return tuple(sign * part * unit for part in parts)


def shown(value: Decimal, currency: str, locale: str = "en") -> str:
    """The amount as people write it: €790.00, ¥790, 12,500 Ft.

    Raises:
        InputError: a locale that is none.
    """
    try:
        # A code of letters is no symbol: KWD 1.500, where Babel leaves no space.
        return re.sub(r"([A-Z]{3})(?=[0-9])", "\\1\u00a0", str(format_currency(value, currency, locale=locale)))
    except (UnknownLocaleError, ValueError):
        raise InputError("locale", f"The language {locale[:20]!r} is not known.", "Give it like en_GB.") from None
