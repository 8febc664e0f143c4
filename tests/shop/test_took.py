"""What finished jobs took, and what that makes of the next one's hours."""

import datetime
import math

import pytest

from proofpatch.offer.hours import Correction
from proofpatch.shop.charges import keep_charges, priced_job
from proofpatch.shop.offered import asked_of
from proofpatch.shop.took import KIND, correction_of, took_of
from proofpatch.web.come_to import keep
from proofpatch.web.road import road

LAB = {"status": "negative", "method": "laboratory test of a chip through all layers", "date": "2025-03-11"}
PAN = {
    "surface": {"substrate": "cast-iron"}, "layers": [{"coating": "baked-grease"}], "lead": LAB,
    "zones": [{"name": "inside", "area": "0.1 m2"}, {"name": "lip", "area": "0.02 m2", "untouched": True}],
}  # fmt: skip
SETTING = {
    "average_power_W": 250.0, "repetition_rate_Hz": 20e3, "pulse_width_s": 2e-7, "spot_radius_m": 0.45e-3,
    "sweep_width_m": 0.1, "sweep_speed_m_s": 10.0, "travel_speed_m_s": 0.05, "passes": 2, "pattern": "line",
}  # fmt: skip
NONE = {"setting": None, "passes": None, "seconds": None, "residue": None, "harm": None, "fraction_left": None,
        "wiped": False, "photos": [], "words": "", "sign": None, "grader": "", "piece": None}  # fmt: skip
BEGAN = datetime.datetime(2026, 3, 2, 9, tzinfo=datetime.UTC)


@pytest.fixture
def done(store):
    """A job done in so many times the predicted time."""

    def made(factor):
        entry = store.add("job", PAN | {"job": {"title": "Pan", "laser": "pulsed-500", "year": 2020}}, title="Pan")
        store.add("recipe", {"record": {"setting": SETTING, "p_clean": 0.97, "p_harm": 0.005, "area_rate_m2_s": 2.5e-3},
                             "patches": []}, entry.id)  # fmt: skip
        belief, work = road(store, entry).window.belief, road(store, entry).work
        keep(store, road(store, entry))
        assert not store.all(KIND, entry.id)

        def log(what, after):
            at = (BEGAN + datetime.timedelta(seconds=after)).isoformat()
            return store.add("run", NONE | {"what": what, "zone": 1, "at": at}, entry.id)

        log("begin", 0.0)
        end = log("end", 60.0)
        predicted = took_of(store, entry, work, belief)["predicted_s"]
        store.delete("run", end.id, 1)
        log("end", factor * predicted)
        keep(store, road(store, entry))
        (kept,) = store.all(KIND, entry.id)
        assert kept.data["took_s"] == pytest.approx(factor * predicted)
        return entry

    return made


# Gelman et al., Bayesian Data Analysis, 3rd ed. (2013), eq. 2.12 (from memory): with equal spreads of prior and datum
# the posterior mean of n data about a prior mean of 0 is n/(n + 1) of theirs.
def test_a_finished_job_moves_the_hours_half_way_and_many_all_of_it(store, done):
    assert correction_of(store) == Correction()
    first = done(2.0)
    assert correction_of(store).factor == pytest.approx(2.0 ** (1 / 2))
    assert (correction_of(store).jobs, correction_of(store).spread) == (1, 0.0)
    done(1.0)
    assert correction_of(store).factor == pytest.approx(2.0 ** (1 / 3))
    assert correction_of(store, first.id).factor == pytest.approx(1.0)  # not by itself


def test_a_time_that_was_not_kept_is_not_believed(store, done):
    done(0.01)
    done(100.0)
    assert correction_of(store) == Correction()


def test_the_next_offer_takes_it_and_says_so(store, done):
    done(1.5)
    keep_charges(store, {"prices": {"labour": "40"}}, 0)
    new = store.add("job", PAN | {"job": {"title": "New", "laser": "pulsed-500", "year": 2020}}, title="New")
    asked = asked_of(priced_job(store, new))
    assert asked.correction.factor == pytest.approx(math.sqrt(1.5))
    assert asked.correction.words == (  # it took 1.5 times as long; half of that is believed
        "1 finished job of the shop makes these hours 1.22 times as long (how far each counts is common practice, no "
        "source)"
    )
