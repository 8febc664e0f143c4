"""What the shop learned, over HTTP: the records of `proofpatch memory`, `alike`, `lend`, `borrow` and `lots`."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from fastapi import APIRouter, File, Form, Path, Query, Response, UploadFile
from pydantic import BaseModel, ConfigDict, Field

from proofpatch.errors import InputError
from proofpatch.records_memory import (
    alike_record,
    giving_record,
    lot_record,
    preview_record,
    start_record,
    starter_record,
)
from proofpatch.shop.likeness import stop_of
from proofpatch.shop.lots import KIND, WEIGHT, bring_in, every_lot, given, given_file, preview, standing_lot, weigh
from proofpatch.shop.settings import settings_of
from proofpatch.shop.starter import WEIGHT as STARTER_WEIGHT
from proofpatch.shop.starter import starter_offered, take_starter
from proofpatch.shop.starts import start_anew, start_of, switch
from proofpatch.shop.store import Store
from proofpatch.web.api import models as m
from proofpatch.web.api.fields import MOST_ENTRIES, MOST_VERSIONS, bounded, whole
from proofpatch.web.api.find import open_job, road_of, thing
from proofpatch.web.api.trouble import Declined
from proofpatch.web.desk import Desk
from proofpatch.web.elsewhere import carried_records, past_of
from proofpatch.web.learned import what_was_learned, which_are_alike

FILE: dict[int | str, dict[str, Any]] = {
    200: {"content": {"application/jsonl": {"schema": {"type": "string", "format": "binary"}}},
          "description": "Lines of JSON, the last one the signature"}
}  # fmt: skip
Weight = Annotated[float, bounded(0, 1, "how much it counts, 1 as the shop's own")]
JobId = Annotated[str, Field(pattern=r"^[0-9a-f]{32}$")]


Jobs = Annotated[list[JobId] | None, Query(max_length=MOST_ENTRIES)]


class Loose(BaseModel):
    """A record as the command line prints it with --json: these keys at least."""

    model_config = ConfigDict(extra="allow")


class Learned(Loose):
    used: bool
    because: str
    jobs: int
    patches: int
    teaches_most: str | None
    pairs: list[dict[str, Any]]
    skill: dict[str, Any]
    lots: list[dict[str, Any]]
    version: int


class Start(Loose):
    """What a job starts from. version: of what is kept, to start it anew; null: nothing is kept."""

    because: str
    used: bool
    kept: bool
    version: int | None


class Alike(Loose):
    """Jobs like one. stop: why no patch and no recipe of it is given, or null."""

    because: str
    stop: str | None
    tested: bool
    jobs: list[dict[str, Any]]


class Carried(BaseModel):
    """A job on other lasers, the quickest first; none of it is proven. Empty while something stops the job."""

    lasers: list[dict[str, Any]]


class Would(Loose):
    """Past jobs with another laser. seconds, cost: of all that could be compared, medians; null: none could."""

    laser: str
    asked: int
    compared: int
    seconds_here: float | None
    seconds_there: float | None
    cost_here: float | None
    cost_there: float | None
    jobs: list[dict[str, Any]]


class Lot(Loose):
    """What another shop gave."""

    id: str
    version: int
    shop: str
    key: str
    origin: str
    weight: float
    jobs: int
    counting: int


class Starter(Loose):
    """Published data that can be taken in: how many jobs of how many cases, and what each rests on."""

    jobs: int
    of: int | None
    weight: float
    sources: list[str]
    because: str


class Lots(BaseModel):
    """starter: null once it was taken in."""

    starter: Starter | None
    lots: list[Lot]
    taken_out: list[Lot]


class Look(Loose):
    """What a file would bring."""

    because: str
    shop: str
    key: str
    jobs: int
    new: int


class Giving(Loose):
    """What a file would give away. names: of pieces and customers that go along."""

    because: str
    jobs: int
    patches: int
    recipes: int
    photos: int
    names: list[dict[str, str]]


class Use(m.Sent):
    """version: of the shop's settings, 0 where none were kept yet."""

    used: Annotated[bool, Field(strict=True)]
    version: Annotated[int, whole(0, MOST_VERSIONS)]


class Anew(m.Sent):
    """version: of the start as it was read."""

    version: Annotated[int, whole(1, MOST_VERSIONS)]


class Starting(m.Sent):
    weight: Weight = STARTER_WEIGHT


class Weighed(m.Sent):
    version: Annotated[int, whole(1, MOST_VERSIONS)]
    weight: Weight


