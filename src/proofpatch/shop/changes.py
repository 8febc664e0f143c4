"""Who changed what of a job, and when, in words."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from proofpatch.shop.store import Entry, Store

WORDS = {"made": "taken in", "changed": "changed", "deleted": "put away", "restored": "brought back",
         "aside": "changed too late; kept beside"}  # fmt: skip
MOST = 4  # differences that are named
LONGEST = 40  # characters of a value


def past(store: Store, entry: Entry) -> list[dict[str, Any]]:
    """The changes of a job, the newest first.

    Returns:
        at, by, what (in words), said (what is different from the version before), number, differs (from now).
    """
    rows: list[dict[str, Any]] = []
    before: Mapping[str, Any] = {}
    for one in store.history("job", entry.id):
        rows.append({
            "at": one.at, "by": one.by, "what": WORDS[one.what], "number": one.number,
            "said": differences(before, one.data) if rows else [], "differs": one.data != entry.data,
        })  # fmt: skip
        if one.what != "aside":
            before = one.data
    return rows[::-1]


def differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> list[str]:
    """What two versions of a job's tables differ in, "evidence alcohol: none", the first few of them."""
    found = []
    for table in sorted({*before, *after}):
        old, new = before.get(table), after.get(table)
        if old == new:
            continue
        if not isinstance(old or {}, Mapping) or not isinstance(new or {}, Mapping):
            found.append(table)
            continue
        was, now = dict(old or {}), dict(new or {})
        found += [
            f"{table} {key}: {shortened(now[key])}" if key in now else f"{table} {key} taken out"
            for key in sorted({*was, *now})
            if was.get(key) != now.get(key)
        ]
    return found[:MOST] + ([f"and {len(found) - MOST} more"] if len(found) > MOST else [])


def last_change(store: Store, entry: Entry) -> str:
    """What an undo would take back, in a few words; empty where there is nothing."""
    rows = [row for row in past(store, entry) if row["what"] == WORDS["changed"]]
    return ", ".join(rows[0]["said"][:2]) if rows else ""


def shortened(value: Any) -> str:
    """A value as a change names it, cut where it is long."""
    words = ", ".join(map(str, value)) if isinstance(value, list) else str(value)
    return words if len(words) <= LONGEST else f"{words[: LONGEST - 1]}…"
