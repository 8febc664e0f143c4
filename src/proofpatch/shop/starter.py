"""Starter knowledge: published cases as a file like any other shop's, shipped here and taken in only when asked for.

`benchmarks/starter.py` makes the file. Its key is written there for everybody to read, so its signature guards against
damage only; that it is the file that was shipped its digest says.
"""

from __future__ import annotations

import hashlib
from functools import lru_cache
from pathlib import Path

from proofpatch.errors import InputError
from proofpatch.learn.memory.exchange import Parcel, unpacked
from proofpatch.shop.lots import KIND, bring_in
from proofpatch.shop.store import Entry, Store

FILE = Path(__file__).with_name("starter.jsonl")
WEIGHT = 0.1  # common practice, no source
WHY = (
    "It counts little, for published data already stand behind every forecast, a coupon in a laboratory is no old "
    "piece, and what a paper does not print was filled in."
)


@lru_cache(maxsize=1)
def starter_file() -> bytes:
    """The file, as it was shipped."""
    return FILE.read_bytes()


@lru_cache(maxsize=1)
def starter() -> Parcel:
    """What it holds."""
    return unpacked(starter_file())


def starter_offered(store: Store) -> Parcel | None:
    """The starter knowledge where it was never taken in; None where it was, also if it was taken out since."""
    digest = hashlib.sha256(starter_file()).hexdigest()
    kept = [*store.all(KIND), *store.all(KIND, deleted=True)]
    return None if any(one.data["digest"] == digest for one in kept) else starter()


def take_starter(store: Store, weight: float = WEIGHT, by: str = "") -> Entry:
    """It as a lot that counts so much.

    Raises:
        InputError: it is in already or was taken out; a weight outside 0 to 1.
    """
    try:
        return bring_in(store, starter_file(), weight, by)
    except InputError as slip:
        raise InputError("weight" if slip.field == "weight" else "starter", slip.problem, slip.remedy) from None
