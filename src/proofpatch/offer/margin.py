"""Margin is profit over price, mark-up is profit over cost; they are never taken for each other."""

from __future__ import annotations

from decimal import Decimal

from proofpatch.errors import InputError
from proofpatch.offer.money import amount


def priced_by_margin(cost: Decimal, margin: Decimal) -> Decimal:
    """price = cost/(1 − margin).

    Raises:
        InputError: a margin that is none.
    """
    return cost / (1 - _margin(margin))


def priced_by_mark_up(cost: Decimal, mark_up: Decimal) -> Decimal:
    """price = cost (1 + mark-up).

    Raises:
        InputError: a mark-up that is none.
    """
    return cost * (1 + amount(mark_up, "mark_up", "The mark-up"))


def margin_of(mark_up: Decimal) -> Decimal:
    """margin = m/(1 + m).

    Raises:
        InputError: a mark-up that is none.
    """
    mark_up = amount(mark_up, "mark_up", "The mark-up")
    return mark_up / (1 + mark_up)


def mark_up_of(margin: Decimal) -> Decimal:
    """mark-up = m/(1 − m).

    Raises:
        InputError: a margin that is none.
    """
    margin = _margin(margin)
    return margin / (1 - margin)


def _margin(margin: Decimal) -> Decimal:
    margin = amount(margin, "margin", "The margin")
    if margin > Decimal("0.95"):
        raise InputError("margin", f"The margin of {margin} is more than 0.95.", "It is profit over price, below 1.")
    return margin
