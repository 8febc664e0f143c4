"""The run sheet of a job: the zone in hand, what was done in each, what is left, the pace of the hand."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass

from proofpatch.errors import InputError
from proofpatch.learn.evidence import HARMS
from proofpatch.learn.forecast import area_rate, grades_at
from proofpatch.learn.recipe import Recipe
from proofpatch.offer.hours import zone_seconds
from proofpatch.offer.zones import Zone, measured_zone
from proofpatch.phrases import lowered
from proofpatch.physics.setting import Setting
from proofpatch.run.ahead import Ahead
from proofpatch.run.batch import Batch, batch, due_checks
from proofpatch.run.cooling import cooling
from proofpatch.run.order import Turn, in_order, places_of
from proofpatch.run.stops import STOP, Sign, signs_of
from proofpatch.run.strokes import Strokes, plan_strokes
from proofpatch.shop.charges import priced_job
from proofpatch.shop.log import setting_from
from proofpatch.shop.offered import asked_of
from proofpatch.shop.run import (
    BEGIN,
    BEGUN,
    CHECK,
    DONE,
    END,
    INCIDENT,
    STOPPED,
    TO_DO,
    Standing,
    checks_of_batch,
    entries_of,
    left_of,
    of_piece,
    state_of,
)
from proofpatch.shop.store import Entry, Store
from proofpatch.web.desk import Desk
from proofpatch.web.today import Gate, Today

QUICK = 0.05  # share of the asked speed within which the hand is as asked (common practice, no source)
NAMED = 4  # signs that stand in the stop bar


@dataclass(frozen=True)
class Row:
    """One zone under the beam as the sheet lists it. harm: the worst that was seen in it."""

    number: int
    name: str
    area: float
    turn: Turn
    standing: Standing
    harm: str

    @property
    def graded(self) -> bool:
        """Whether its surface was graded since it was worked."""
        return self.standing.grade is not None


@dataclass(frozen=True)
class Pace:
    """How the hand really went, last. p_clean, p_harm: of the finished surface at that pace."""

    speed: float
    words: str
    p_clean: float
    p_harm: float


@dataclass(frozen=True)
class Sheet:
    """All that the run page shows of a day beside its gates. rows: in the order they are worked.

    piece: number of the piece in hand, of pieces. row: the zone in hand, None: nothing is left.
    last: the entry an undo takes back. incident: the last one of a stopped zone.
    """

    rows: tuple[Row, ...]
    row: Row | None
    piece: int
    pieces: int
    batch: Batch | None
    strokes: Strokes | None
    ahead: Ahead | None
    pace: Pace | None
    signs: tuple[Sign, ...]
    entries: tuple[Entry, ...]
    last: Entry | None
    incident: Entry | None
    used: Setting | None

    @property
    def stop_if(self) -> str:
        """The first signs that stop, in a sentence."""
        named = [lowered(one.title) for one in self.signs if one.level == STOP][:NAMED]
        return f"{', '.join(named[:-1])}, or {named[-1]}" if len(named) > 1 else "".join(named)

    @property
    def hold(self) -> str:
        """Why the next piece is not begun, or empty."""
        one = self.batch
        return one.words if one is not None and one.hold is not None and (self.piece >= one.hold or self.due) else ""

    @property
    def due(self) -> bool:
        """Whether the piece in hand is done and only waits for its check."""
        one = self.batch
        return one is not None and one.next == self.piece and all(row.standing.state == DONE for row in self.rows)


def sheet_of(store: Store, desk: Desk, day: Today, wanted: int | None, now: datetime.datetime) -> Sheet:
    """The sheet of a day.

    Args:
        wanted: number of the zone to show; None: the one in hand.
    """
    key, work = day.road.entry.id, day.work
    entries = tuple(entries_of(store, key))
    zones, rates = _zones(store, day)
    pieces = int(work.offer["offer"].get("pieces", 1))
    passes = day.setting.passes if day.setting else 1
    piece = _piece_in_hand(entries, list(zones), pieces, len(work.measured), passes)
    mine = [one for one in entries if one.data["piece"] in (None, piece)]
    standing = {one.zone: one for one in state_of(mine, len(work.measured), passes, now)}
    # What belongs to this ground comes before what can happen anywhere.
    signs = tuple(sorted(signs_of(day.piece), key=lambda one: (one.level != STOP, one.name not in SEEN_FIRST)))

    def ask() -> tuple[tuple[Turn, ...], Ahead | None, Pace | None]:
        return _turns(day, zones, rates), _ahead(day, zones, rates, entries, pieces, now), _pace(day, entries)

    turns, left, pace = desk.run(ask)
    rows = tuple(
        Row(one.number, one.name, zones[one.number].effective, one, standing[one.number], _worst(mine, one.number))
        for one in turns
    )
    row = next((one for one in rows if one.number == wanted), None) or _in_hand(rows, mine)
    strokes = None
    if row is not None and day.setting is not None:
        try:
            strokes = plan_strokes(zones[row.number], day.setting, day.piece, rates, work.hand.starts)
        except InputError:
            strokes = None
    stopped = [one for one in mine if row and one.data["zone"] in (row.number, None) and one.data["what"] == INCIDENT]
    used = next((setting_from(one.data["setting"]) for one in reversed(mine)
                 if row and one.data["zone"] == row.number and one.data["setting"]), day.setting)  # fmt: skip
    last = max(entries, key=lambda one: one.made) if entries else None
    incident = stopped[-1] if stopped and row and row.standing.state == STOPPED else None
    stands = batch(pieces, checks_of_batch(entries)) if pieces > 1 else None
    return Sheet(
        rows, row, piece, pieces, stands, strokes, left, pace, signs, entries, last, incident, used
    )  # fmt: skip


def held(day: Today, sheet: Sheet) -> Gate | None:
    """Why nothing is begun just now: a gate of the day, or a batch that waits for a check."""
    if day.gate is not None:
        return day.gate
    if not sheet.hold:
        return None
    return Gate(f"Stop. {sheet.hold}", *(("#check", "Grade it") if sheet.due else ("#log", "Look at the log")))


# Named in the stop bar where they can come; the others stand below it.
SEEN_FIRST = ("tint", "white-smoke", "bronze", "spall", "people", "flame")


def _zones(store: Store, day: Today) -> tuple[dict[int, Zone], dict[str, float]]:
    """{number: zone as the hours take it} of those under the beam, and the shop's own rates."""
    work = day.work
    try:
        asked = asked_of(priced_job(store, day.road.entry))
        found, rates = list(asked.zones), dict(asked.rates or {})
    except InputError:  # prices are not asked for here
        found, rates = [measured_zone(one) for one in work.measured if not one.untouched], dict(work.rates)
    numbers = [n for n, one in enumerate(work.measured, 1) if not one.untouched]
    beam = {n: one.beam_share for n, one in enumerate(work.measured, 1)}
    return {n: zone for n, zone in zip(numbers, found, strict=True) if beam[n] > 0}, rates


