"""The materials: names, and every value of one with its range, its source and how far that is checked."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

from fastapi import APIRouter, Response

from proofpatch.cli_materials import STATUS_WORDS, counted, materials_record, value_words
from proofpatch.errors import InputError
from proofpatch.phrases import lowered
from proofpatch.shop.store import Store
from proofpatch.web.shell import Pages

LISTS = ("coatings", "substrates")


def routes(page: Pages, store: Store) -> APIRouter:
    """The pages of the materials."""
    router = APIRouter()

    def list_page(q: str, status: int = 200) -> Response:
        found = {name: [one for one in every()[name] if _says(one, q)] for name in LISTS}
        many = {name: len(found[name]) for name in LISTS}
        if not any(many.values()):
            return page("materials.html", 404 if status == 404 else 200, q=q, head=f"No material says “{q}”.",
                        lead=_nearest(q), **found)  # fmt: skip
        if q.strip():
            said, total = sum(many.values()), sum(len(every()[name]) for name in LISTS)
            head = f"{said} of {total} materials say{'s' if said == 1 else ''} “{q}”."
        else:
            head = f"{many['coatings']} coatings and {many['substrates']} substrates: {_all_counted()}."
        return page("materials.html", status, q=q, head=head, lead="Each value says where it comes from.", **found)

    @router.get("/materials")
    def materials(q: str = "") -> Response:
        return list_page(q[:100])

    @router.get("/materials/{name}")
    def material(name: str) -> Response:
        try:
            record = materials_record(name)
        except InputError:
            return list_page(name[:100], 404)
        head = counted(record)
        return page(
            "material.html", record={"note": "", **record}, head=lowered(head),
            what=record.get("kind") or record["family"], values=[_shown(one) for one in record["values"]],
            key={status: STATUS_WORDS[status] for status, count in record["counts"].items() if count},
            sources=list(dict.fromkeys(one["source"] for status in STATUS_WORDS for one in record["values"]
                                       if one["status"] == status)),
        )  # fmt: skip

    return router


@cache
def every() -> dict[str, list[dict[str, Any]]]:
    """All coatings and substrates, each with what is known of it; the data files do not change under a running shop."""
    record = materials_record(None)
    return {
        name: [
            {"kind": None, "note": "", **one, "counts": full["counts"], "counted": counted(full)}
            for one in record[name]
            for full in (materials_record(one["id"]),)
        ]
        for name in LISTS
    }


def _says(one: Mapping[str, Any], words: str) -> bool:
    """Whether a material says all of these words somewhere."""
    said = " ".join([one["id"], one["title"], one["family"], one["kind"] or "", one["note"], *one["names"]]).casefold()
    return all(word in said for word in words.casefold().split())


def _all_counted() -> str:
    """Where all values of all materials come from, in words."""
    totals: dict[str, int] = {}
    for name in LISTS:
        for one in every()[name]:
            for status, count in one["counts"].items():
                totals[status] = totals.get(status, 0) + count
    said = counted({"counts": totals})
    return lowered(said)


def _nearest(words: str) -> str:
    """The nearest names, where nothing says a word."""
    try:
        materials_record(words)
    except InputError as error:
        return error.remedy if error.remedy.startswith("The nearest") else "Try a shorter word."
    return "Try a shorter word."


def _shown(value: Mapping[str, Any]) -> dict[str, Any]:
    """A value of a record as its row shows it."""
    return {
        **value, "name": value["property"].replace("_", " "), "words": value_words(value),
        "status_words": STATUS_WORDS[value["status"]],
        "when": "" if value["when"] == ["any"] else " | ".join(value["when"]),
    }  # fmt: skip
