"""A job that is ready to run: zones, room and air, a recipe that was laid, came clean and was decided."""

from made_pages import at, send

import proofpatch as pp
from proofpatch.shop.job import job_from
from proofpatch.shop.log import setting_to
from proofpatch.shop.run import answer_check
from proofpatch.web.today import piece_on

LAB = {"status": "negative", "date": "2025-03-11"}
AIR = {"capture": "98 %", "flow": "60000 m³/h", "length": "9 m", "width": "6 m", "height": "4 m", "across": "3 m",
       "up": "2 m"}  # fmt: skip
ZONES = [{"name": "underside", "area": "0.04 m²"}, {"name": "rim", "area": "0.02 m²"},
         {"name": "front face", "area": "0.05 m²", "front": True}]  # fmt: skip


def ready(client, store, job, zones=None, laid=3, **offer):
    """The job with all that its first beam needs but the day itself."""
    send(client, store, job, "settle", hazard="chromate", method="laboratory hexavalent chromium of a chip", **LAB)
    send(client, store, job, "settle", hazard="cadmium", method="laboratory test of a chip", **LAB)
    send(client, store, job, "about", thickness="2 um", year="2020")
    send(client, store, job, "place", **AIR)
    now = at(store, job)
    data = {**now.data, "zones": zones or ZONES} | ({"offer": offer} if offer else {})
    store.change("job", now.id, now.version, data)
    work = job_from(data)
    window = pp.forecast(pp.prior(work.surface, work.laser, work.hand, seed=work.seed), work.limits)
    setting = setting_to(window.settings[window.best])
    for number in range(laid):
        line = {"setting": setting, "residue": "clean", "harm": "none", "when": f"2026-03-02T09:0{number}:00+00:00"}
        store.add("patch", line, now.id, f"A{number + 1}: clean, none")
    store.add("recipe", {"record": {"setting": setting, "confirmed": True}, "forecast": {}, "patches": []}, now.id)
    return setting


VALUES = {"power": None, "air": 293.15, "humidity": 0.5, "metal": 293.15, "wind": 1.0, "wood-moisture": 0.1,
          "masonry-moisture": 0.03}  # fmt: skip


def opened(store, road, date, at):
    """Every check of the day answered well."""
    from proofpatch.run.day import checks_of

    piece = piece_on(road)
    for check in checks_of(piece):
        value = VALUES.get(check.name) if check.reads else None
        answer_check(store, road.entry.id, date, piece, check.name, True, value, "", at)
