"""The day and the run of a job over HTTP: checks answered, control patches laid, entries written and taken back."""

from __future__ import annotations

import datetime
from dataclasses import replace

from fastapi import APIRouter

from proofpatch.errors import InputError
from proofpatch.shop.days import add_control, answer_check
from proofpatch.shop.log import graded_from, setting_from, setting_to, stamp
from proofpatch.shop.run import BEGIN, RUN, add_entry, check_piece, entries_of, state_of
from proofpatch.shop.store import Entry, Store
from proofpatch.web.api import models as m
from proofpatch.web.api.find import open_job, road_of, thing
from proofpatch.web.api.graded import FIELDS, SETTING_FIELDS
from proofpatch.web.api.trouble import Declined, at
from proofpatch.web.desk import Desk
from proofpatch.web.sheet import held, sheet_of
from proofpatch.web.today import TITLE, Today, today_of

EARLY = datetime.timedelta(minutes=5)  # by which clocks differ (common practice, no source)


def routes(store: Store, desk: Desk) -> APIRouter:
    """The addresses of day and run."""
    router = APIRouter(responses=m.GONE)

    def today(job: Entry) -> Today:
        found = road_of(desk, job)
        day = today_of(store, desk, found, datetime.datetime.now().astimezone().date())
        if day is None:
            raise Declined(409, "job", f"{found.stop}", "No beam goes to it.")
        return day

    @router.get("/jobs/{id}/day")
    def day(id: m.Key) -> m.Day:
        """Today: what was looked at before the first beam, the control patch, and what keeps the beam off."""
        found = road_of(desk, thing(store, "job", id))
        date = datetime.datetime.now().astimezone().date()
        day = today_of(store, desk, found, date)
        return _day(day) if day is not None else m.Day(date=date, gate=found.stop)

    @router.post("/jobs/{id}/day", status_code=201, responses=m.CHANGES)
    def answer(id: m.Key, sent: m.NewAnswer) -> m.Day:
        """One check of today answered; a later answer stands."""
        found = today(open_job(store, id))
        with at("", {"check": "name"}):
            answer_check(
                store, id, found.date, found.piece, sent.name, sent.ok, sent.value, sent.words, stamp(), sent.by
            )
        return _day(today(thing(store, "job", id)))

    @router.post("/jobs/{id}/control", status_code=201, responses=m.CHANGES)
    def control(id: m.Key, sent: m.NewControl) -> m.Day:
        """A control patch of today, graded: it teaches the belief as a patch does, and opens the day or shuts it."""
        found = today(open_job(store, id))
        if found.setting is None or (found.gate is not None and found.gate.opens != "control"):
            said = found.gate.said if found.gate else "There is no recipe."
            raise Declined(409, "job", said, "Settle that first.")
        data = {"setting": setting_to(found.setting), **sent.model_dump(exclude_none=True)}
        data |= {"waited": data.pop("waited_s")} if "waited_s" in data else {}
        data["when"] = stamp()
        with at("", FIELDS):
            one = graded_from(data, len(found.work.surface.coats))
            found.work.laser.check(one.setting)
        data["setting"] = setting_to(one.setting)
        with store.together():
            entry = store.add("patch", data, id, f"{TITLE}: {one.residue}, {one.harm}", by=sent.grader or "")
            add_control(store, id, found.date, entry.id, sent.grader or "")
        return _day(today(thing(store, "job", id)))

    @router.get("/jobs/{id}/run")
    def run(id: m.Key) -> m.Run:
        """What happened, and where each zone stands."""
        road = road_of(desk, thing(store, "job", id))
        found = today_of(store, desk, road, datetime.datetime.now().astimezone().date())
        entries = entries_of(store, id)
        if found is None:
            return m.Run(gate=road.stop, entries=[_entry(one) for one in entries], zones=[])
        passes = found.setting.passes if found.setting else 1
        zones = state_of(entries, len(found.work.measured), passes, datetime.datetime.now().astimezone())
        return m.Run(
            gate=found.gate.said if found.gate else None, entries=[_entry(one) for one in entries],
            zones=[m.ZoneStanding(**{key: getattr(one, key) for key in m.ZoneStanding.model_fields}) for one in zones],
        )  # fmt: skip

    @router.post("/jobs/{id}/run", status_code=201, responses=m.CHANGES)
    def happened(id: m.Key, sent: m.NewEntry) -> m.RunEntry:
        """One thing that happened. A begin without a time is one to come: refused (409) while a gate is shut."""
        job = open_job(store, id)
        found = today(job)
        now = datetime.datetime.now().astimezone()
        if sent.what == BEGIN and sent.at is None:
            sheet = sheet_of(store, desk, found, sent.zone, now)
            gate = held(found, replace(sheet, piece=sent.piece or sheet.piece))
            if gate is not None:
                raise Declined(409, "what", gate.said, "Settle that first.")
        data = sent.model_dump()
        data["at"] = sent.at or stamp()
        with at("", SETTING_FIELDS):
            check_piece(sent.piece, int(found.work.offer["offer"].get("pieces", 1)))
            not_yet(sent.at, now)
            if sent.setting is not None:
                found.work.laser.check(setting_from(data["setting"]))
            entry = add_entry(store, id, data, len(found.work.measured), len(found.work.surface.coats), sent.grader)
        desk.begin(job)
        return _entry(entry)

    @router.delete("/jobs/{id}/run/{entry}", responses=m.CHANGES)
    def take_back(id: m.Key, entry: m.Key, version: m.Version) -> m.RunEntry:
        """An entry taken back; it can be brought back."""
        job = open_job(store, id)
        if thing(store, RUN, entry, id).deleted:
            raise Declined(409, RUN, "The entry is taken back already.", "Read the run again.")
        found = store.delete(RUN, entry, version)
        desk.begin(job)
        return _entry(found)

    @router.post("/jobs/{id}/run/{entry}/restore", responses=m.CHANGES)
    def bring_back(id: m.Key, entry: m.Key, version: m.Version) -> m.RunEntry:
        """An entry that was taken back, back in the run."""
        job = open_job(store, id)
        thing(store, RUN, entry, id)
        found = store.restore(RUN, entry, version)
        desk.begin(job)
        return _entry(found)

    return router


def not_yet(said: str | None, now: datetime.datetime) -> None:
    """Refuses a time to come: harm of tomorrow would keep the beam off until then."""
    try:
        when = datetime.datetime.fromisoformat(said) if said else now
    except ValueError:
        return  # said where it is read
    if when.tzinfo is not None and when > now + EARLY:
        raise InputError("at", "That time lies ahead.", "Check the clock, or leave the time out.")


def _entry(entry: Entry) -> m.RunEntry:
    return m.RunEntry(id=entry.id, version=entry.version, deleted=entry.deleted, data=dict(entry.data))


def _day(day: Today) -> m.Day:
    checks = []
    for one in day.morning.checks:
        said = day.answers.get(one.name, {})
        checks.append(m.OneCheck(
            name=one.name, title=one.title, ask=one.ask, stop=one.stop, reads=one.reads, ok=said.get("ok"),
            value=said.get("value"),
        ))  # fmt: skip
    return m.Day(
        date=day.date, gate=day.gate.said if day.gate else None, checks=checks,
        missing=[one.name for one in day.morning.missing],
        stops=[f"{one.what} {one.then}" for one in day.morning.stops],
        controls=[one.id for one in day.controls], verdict=day.judged.verdict if day.judged else None,
        words=day.judged.words if day.judged else None,
    )  # fmt: skip
