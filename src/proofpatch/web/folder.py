"""A job as one file to take along, and such a file brought in, on screen."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Iterator
from typing import IO

from fastapi import APIRouter, Response, UploadFile
from fastapi.responses import StreamingResponse

from proofpatch.errors import InputError
from proofpatch.shop.folder_zip import read_folder, write_folder
from proofpatch.shop.store import Store
from proofpatch.web.shell import Pages

PART = 1 << 20  # bytes sent at once


def routes(page: Pages, store: Store) -> APIRouter:
    """The pages of a job's folder; before those of a job, whose name could be "import"."""
    router = APIRouter()

    @router.get("/jobs/import")
    def ask() -> Response:
        return page("bring_in.html", error=None, taken=None)

    @router.post("/jobs/import")
    def bring_in(folder: UploadFile | str | None = None) -> Response:
        try:
            if folder is None or isinstance(folder, str) or not folder.filename:
                raise InputError("file", "No file was chosen.", "Choose a packed job, ending in .zip.")
            taken = read_folder(store, folder.file)
        except InputError as error:
            return page("bring_in.html", 422, error=error, taken=None)
        return page("bring_in.html", error=None, taken=taken)

    @router.get("/jobs/{key}/folder.zip")
    def packed(key: str) -> Response:
        file = tempfile.TemporaryFile()  # noqa: SIM115  # closed when it is sent
        try:
            folder = write_folder(store, key, file)
        except BaseException:
            file.close()
            raise
        name = re.sub(r"[^a-z0-9]+", "-", folder.title.lower()).strip("-")[:60] or "job"
        headers = {"Content-Length": str(file.tell()), "Content-Disposition": f'attachment; filename="{name}.zip"'}
        return StreamingResponse(_parts(file), media_type="application/zip", headers=headers)

    return router


def _parts(file: IO[bytes]) -> Iterator[bytes]:
    with file:
        file.seek(0)
        while part := file.read(PART):
            yield part
