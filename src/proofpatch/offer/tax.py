"""Tax as the shop sets it, and what a customer owes: net, tax, gross, deposit and rest."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from decimal import Decimal

from proofpatch.errors import InputError
from proofpatch.offer.money import ROUNDINGS, amount, rounded

PER = ("total", "line")


@dataclass(frozen=True)
class Tax:
    """Of a shop. No law stands in here: the shop, or who keeps its books, sets it.

    Args:
        rate: 0.2 for 20 %. name: as the paper calls it. inclusive: prices are with tax.
        per: "total" or "line", where it is rounded. rounding: "half-up" or "half-even".
        number: the shop's tax number.

    Raises:
        InputError: a setting that is none.
    """

    rate: Decimal = Decimal(0)
    name: str = "Tax"
    inclusive: bool = False
    per: str = "total"
    rounding: str = "half-up"
    number: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "rate", amount(self.rate, "tax.rate", "The tax rate"))
        if self.rate > 1:
            raise InputError("tax.rate", f"The tax rate of {self.rate} is more than the whole.", "Write 20 % as 0.2.")
        for field, known in (("per", PER), ("rounding", tuple(ROUNDINGS))):
            if getattr(self, field) not in known:
                said = f"The {field} of the tax, {str(getattr(self, field))[:20]!r}, is not known."
                raise InputError(f"tax.{field}", said, f"Use: {', '.join(known)}.")


@dataclass(frozen=True)
class Totals:
    """Amounts in whole smallest units; net + tax = gross exactly."""

    net: Decimal
    tax: Decimal
    gross: Decimal


def totals(lines: Sequence[tuple[Decimal, bool]], tax: Tax, currency: str) -> Totals:
    """What lines of (amount, taxed) come to.

        tax = r Σ a,   gross = Σ a + tax              prices without tax         (1)
        tax = r/(1 + r) Σ a,   gross = Σ a            prices with tax            (2)

    Rounded once on the total, or on each line and then summed, as the shop sets it.

    Raises:
        InputError: as `rounded`.
    """
    share = tax.rate / (1 + tax.rate) if tax.inclusive else tax.rate
    taxed = [value for value, liable in lines if liable]
    if tax.per == "line":
        owed = sum((rounded(value * share, currency, tax.rounding) for value in taxed), Decimal(0))
    else:
        owed = rounded(sum(taxed, Decimal(0)) * share, currency, tax.rounding)
    said = sum((value for value, _ in lines), Decimal(0))
    net = said - owed if tax.inclusive else said
    return Totals(rounded(net, currency), rounded(owed, currency), rounded(net + owed, currency))
