"""A gate whose work is done: a day, the log of its run, photos before and after, an accepted quote."""

import copy
import datetime
from functools import lru_cache

import numpy as np
from made_gate import FINDS, GATE, SHOP, gate
from made_offer import DAY, made_quote
from made_photo import Camera, Step, pair

from proofpatch.documents.quote import quote_pdf
from proofpatch.run.piece import piece_of
from proofpatch.shop.charges import keep_charges
from proofpatch.shop.days import answer_check
from proofpatch.shop.job import job_from
from proofpatch.shop.kept_pairs import add_pair
from proofpatch.shop.log import setting_to
from proofpatch.shop.papers import Signed, quotes_of, send_quote, take_acceptance
from proofpatch.shop.photos import add_photo
from proofpatch.shop.run import add_entry

ZONES = 3


def at(hour, minute=0):
    """A moment of the day of the work, by the phone's clock."""
    zone = datetime.timezone(datetime.timedelta(hours=1))
    return datetime.datetime(2026, 3, 9, hour, minute, tzinfo=zone).isoformat()


def logged(passes=2):
    """What happened that day, entry by entry; the setting is the one that confirmed the recipe."""
    setting = setting_to(FINDS["at"][0].setting)
    rows = []
    for zone, hour in ((1, 9), (2, 10), (3, 13)):
        rows.append({"what": "begin", "zone": zone, "at": at(hour), "setting": setting, "passes": passes})
        rows.append({"what": "end", "zone": zone, "at": at(hour, 45), "seconds": 900, "passes": passes})
    rows.append({"what": "incident", "at": at(10, 20), "zone": 2, "sign": "alarm", "words": "The chiller ran warm"})
    rows.append({"what": "begin", "zone": 2, "at": at(10, 30)})
    look = {"what": "check", "harm": "none", "wiped": True, "grader": "R. Alder"}
    rows += [
        {**look, "zone": 1, "residue": "clean", "at": at(14), "fraction_left": 0.006},
        {**look, "zone": 2, "residue": "nearly", "harm": "tint", "at": at(14, 5)},
    ]
    return sorted(rows, key=lambda one: one["at"])


def finished_gate(store, agreed=True, log=True, **more):
    """The job in a store, done; its entry."""
    keep_charges(store, SHOP, 0)
    entry = gate(store, **more)
    if agreed:
        quote = made_quote(title="Iron gate", scope=("Both faces and the rails, 2.7 m².",))
        send_quote(store, entry.id, quote, "a4", "", quote_pdf(quote))
        signed = Signed("A. Fenwick", DAY, "2026-03-03T10:00:00+00:00", ("Read.",), b"")
        take_acceptance(store, quotes_of(store, entry.id)[0], signed, b"%PDF-1.7 signed")
    if log:
        piece = piece_of(job_from(GATE).surface)
        for name in ("window", "focus"):
            answer_check(store, entry.id, datetime.date(2026, 3, 9), piece, name, True, at=at(8))
        for row in logged():
            add_entry(store, entry.id, row, ZONES)
    return entry


@lru_cache(maxsize=1)
def photos():
    """The same place before and after, 40 % of the piece cleaned."""
    camera = Camera((720, 540))  # small, as comparing larger ones takes seconds
    return pair((0.2, 0.15), np.random.default_rng(2), "oak", "latex white", Step(0.02), 0.4, 4000.0,
                cameras=(camera, camera))  # fmt: skip


def with_photos(store, entry):
    """Both photos in the job and chosen for its record."""
    two = photos()
    digests = [add_photo(store, one, entry.id, about=about).data["digest"]
               for one, about in ((two.before.jpeg, "before"), (two.after.jpeg, "after"))]  # fmt: skip
    add_pair(store, entry.id, *digests, about="outer face, low left")
    return digests


def changed_gate(**more):
    """The tables of the gate with others in their place."""
    return copy.deepcopy(GATE) | more
