"""The passphrase and the devices as they are kept: nothing that opens the shop can be read back."""

import datetime
import re

import argon2
import pytest
import sqlalchemy as sa
from alembic import command
from alembic.config import Config

from proofpatch import InputError
from proofpatch.shop import door
from proofpatch.shop.database import FILE
from proofpatch.shop.roles import OPERATOR, OWNER, ROLES, VIEWER
from proofpatch.shop.store import Store
from proofpatch.shop.tables import Device, Secret

GOOD = "seven grey herons over the kiln"


@pytest.fixture
def later(store):
    """Lets days pass."""

    def pass_days(days):
        now = datetime.datetime.now(datetime.UTC) + datetime.timedelta(days=days)
        store.clock = lambda: now

    return pass_days


def test_the_passphrase_fits_and_nothing_else(store):
    assert door.passphrase_set(store) is None
    assert not door.passphrase_fits(store, "")
    door.set_passphrase(store, GOOD)
    assert door.passphrase_fits(store, GOOD)
    for wrong in ("", GOOD + " ", GOOD[:-1], GOOD.upper(), "x" * 10_000, "\ud800"):
        assert not door.passphrase_fits(store, wrong)


# RFC 9106, 4: argon2id; its second recommended choice asks for at least 64 MiB and 3 passes.
def test_it_is_kept_as_argon2id_with_what_the_rfc_recommends(store):
    door.set_passphrase(store, GOOD)
    with store.session(reads=True) as session:
        value = session.get(Secret, "passphrase").value
    known = argon2.extract_parameters(value)
    assert known.type is argon2.Type.ID
    assert (known.memory_cost >= 65536, known.time_cost >= 3, known.salt_len >= 16, known.hash_len >= 32) == (True,) * 4
    assert GOOD not in value


@pytest.mark.parametrize("bad", ["", "short", "x" * 11, "aaaaaaaaaaaaaaaa", "ab" * 20, "y" * 201])
def test_a_weak_passphrase_is_refused_and_the_old_one_stays(store, bad):
    door.set_passphrase(store, GOOD)
    with pytest.raises(InputError) as caught:
        door.set_passphrase(store, bad)
    assert caught.value.field == "passphrase"
    assert door.passphrase_fits(store, GOOD)


def test_a_devices_key_is_kept_as_a_digest_only(store):
    token = door.sign_in(store, "phone at the bench", "192.168.7.20")
    assert re.fullmatch(r"[\w-]{43}", token)
    with store.engine.connect() as connection:
        rows = " ".join(str(row) for row in connection.execute(sa.select(Device.__table__)))
    assert token not in rows
    assert door.device_of(store, token, "192.168.7.20").name == "phone at the bench"
    assert door.device_of(store, token[:-1] + "A" if token[-1] != "A" else token[:-1] + "B") is None


def test_a_stolen_key_opens_nothing_and_ends_the_stay(store):
    token = door.sign_in(store, "phone", "192.168.7.20")
    assert door.device_of(store, token, "192.168.7.66") is None
    assert door.device_of(store, token, "192.168.7.20") is None
    (gone,) = door.devices(store)
    assert "another address" in gone.why
    assert not door.stays(store, gone)


def test_where_nobody_can_read_along_an_address_may_change(store):
    token = door.sign_in(store, "phone", "192.168.7.20")
    assert door.device_of(store, token, None) is not None


def test_signing_out_one_leaves_the_others(store):
    tokens = [door.sign_in(store, name, "10.0.0.9") for name in ("one", "two", "three")]
    door.sign_out(store, door.device_of(store, tokens[1]).id, "signed out on the laptop")
    assert [door.device_of(store, token) is not None for token in tokens] == [True, False, True]
    door.sign_out(store)
    assert not any(door.device_of(store, token) for token in tokens)


def test_another_passphrase_signs_every_device_out(store):
    token = door.sign_in(store, "phone", "10.0.0.9")
    door.set_passphrase(store, GOOD)
    assert door.device_of(store, token) is None


def test_a_device_that_is_not_seen_for_a_month_has_to_sign_in_again(store, later):
    token = door.sign_in(store, "phone", "10.0.0.9")
    later(29)
    assert door.device_of(store, token) is not None  # seen: a month from now again
    later(58)
    assert door.device_of(store, token) is not None
    later(89)
    assert door.device_of(store, token) is None
    assert not door.stays(store, door.devices(store)[0])


def test_only_so_many_devices(store):
    for number in range(door.MOST_DEVICES):
        door.sign_in(store, str(number), "10.0.0.9")
    with pytest.raises(InputError) as caught:
        door.sign_in(store, "one more", "10.0.0.9")
    assert caught.value.field == "device"


def test_a_nameless_device_has_a_name_and_no_name_breaks_a_page(store):
    for name in ("", " ", "\x00\x07", "a" * 1000, "<b>bold</b>\n\n"):
        door.sign_in(store, name, "10.0.0.9")
    names = [one.name for one in door.devices(store)]
    assert all(name and len(name) <= 80 and name.isprintable() for name in names)


def test_a_role_is_given_and_a_wrong_one_is_refused(store):
    token = door.sign_in(store, "phone", "10.0.0.9")
    key = door.device_of(store, token).id
    for role in ROLES:
        door.give_role(store, key, role)
        assert door.device_of(store, token).role == role
    for bad in ("king", "", "Owner"):
        with pytest.raises(InputError):
            door.give_role(store, key, bad)
    assert door.device_of(store, token).role == OWNER
    door.sign_out(store, key)
    with pytest.raises(InputError):
        door.give_role(store, key, OWNER)


def test_a_role_that_is_none_may_do_the_least(store):
    token = door.sign_in(store, "phone", "10.0.0.9")
    with store.session() as session:
        session.execute(sa.update(Device).values(role="king"))
    assert door.device_of(store, token).role == VIEWER


def test_who_signed_in_before_there_were_roles_is_an_operator(tmp_path):
    (tmp_path / "photos").mkdir()
    engine = sa.create_engine(f"sqlite:///{tmp_path / FILE}")
    with engine.begin() as connection:
        settings = Config()
        settings.set_main_option("script_location", "proofpatch:shop/migrations")
        settings.attributes["connection"] = connection
        command.upgrade(settings, "0003")
        now = datetime.datetime.now(datetime.UTC)
        row = {
            "id": "a",
            "digest": "b",
            "name": "old phone",
            "address": "10.0.0.9",
            "created": now,
            "seen": now,
            "why": "",
        }
        before = sa.table("device", *(sa.column(name) for name in row))
        connection.execute(sa.insert(before).values(row | {name: now.isoformat(" ") for name in ("created", "seen")}))
    engine.dispose()
    store = Store.open(tmp_path)
    assert [(one.name, one.role) for one in door.devices(store)] == [("old phone", OPERATOR)]
    store.close()
