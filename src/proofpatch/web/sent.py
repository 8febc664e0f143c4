"""What goes over the air to a phone: fewer bytes, and none a second time."""

from __future__ import annotations

import os
from typing import Any

from fastapi import FastAPI, Response
from fastapi.staticfiles import StaticFiles
from starlette.middleware.gzip import GZipMiddleware

SMALLEST = 1000  # bytes; below this the header of the compression eats what it saves
EFFORT = 5  # of 9; more costs milliseconds of the laptop and saves next to nothing on a page of words
MONTH = 30 * 24 * 3600  # s
LASTING = (".woff2", ".svg")


def smaller(app: FastAPI) -> None:
    """Compresses what is text; fonts and photos are compressed already."""
    app.add_middleware(GZipMiddleware, minimum_size=SMALLEST, compresslevel=EFFORT)


class Files(StaticFiles):
    """The files of the pages. Type and mark are kept for a month; style and scripts are asked after each time, which
    costs a few hundred bytes and never shows a new page in an old style."""

    def file_response(self, full_path: str | os.PathLike[str], *more: Any, **named: Any) -> Response:
        """A file with how long a browser may keep it."""
        response = super().file_response(full_path, *more, **named)
        lasting = str(full_path).endswith(LASTING)
        response.headers["Cache-Control"] = f"public, max-age={MONTH}" if lasting else "no-cache"
        return response
