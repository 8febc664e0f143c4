"""Photos over HTTP: the original stays in the shop, what leaves it is a copy without its place."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, File, Form, Response, UploadFile

from proofpatch.errors import InputError
from proofpatch.shop.photos import add_photo, exported, photo_of
from proofpatch.shop.store import Entry, Store
from proofpatch.shop.values import LONGEST_TEXT
from proofpatch.web.api import models as m
from proofpatch.web.api.fields import PRINTABLE
from proofpatch.web.api.find import open_job, thing
from proofpatch.web.api.trouble import Declined

PICTURE: dict[int | str, dict[str, Any]] = {
    200: {"content": {f"image/{kind}": {"schema": {"type": "string", "format": "binary"}} for kind in ("jpeg", "png")},
          "description": "A copy, turned upright, without place, camera or time"}
}  # fmt: skip


def routes(store: Store) -> APIRouter:
    """The addresses of photos."""
    router = APIRouter(responses=m.GONE)

    @router.get("/jobs/{id}/photos")
    def photos(id: m.Key) -> m.Photos:
        """The photos of a job."""
        thing(store, "job", id)
        return m.Photos(photos=[_photo(entry) for entry in store.all("photo", id)])

    @router.post("/jobs/{id}/photos", status_code=201, responses=m.CHANGES)
    def add(
        id: m.Key,
        photo: Annotated[UploadFile, File(description="JPEG or PNG")],
        about: Annotated[str, Form(max_length=LONGEST_TEXT, pattern=PRINTABLE)] = "",
    ) -> m.Photo:
        """A photo of the piece, a test or a patch."""
        open_job(store, id)
        return _photo(add_photo(store, photo.file.read(), id, about=about))

    @router.get("/photos/{digest}", response_class=Response, responses=PICTURE)
    def picture(digest: m.Digest) -> Response:
        """A copy of a photo to hand out: upright, without place, camera or time."""
        try:
            return Response(exported(store, digest), media_type=f"image/{photo_of(store, digest).kind.lower()}")
        except InputError as error:
            if error.field != "photo":
                raise
            raise Declined(404, "photo", error.problem, error.remedy) from None

    return router


def _photo(entry: Entry) -> m.Photo:
    return m.Photo(id=entry.id, version=entry.version, created=entry.created, by=entry.by, **entry.data)
