"""What the shop says of itself, kept once and read everywhere."""

import threading

import pytest

from proofpatch.errors import InputError
from proofpatch.shop.settings import Settings, keep_settings, settings_of
from proofpatch.shop.store import Overtaken
from proofpatch.units import show, shown_in


def test_settings_are_kept_and_a_stale_change_is_told(store):
    assert settings_of(store) == (Settings(), None)
    keep_settings(store, {"units": "us", "name": "Hollow Lane Workshop"}, 0)
    kept, entry = settings_of(store)
    assert (kept.units, kept.name, kept.paper) == ("us", "Hollow Lane Workshop", "a4")
    keep_settings(store, {"paper": "us-letter"}, entry.version)
    with pytest.raises(Overtaken):
        keep_settings(store, {"paper": "a4"}, entry.version)
    assert settings_of(store)[0].paper == "us-letter"


def test_of_two_tabs_that_keep_them_first_one_is_overtaken(store, monkeypatch):
    look, told = store.all, []

    def keep(name):
        try:
            keep_settings(store, {"name": name}, 0)
        except Overtaken as late:
            told.append(late)

    other = threading.Thread(target=keep, args=("second",))

    def look_slowly(*args, **more):
        found = look(*args, **more)
        if other.ident is None:
            other.start()
            other.join(0.5)
        return found

    monkeypatch.setattr(store, "all", look_slowly)
    keep("first")
    other.join()
    assert len(look("shop")) == len(told) == 1


@pytest.mark.parametrize("field", ["units", "currency", "paper", "preset"])
def test_a_choice_that_is_none_is_refused_at_its_field(store, field):
    with pytest.raises(InputError) as told:
        keep_settings(store, {field: "furlongs"}, 0)
    assert told.value.field == field
    assert settings_of(store) == (Settings(), None)


def test_a_choice_of_a_newer_program_does_not_close_the_shop(store):
    store.add("shop", {"name": "Ours", "paper": "a5", "signature": "blue"})
    assert settings_of(store)[0] == Settings(name="Ours")


# A foot is 0.3048 m (international yard and pound agreement, 1959).
def test_the_system_holds_inside_only_and_a_named_one_wins():
    with shown_in("us"):
        assert show(0.3048**2, "area") == "1 ft²"
        assert show(0.3048, "length", "metric") == "305 mm"
    assert show(0.3048**2, "area") == "929 cm²"
    with pytest.raises(InputError), shown_in("furlongs"):
        pass