def _turns(day: Today, zones: dict[int, Zone], rates: dict[str, float]) -> tuple[Turn, ...]:
    """The zones under the beam in their order, each with the pause its bulk asks between passes."""
    cool = {}
    if day.setting is not None and day.road.window is not None:
        for n, zone in zones.items():
            plan = plan_strokes(zone, day.setting, day.piece, rates)
            cool[n] = cooling(day.road.window.belief, day.setting, plan.beam / plan.passes)
    places = places_of(day.work.measured, day.work.offer["zones"])
    return in_order([one for one in places if one.number in zones], cool)


def _recipe(day: Today, setting: Setting) -> Recipe:
    return Recipe(setting, "", day.p_clean, day.p_harm, area_rate(setting), {}, None, "")


def _ahead(
    day: Today, zones: dict[int, Zone], rates: dict[str, float], entries: Sequence[Entry], pieces: int,
    now: datetime.datetime,
) -> Ahead | None:  # fmt: skip
    """What is left, of all pieces."""
    if day.setting is None or day.road.window is None or not zones:
        return None
    seconds = zone_seconds(
        _recipe(day, day.setting), day.road.window.belief, list(zones.values()), rates, pieces=pieces
    )
    return left_of(seconds, list(zones), entries, day.setting.passes, pieces, now)


def _pace(day: Today, entries: Sequence[Entry]) -> Pace | None:
    """How the hand went when it was last said otherwise than asked, or timed."""
    said = next((one for one in reversed(entries) if one.data["setting"]), None)
    if said is None or day.setting is None or day.road.window is None:
        return None
    used = setting_from(said.data["setting"])
    p_clean, p_harm, _ = grades_at(day.road.window.belief, used)
    off = used.travel_speed / day.setting.travel_speed - 1.0
    words = "as asked" if abs(off) <= QUICK else "a little quick" if off > 0 else "a little slow"
    if abs(off) > 5 * QUICK:
        words = "too quick" if off > 0 else "too slow"
    return Pace(used.travel_speed, words, float(p_clean), float(p_harm))


def _piece_in_hand(entries: Sequence[Entry], zones: list[int], pieces: int, counted: int, passes: int) -> int:
    """The first piece of a batch that is not done, or is done and due for a check that nobody made."""
    due = set(due_checks(pieces)) - set(checks_of_batch(entries)) if pieces > 1 else set()
    for piece in range(1, pieces + 1):
        mine = of_piece(entries, piece)
        standing = state_of(mine, counted, passes)
        if not mine or piece in due or any(standing[n - 1].state != DONE for n in zones):
            return piece
    return pieces


def _in_hand(rows: Sequence[Row], mine: Sequence[Entry]) -> Row | None:
    """What is begun or stopped; else what was just done and is not graded; else the next in order."""
    for state in (BEGUN, STOPPED):
        found = next((one for one in rows if one.standing.state == state), None)
        if found is not None:
            return found
    last = next((one for one in reversed(mine) if one.data["what"] in (BEGIN, END, CHECK)), None)
    if last is not None and last.data["what"] == END:
        found = next((one for one in rows if one.number == last.data["zone"] and not one.graded), None)
        if found is not None:
            return found
    return next((one for one in rows if one.standing.state == TO_DO), None)


def _worst(entries: Sequence[Entry], number: int) -> str:
    seen = [one.data["harm"] for one in entries if one.data["zone"] == number and one.data["harm"]]
    return max(seen, key=HARMS.index, default="none")
