"""A job that is ready to run: zones, room and air, a recipe that was laid, came clean and was decided."""

import datetime

from proofpatch.run.day import checks_of
from proofpatch.shop.days import answer_check
from proofpatch.web.road import road
from proofpatch.web.today import piece_on

DATE = "2025-03-11"
ZONES = [{"name": "underside", "area": "0.04 m²"}, {"name": "rim", "area": "0.02 m²"},
         {"name": "front face", "area": "0.05 m²", "front": True}]  # fmt: skip
TABLES = {
    "job": {"title": "Skillet", "laser": "pulsed-500"}, "limits": {"preset": "ordinary"},
    "evidence": {"substrate": "cast-iron", "kind": "grease", "year": "2020", "thickness": "2 um"},
    "lead": {"status": "negative", "method": "laboratory test of a chip through all layers", "date": DATE},
    "cleared": [
        {"hazard": "chromate", "status": "negative", "method": "laboratory hexavalent chromium of a chip",
         "date": DATE},
        {"hazard": "cadmium", "status": "negative", "method": "laboratory test of a chip", "date": DATE},
    ],
    "room": {"length": "9 m", "width": "6 m", "height": "4 m", "work": ["3 m", "2 m"]},
    "air": {"capture": "98 %", "flow": "60000 m³/h"},
}  # fmt: skip
SETTING = {
    "average_power_W": 150.0, "repetition_rate_Hz": 100e3, "pulse_width_s": 2e-7, "spot_radius_m": 4.5e-4,
    "sweep_width_m": 0.1, "sweep_speed_m_s": 10.0, "travel_speed_m_s": 0.016, "passes": 1, "pattern": "line",
}  # fmt: skip
VALUES = {"air": 293.15, "humidity": 0.5, "metal": 293.15}


def ready(store, laid=3, recipe=True, **tables):
    """(address, key) of the job with all that its first beam needs but the day itself."""
    job = store.add("job", {**TABLES, "zones": ZONES, **tables}, title="Skillet")
    for number in range(laid):
        line = {"setting": SETTING, "residue": "clean", "harm": "none", "when": f"2026-03-02T09:0{number}:00+00:00"}
        store.add("patch", line, job.id, f"A{number + 1}: clean, none")
    if recipe:
        record = {"setting": SETTING, "confirmed": True, "p_clean": 0.95, "p_harm": 0.01}
        store.add("recipe", {"record": record, "forecast": {}, "patches": []}, job.id)
    return f"/jobs/{job.id}", job.id


def opened(store, key):
    """Every check of today answered well; no control patch is laid yet."""
    now = datetime.datetime.now().astimezone()
    piece = piece_on(road(store, store.get("job", key)))
    for check in checks_of(piece):
        answer_check(store, key, now.date(), piece, check.name, True, VALUES.get(check.name), "", now.isoformat())
    return piece
