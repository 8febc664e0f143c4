"""What is typed of prices and sums, between a form and the tables of a job file.

A field is named after its key, "offer.pieces" or "zones[1].masking", so that what is wrong is said at it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Any

from proofpatch.errors import InputError
from proofpatch.phrases import raised
from proofpatch.shop.job_tables import KEYS
from proofpatch.shop.offer_keys import WHOLES
from proofpatch.shop.values import FACTORS
from proofpatch.web.shell import Form, text

MOST_LINES = 12
GROUPS = re.compile(r"(?<=[0-9])[ \u00a0\u2009\u202f'’](?=[0-9]{3}(?:\D|$))")
YES, NO = "yes", "no"


def put(table: dict[str, Any], name: str, keys: Iterable[str], form: Form, place: str = "") -> None:
    """The fields of a form into a table, by the kinds of its keys; what is empty is taken out.

    Args:
        name: of the table. place: as its fields are called, where that is another.

    Raises:
        InputError: no number where one is needed.
    """
    for key in keys:
        kind, field = KEYS[name][key], f"{place or name}.{key}"
        table.pop(key, None)
        said = lines(form, field) if kind == "texts" else text(form, field)
        if said in ("", []):
            continue
        table[key] = read(kind, field, said)


def read(kind: str, field: str, said: Any) -> Any:
    """A value as a job file has it."""
    words = key_words(field)
    if kind == "flag":
        return said == YES
    if field == "prices.subcontract":
        return ["; ".join(summed(field, line)) for line in said]
    if kind in ("texts", "text"):
        return said
    if kind in WHOLES:
        low, high = WHOLES[kind]
        plain = GROUPS.sub("", said)
        if not re.fullmatch(r"[0-9]{1,9}", plain) or not low <= int(plain) <= high:
            raise InputError(
                field, f"{words} {said[:20]!r} is no whole number from {low} to {high}.", "Write it like 2."
            )
        return int(plain)
    if kind == "money":
        return money(field, said)
    if kind in FACTORS:
        least, most = FACTORS[kind]
        found = number(field, said)
        if not least <= found <= most:
            raise InputError(field, f"{words} is not from {least:g} to {most:g}.", "Check it.")
        return found
    return said


def summed(field: str, line: str) -> tuple[str, str]:
    """(words, sum) of a line like "Refinishing; 120,00".

    Raises:
        InputError: it has no sum.
    """
    words, mark, value = line.rpartition(";")
    if not mark or not words.strip():
        raise InputError(field, f"The line {line[:30]!r} has no sum.", "Write it like Refinishing; 120.00.")
    return words.strip(), money(field, value)


def number(field: str, said: str) -> float:
    """A plain number, with point or comma before its decimals.

    Raises:
        InputError: it is none, or can be read in two ways.
    """
    return float(money(field, said))


def money(field: str, said: str) -> str:
    """A sum as it was typed, with a point before its decimals.

    Raises:
        InputError: it is none, or can be read in two ways.
    """
    words = key_words(field)
    plain = GROUPS.sub("", said.strip())
    if re.fullmatch(r"[0-9]{1,3}[.,][0-9]{3}", plain) and not plain.startswith("0"):
        whole, part = re.split("[.,]", plain)
        raise InputError(
            field, f"{words} {said[:20]!r} can be read in two ways.", f"Write {whole}{part} or {whole}.{part}0."
        )
    if not re.fullmatch(r"-?[0-9]{1,13}(?:[.,][0-9]{1,9})?", plain):
        raise InputError(field, f"{words} {said[:20]!r} is no sum.", "Write it like 78.50, without a sign before it.")
    return plain.replace(",", ".")


def lines(form: Form, name: str) -> list[str]:
    """The lines of a field that has several; empty ones are left out."""
    value = form.get(name, "")
    said = [" ".join(line.split()) for line in value.splitlines()] if isinstance(value, str) else []
    found = [line for line in said if line]
    if len(found) > MOST_LINES:
        raise InputError(name, f"{key_words(name)} has more than {MOST_LINES} lines.", "Shorten it.")
    return found


def told(table: Mapping[str, Any], name: str, place: str = "") -> dict[str, str]:
    """A table of a job as its form shows it."""
    found = {}
    for key, value in table.items():
        field = f"{place or name}.{key}"
        if isinstance(value, bool):
            found[field] = YES if value else NO
        elif isinstance(value, list):
            found[field] = "\n".join(map(str, value))
        elif isinstance(value, float) and value == int(value):
            found[field] = str(int(value))
        else:
            found[field] = str(value)
    return found


def key_words(field: str) -> str:
    """A field as a sentence calls it."""
    words = re.sub(r"\[(\d+)\]", lambda found: f" {int(found[1]) + 1}", field).replace(".", ": ").replace("_", " ")
    return raised(words)
