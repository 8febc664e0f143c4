"""How the command `offer` reads its options and shows an offer."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal
from pathlib import Path
from typing import Any

from proofpatch.cli_show import wrapped
from proofpatch.errors import InputError
from proofpatch.offer.money import shown
from proofpatch.offer.quote import Quote
from proofpatch.offer.written import UNPROVEN, spoken
from proofpatch.units import percent

MOST_PARTS = 12


def check_chance(given: Any) -> float | None:
    """The chance with which the price is to hold, of --chance.

    Raises:
        InputError: no share between 5 and 99 %.
    """
    from proofpatch.units import parse

    return None if given is None else parse(given, "share", "--chance", 0.05, 0.99)


def check_price(given: Any) -> Decimal | None:
    """The owner's own price of --price.

    Raises:
        InputError: no sum.
    """
    from proofpatch.offer.money import amount

    if given is None:
        return None
    found = amount(given, "--price", "--price")
    if found <= 0:
        raise InputError("--price", "--price is nought.", "Give what you want to ask for the job.")
    return found


def write_quote_pdf(quote: Quote, work: Any, path: str) -> None:
    """The quote into a file, whole or not at all.

    Raises:
        InputError: it cannot be written, or a name has letters without a shape.
    """
    from proofpatch.documents.quote import quote_pdf
    from proofpatch.documents.whole import write_whole

    paper = work.offer["letterhead"].get("paper", "a4")
    write_whole(Path(path), quote_pdf(quote, paper), "page")


def offer_lines(record: Mapping[str, Any], pdf: Any = None) -> list[str]:
    """The offer as text: the answer, the hours and what makes the doubt, the cost, the other ways."""
    code = record["currency"]

    def money(value: Any) -> str:
        return shown(Decimal(str(value)), code)

    def rough(value: float) -> str:
        return shown(Decimal(round(value)), code) if abs(value) >= 100 else shown(Decimal(repr(round(value, 2))), code)

    time = record["time_s"]
    lines = wrapped(f"{record['answer']} {spoken(time['p10'])} to {spoken(time['p90'])} of work, 8 times in 10.")
    lines += ["", *wrapped(record["because"])]
    if Decimal(record["tax"]):
        lines += wrapped(f"With tax {money(record['gross'])}, of it {money(record['tax'])} tax.")
    firm = record["quote"]["basis"] != "estimate"
    if not firm:
        lines += ["", *wrapped(f"No patch confirmed the recipe: this is an estimate, no quote. {UNPROVEN}")]
    lines += ["", "Where the hours go, 8 times in 10:"]
    for part in record["parts"][:MOST_PARTS]:
        lines.append(f"  {part['what']:<20} {_minutes(part['p10'])} to {_minutes(part['p90'])} min")
    if record["doubts"]:
        lines += ["", "What makes the doubt:"]
        for one in record["doubts"][:4]:
            lines += wrapped(f"{one['sentence']} ({one['source']})", "  ")
    lines += ["", "What it costs you, 8 times in 10:"]
    for one in record["cost_lines"]:
        lines.append(f"  {one['what']:<20} {rough(one['p10'])} to {rough(one['p90'])}")
    lines += ["", "The least price that holds:"]
    floor = f" and earns {money(record['floor_per_h'])} an hour" if record["floor_per_h"] else ""
    for p, value in record["for_chance"].items():
        lines.append(f"  {p} times in 100{floor}: {money(value)}")
    if record["choices"]:
        lines += ["", "Other ways:"]
        for one in record["choices"]:
            ends = f"{spoken(one['time_s']['p10'])} to {spoken(one['time_s']['p90'])}"
            harm = f"harm {percent(one['p_harm'])}"
            lines += wrapped(f"{one['name']}: {money(one['net'])}, {ends}, {harm}. {one['words']}", "  ")
    if len(record["per_piece"]) > 1:
        lines += ["", "By the piece:"]
        for one in record["per_piece"]:
            lines.append(f"  {one['pieces']} at {money(one['each'])} each, {spoken(one['time_each_s'])} each")
    lines += ["", *wrapped("; ".join(record["assumptions"]) + ("." if record["assumptions"][-1][-1] != "." else ""))]
    if pdf:
        lines += ["", f"The {'quote' if firm else 'estimate'} is in {pdf}."]
    return lines


def _minutes(seconds: float) -> str:
    return f"{seconds / 60:.0f}" if seconds >= 30 else "0"