def routes(store: Store, desk: Desk) -> APIRouter:
    """The addresses of memory."""
    router = APIRouter()

    def learned_record() -> Learned:
        entry = settings_of(store)[1]
        return Learned(**what_was_learned(store, desk, True)[0], version=entry.version if entry else 0)

    def lot_of(key: str) -> Lot:
        return Lot(**lot_record(next(one for one in every_lot(store) if one.entry.id == key)))

    @router.get("/learned")
    def learned() -> Learned:
        """What was learned of each kind of work, and how the forecasts came out: `proofpatch memory`."""
        return learned_record()

    @router.put("/settings/{setting}", responses=m.CHANGES)
    def use(setting: Annotated[Literal["memory"], Path()], sent: Use) -> Learned:
        """Memory on or off: `proofpatch memory --use`."""
        switch(store, sent.used, sent.version)
        return learned_record()

    @router.get("/jobs/{id}/start", responses=m.GONE)
    def start(id: m.Key) -> Start:
        """What a job starts from."""
        entry = thing(store, "job", id)
        return Start(**desk.run(lambda: start_record(start_of(store, entry))))

    @router.post("/jobs/{id}/start", responses=m.CHANGES)
    def anew(id: m.Key, sent: Anew) -> Start:
        """The job from what is known now."""
        entry = open_job(store, id)
        try:
            desk.run(lambda: start_anew(store, entry, sent.version))
        except InputError as error:
            raise Declined(409, error.field, error.problem, error.remedy) from None
        desk.begin(entry)
        return Start(**desk.run(lambda: start_record(start_of(store, entry))))

    @router.get("/jobs/{id}/alike", responses=m.GONE)
    def alike(id: m.Key) -> Alike:
        """Jobs like this one: `proofpatch alike`."""
        entry = thing(store, "job", id)
        return Alike(**alike_record(*which_are_alike(store, desk, entry, True), stop_of(store, entry)))

    @router.get("/jobs/{id}/lasers", responses=m.GONE)
    def lasers(id: m.Key) -> Carried:
        """The job on every other laser: `proofpatch carry`."""
        return Carried(lasers=carried_records(store, desk, road_of(desk, thing(store, "job", id)), True))

    @router.get("/learned/lasers/{laser}", responses=m.GONE)
    def would(laser: m.Named) -> Would:
        """What past jobs would have taken with a laser: `proofpatch would`."""
        try:
            return Would(**past_of(store, desk, laser, True))
        except InputError as error:
            if error.field != "laser":
                raise
            raise Declined(404, "laser", error.problem, error.remedy) from None

    @router.get("/lots")
    def lots() -> Lots:
        """What was brought in of other shops: `proofpatch lots`."""
        offered, both = starter_record(starter_offered(store)), every_lot(store)
        return Lots(starter=Starter(**offered) if offered else None,
                    lots=[Lot(**lot_record(one)) for one in both if not one.taken_out],
                    taken_out=[Lot(**lot_record(one)) for one in both if one.taken_out])  # fmt: skip

    @router.get("/lots/ours", response_class=Response, responses=FILE)
    def ours(job: Jobs = None, photos: bool = False, names: bool = False) -> Response:
        """The shop's own graded patches as a signed file: `proofpatch lend`.

        job: only these. photos: with small photos of patches. names: with titles and customers' names.
        """
        return Response(given_file(store, job, photos=photos, names=names), media_type="application/jsonl")

    @router.get("/lots/ours/look", responses=m.CHANGE)
    def ours_look(job: Jobs = None, photos: bool = False, names: bool = False) -> Giving:
        """What that file would give away; none is made: `proofpatch lend --look`."""
        return Giving(**giving_record([one for _, one in given(store, job, photos, names)]))

    @router.post("/lots/look", responses=m.CHANGE)
    def look(file: Annotated[UploadFile, File(description="of another shop")]) -> Look:
        """What a file would bring; nothing is kept: `proofpatch borrow --look`."""
        return Look(**preview_record(preview(store, file.file.read())))

    @router.post("/lots", status_code=201, responses=m.CHANGE)
    def take(
        file: Annotated[UploadFile, File(description="of another shop")],
        weight: Annotated[float, Form(ge=0, le=1, allow_inf_nan=False)] = WEIGHT,
        photos: Annotated[bool, Form()] = False,
    ) -> Lot:
        """The file as a lot that counts so much: `proofpatch borrow`. photos: its photos are taken too."""
        data = file.file.read()
        return lot_of(desk.run(lambda: bring_in(store, data, weight, photos=photos)).id)

    @router.post("/lots/starter", status_code=201, responses=m.CHANGE)
    def starter(sent: Starting) -> Lot:
        """The published data that are shipped, as a lot: `proofpatch borrow --starter`."""
        return lot_of(desk.run(lambda: take_starter(store, sent.weight)).id)

    @router.put("/lots/{lot}", responses=m.CHANGES)
    def weight(lot: m.Key, sent: Weighed) -> Lot:
        """A lot that counts otherwise."""
        _open_lot(lot)
        return lot_of(weigh(store, lot, sent.version, sent.weight).id)

    @router.delete("/lots/{lot}", responses=m.CHANGES)
    def take_out(lot: m.Key, version: m.Version) -> Lot:
        """A lot that counts no more; nothing is lost."""
        _open_lot(lot)
        return lot_of(store.delete(KIND, lot, version).id)

    @router.post("/lots/{lot}/restore", responses=m.CHANGES)
    def bring_back(lot: m.Key, version: m.Version) -> Lot:
        """A lot that was taken out, back."""
        thing(store, KIND, lot)
        return lot_of(store.restore(KIND, lot, version).id)

    def _open_lot(key: str) -> None:
        thing(store, KIND, key)
        try:
            standing_lot(store, key)
        except InputError as error:
            raise Declined(409, error.field, error.problem, error.remedy) from None

    return router
