"""The folder of a job at the command line: packed out of a shop into one file, and brought back into another."""

from __future__ import annotations

import contextlib
import io
from pathlib import Path

import click

from proofpatch.cli_answer import as_json, say
from proofpatch.cli_read import argument
from proofpatch.cli_store import said_of
from proofpatch.errors import InputError
from proofpatch.learn.memory.population import counted
from proofpatch.shop.database import refuse_none
from proofpatch.shop.store import Entry, Store

SHOP = click.option("--folder", default="shop", help="where the shop is kept")


@click.command()
@argument("job", required=True)
@argument("file", required=True)
@SHOP
@as_json
def pack(job: str, file: str, folder: str, json_: bool) -> None:
    """A job of the shop into one zip file: its records, lists, photos and papers, readable without proofpatch.

    Example: proofpatch pack "chest lid" chest.zip --folder shop
    """
    from proofpatch.documents.whole import write_whole
    from proofpatch.shop.folder_zip import write_folder

    if not file.endswith(".zip"):
        raise InputError("FILE", f"The file {file[-60:]!r} does not end in .zip.", "Name it like chest.zip.")
    with contextlib.closing(_opened(folder)) as store:
        entry, out = job_named(store, job), io.BytesIO()
        found = write_folder(store, entry.id, out)
    write_whole(Path(file), out.getvalue(), "FILE")
    record = {
        "job": entry.id, "title": entry.title, "file": file, "bytes": len(out.getvalue()),
        "records": len(found.things), "photos": len(found.photos), "missing_photos": list(found.missing),
    }  # fmt: skip
    lost = f" Gone from the shop, so not in it: {counted(len(found.missing), 'photo')}." if found.missing else ""
    kept = f"{counted(len(found.things), 'record')} and {counted(len(found.photos), 'photo')}"
    line = f"{entry.title}: {kept} are in {file}.{lost}"
    say(record, json_, lambda: [line])


@click.command()
@argument("file", required=True)
@click.option("--folder", default="shop", help="where the shop is kept, made if it is not there")
@as_json
def unpack(file: str, folder: str, json_: bool) -> None:
    """A packed job into a shop that has not got it; all of it, or nothing.

    Example: proofpatch unpack chest.zip --folder second-shop
    """
    from proofpatch.shop.folder_zip import read_folder

    try:
        with open(file, "rb") as packed, contextlib.closing(Store.open(folder)) as store:
            taken = read_folder(store, packed)
    except OSError as trouble:
        said = f"The file {file[-60:]!r} cannot be read: {trouble.strerror}."
        raise InputError("FILE", said, "Check its name.") from None
    record = {"job": taken.entry.id, "title": taken.entry.title, "stayed": list(taken.stayed)}
    say(record, json_, lambda: [f"{taken.entry.title} is in the shop {folder}.", *taken.stayed])


def _opened(folder: str) -> Store:
    """A shop that is there.

    Raises:
        InputError: there is none.
    """
    with said_of({"folder": "--folder"}):
        refuse_none(folder)
    return Store.open(folder)


def job_named(store: Store, said: str) -> Entry:
    """A job by its id, or by words of its title that no other has.

    Raises:
        InputError: there is none, or several.
    """
    with contextlib.suppress(InputError):
        return store.get("job", said)
    found = store.all("job", words=said)
    exact = [one for one in found if one.title.casefold() == said.casefold()]
    found = exact or found
    if len(found) != 1:
        few = ", ".join(f"{one.title} ({one.id})" for one in found[:4])
        remedy = f"Name one of: {few}." if found else "Name it by words of its title, or by its id."
        raise InputError("JOB", f"{len(found) or 'No'} jobs of the shop have {said[:60]!r} in their title.", remedy)
    return found[0]
