"""Before and after on screen and in print: two photos of one place, laid over each other."""

from __future__ import annotations

from fastapi import APIRouter, Response

from proofpatch.documents.pair import pair_pdf
from proofpatch.errors import InputError
from proofpatch.photos.pairs import Pair
from proofpatch.shop.looks import pair_jpegs, pair_of
from proofpatch.shop.photos import photo_of, photo_path
from proofpatch.shop.settings import settings_of
from proofpatch.shop.store import Entry, Store
from proofpatch.units import show
from proofpatch.web.desk import Desk
from proofpatch.web.seen import percent
from proofpatch.web.shell import Pages

WIDE = 748  # px, as wide as a page's text
PRINTED = 1200  # px of a printed picture


def routes(page: Pages, store: Store, desk: Desk) -> APIRouter:
    """The pages of before and after."""
    router = APIRouter(prefix="/jobs/{key}/compare")

    def photos(key: str) -> list[Entry]:
        return store.in_order("photo", key)

    def pair(key: str, before: str, after: str) -> Pair:
        known = {one.data["digest"] for one in photos(key)}
        for name, digest in (("before", before), ("after", after)):
            if digest not in known:
                raise InputError(name, f"The photo {name} is not of this job.", "Choose two photos of it.")
        if before == after:
            raise InputError("after", "Both photos are the same one.", "Choose another one for after.")
        return pair_of(*(photo_path(store, photo_of(store, one)) for one in (before, after)))

    def found(key: str, before: str, after: str) -> Pair:
        laid = pair(key, before, after)
        if laid.before is None:
            raise InputError("after", laid.because, "")
        return laid

    @router.get("")
    def compare(key: str, before: str = "", after: str = "") -> Response:
        laid, error = None, None
        if before or after:
            try:
                laid = pair(key, before, after)
            except InputError as trouble:
                error = trouble
        return page(
            "compare.html", 422 if error else 200, road=desk.wait(key), here="compare", photos=photos(key), pair=laid,
            before=before, after=after, error=error, lines=pair_words(laid) if laid and laid.before is not None else [],
            taken=_taken,
        )  # fmt: skip

    @router.get("/{which}.jpg")
    def picture(key: str, which: str, before: str = "", after: str = "") -> Response:
        if which not in ("before", "after"):
            raise InputError("which", "There is no such picture.", "Go back to the job.")
        made = pair_jpegs(found(key, before, after), WIDE)
        return Response(made[which == "after"], media_type="image/jpeg")

    @router.get(".pdf")
    def printed(key: str, before: str = "", after: str = "") -> Response:
        laid, ours = found(key, before, after), settings_of(store)[0]
        said = [next(_taken(one) for one in photos(key) if one.data["digest"] == digest) for digest in (before, after)]
        title = ours.headed(store.get("job", key).title)
        sheet = pair_pdf(title, pair_jpegs(laid, PRINTED), said, pair_words(laid), ours.paper)
        return Response(sheet, media_type="application/pdf")

    return router


def pair_words(pair: Pair) -> list[str]:
    """What a pair came to, in sentences."""
    assert pair.share is not None
    lines = [f"{percent(pair.share)} of what both photos show changed."]
    if pair.area is not None:
        lines[0] = f"{percent(pair.share)} of what both photos show changed: {show(pair.area, 'area')}."
    if pair.tone is not None:
        tone = pair.tone
        lines.append(
            f"There the tone moved by {tone.change:.1f} ± {tone.error:.1f} CIEDE2000: {abs(tone.darker):.1f} "
            f"{'darker' if tone.darker > 0 else 'lighter'} in L*, {abs(tone.yellower):.1f} "
            f"{'yellower' if tone.yellower > 0 else 'bluer'} in b*."
        )
    lines.append(pair.because)
    if pair.rest is not None:
        lines.append(f"Ground that did not change differs by {pair.rest:.1f} between the photos: that much is no news.")
    return lines


def _taken(one: Entry) -> str:
    about = one.data.get("about") or "the piece"
    return f"{about}, {one.created.astimezone().strftime('%d %b %Y, %H:%M')}"
