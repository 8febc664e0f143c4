"""A gate of an invented workshop with a confirmed recipe and zones, ready for an offer."""

import copy
import json

import proofpatch as pp
from proofpatch.learn.evidence import Graded
from proofpatch.shop.job import job_from
from proofpatch.shop.log import graded_to, stamp

LEAD = {"status": "negative", "method": "laboratory test of a chip through all layers", "date": "2025-03-11"}
CLEARED = [
    {**LEAD, "hazard": "chromate", "method": "laboratory hexavalent chromium of a chip"}, {**LEAD, "hazard": "cadmium"},
]  # fmt: skip
GATE = {
    "job": {"title": "Iron gate", "laser": "pulsed-500", "year": 2001},
    "surface": {"substrate": "mild steel", "thickness": "6 mm"}, "layers": [{"coating": "loose rust"}],
    "limits": {"preset": "scrap", "p_clean": "60 %", "p_harm": "30 %"}, "lead": LEAD, "cleared": CLEARED,
    "zones": [
        {"name": "outer face", "area": "1.1 m²", "front": True}, {"name": "inner face", "area": "1.1 m²", "set_ups": 1},
        {"name": "rails", "area": "0.06 m²", "width": "40 mm", "count": 8, "hand_finish": "5 %", "how": "tape"},
    ],
}  # fmt: skip
SHOP = {
    "prices": {
        "currency": "EUR", "labour": "38.00", "laser": "14.00", "lens_window": "85", "filter": "60", "energy": "0.28",
        "drawn": "4 kW", "waste_fee": "25", "insurance": "12", "minimum": "180", "margin": "25 %", "tax": "20 %",
        "tax_name": "VAT", "deposit": "30 %", "patch_fee": "60", "floor": "45", "step": "5",
    },
    "letterhead": {
        "name": "Heron & Kiln Restoration", "address": ["7 Tannery Yard", "Low Weir"], "more": ["Tel. 0555 0142"],
        "locale": "en_IE", "terms": ["Parking; You keep a place for the van."],
    },
}  # fmt: skip
FINDS = {}  # the setting that confirms a recipe, found once


def gate(store, **more):
    """The job in a store, its recipe confirmed on a patch."""
    data = copy.deepcopy(GATE) | more
    entry = store.add("job", data, title=data["job"]["title"])
    if "at" not in FINDS:
        work = job_from(GATE)
        belief = pp.prior(work.surface, work.laser, work.hand, seed=work.seed)
        found = pp.recipe(belief, work.limits)
        patches = []
        while not found.confirmed and len(patches) < 6:
            patches.append(Graded(found.setting, "clean", "none"))
            found = pp.recipe(pp.update(belief, patches), work.limits)
        assert found.confirmed
        FINDS["at"] = patches
    for n, patch in enumerate(FINDS["at"]):
        store.add("patch", graded_to(patch, stamp()), entry.id, f"A{n + 1}: clean, none")
    return store.get("job", entry.id)


def toml(value):
    """Tables as a job file has them, each on a line."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {toml(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list):
        return "[" + ", ".join(map(toml, value)) + "]"
    return json.dumps(value, ensure_ascii=False)


def job_file(tables):
    """The text of a job file."""
    return "".join(f"{name} = {toml(table)}\n" for name, table in tables.items())
