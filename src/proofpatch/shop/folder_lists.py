"""What of a job's folder is for people: lists for a spreadsheet, and the page that explains the rest."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from proofpatch.learn.evidence import HARMS, RESIDUES
from proofpatch.shop.folder import Folder, Record

# In the order they are explained. What a program computed anew from the rest has no list.
LISTED = {
    "patch": "graded test patches and control patches",
    "strip": "strips of test patches as they were laid out",
    "day": "checks at the start of a day",
    "run": "what happened at the piece, in order",
    "photo": "which photo shows what",
    "pair": "photos before and after that were chosen for the record",
    "note": "notes",
    "quote": "quotes as they were sent",
    "acceptance": "who accepted which quote",
    "approval": "samples that were approved, or not",
    "payment": "money that came in",
    "invoice": "invoices",
    "record": "completion records and who signed them",
}
HEAD = ("id", "made", "changed", "by", "title", "taken_back")
LONGEST_CELL = 2000  # characters; a signature's picture is no cell
README = Path(__file__).with_name("folder_readme.txt")
RISKY = tuple("=+-@\t\r\n＝＋－＠")  # how a spreadsheet's formula may begin (common practice, no source)


def lists_of(folder: Folder) -> dict[str, bytes]:
    """{kind: CSV} of the kinds that have a list and of which there is something."""
    return {kind: _csv(folder.of(kind)) for kind in LISTED if folder.of(kind)}


def _csv(things: list[Record]) -> bytes:
    rows = [dict(_flat(one["data"])) for one in things]
    keys = list(dict.fromkeys(key for row in rows for key in row))
    out = io.StringIO()
    sheet = csv.writer(out, lineterminator="\r\n")
    sheet.writerow([*HEAD, *map(_cell, keys)])
    for one, row in zip(things, rows, strict=True):
        head = (one["id"], one["created"], one["changed"], one["by"], one["title"], one["deleted"] or "")
        sheet.writerow([_cell(value) for value in (*head, *(row.get(key, "") for key in keys))])
    return out.getvalue().encode("utf-8-sig")


def _flat(data: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, Any]]:
    """(name with dots, value) of all that is in a record."""
    for key, value in data.items():
        if isinstance(value, Mapping):
            yield from _flat(value, f"{before}{key}.")
        else:
            yield f"{before}{key}", value


def _cell(value: Any) -> Any:
    """A value as a cell; text that a spreadsheet would compute stands behind an apostrophe."""
    if value is None:
        return ""
    if isinstance(value, (list, tuple)):
        value = json.dumps(value, ensure_ascii=False)
    if not isinstance(value, str):
        return value
    if len(value) > LONGEST_CELL:
        return f"({len(value)} characters, see records)"
    return f"'{value}" if value.startswith(RISKY) else value


def readme(folder: Folder) -> bytes:
    """The page beside everything; it says nothing that the folder itself does not hold."""
    kinds = ", ".join(sorted({one["kind"] for one in folder.things}))
    rows = [("records/", f"everything, one file for each kind of record: {kinds}")]
    if folder.photos:
        rows.append(("photos/", f"as the camera wrote them, {len(folder.photos)}; a name is the SHA-256 of its file"))
    if folder.scans:
        rows.append(("scans/", f"as they came, {len(folder.scans)}; a name is the SHA-256 of its file"))
    if folder.of("paper"):
        rows.append(("papers/", f"as they were handed out or signed, {len(folder.of('paper'))}"))
    rows += [(f"lists/{kind}.csv", words) for kind, words in LISTED.items() if folder.of(kind)]
    rows.append(("contents.json", "a sum (SHA-256) of every file; it shows damage, it does not prove who wrote what"))
    if folder.missing:
        lost = f"{len(folder.missing)}; their files were gone or damaged when this was packed, contents.json names them"
        rows.append(("files not here", lost))
    return README.read_text("utf-8").format(
        title=folder.title, rule="=" * min(max(len(folder.title), 4), 78), residues=", ".join(RESIDUES),
        harms=", ".join(HARMS), here="\n".join(f"  {name:<20}{words}" for name, words in rows),
    ).replace("\n", "\r\n").encode()  # fmt: skip
