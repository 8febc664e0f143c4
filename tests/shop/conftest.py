"""A second shop beside the one of all tests; a PostgreSQL that is shared, an empty database in it for each test."""

import itertools
import os
import shutil
import subprocess
import tempfile
from pathlib import Path

import psycopg
import pytest

from proofpatch.shop.setting import Setting, keep_setting, url_from
from proofpatch.shop.store import Store

NUMBERS = itertools.count(1)


@pytest.fixture(scope="session")
def server():
    """The folder of its socket; a machine without one fails and says what to install.

    Its language is C, in which PostgreSQL knows no letter beyond z: ours has to.
    """
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    initdb = found[-1] if found else shutil.which("initdb")
    assert initdb, "PostgreSQL's server is missing. Install it with: sudo apt-get install postgresql"
    control = str(Path(initdb).with_name("pg_ctl"))
    with tempfile.TemporaryDirectory(dir="/tmp", prefix="pg") as place:  # a socket's path is short
        who = []
        if os.getuid() == 0:  # the server refuses root
            who = ["runuser", "-u", "postgres", "--"]
            shutil.chown(place, "postgres")
        data = f"{place}/data"

        def call(*words):
            subprocess.run([*who, *words, "-D", data], check=True, capture_output=True, cwd=place)

        call(str(initdb), "-A", "trust", "-U", "shop", "-E", "UTF8", "--locale", "C", "--no-sync")
        call(control, "-o", f"-k {place} -c listen_addresses= -c fsync=off", "-l", f"{place}/log", "-w", "start")
        yield place
        call(control, "-m", "immediate", "stop")


@pytest.fixture
def asked(server):
    """One statement past the shop, in a database; its rows."""

    def call(statement, database="postgres"):
        with psycopg.connect(host=server, user="shop", dbname=database, autocommit=True) as connection:
            done = connection.execute(statement)
            return done.fetchall() if done.description else []

    return call


@pytest.fixture
def databases(server, asked):
    """Called, it makes an empty database and gives its address."""

    def call(coded="UTF8"):
        name = f"shop{next(NUMBERS)}"
        asked(f"CREATE DATABASE {name} ENCODING '{coded}' TEMPLATE template0")
        return f"postgresql+psycopg://shop@/{name}?host={server}"

    return call


@pytest.fixture
def postgres(databases):
    """The address of an empty database."""
    return databases()


@pytest.fixture
def spoiled(asked, postgres):
    """One statement in that database past all care, with nobody looking after what others name."""
    name = url_from(postgres).database

    def call(statement):
        return asked(f"SET session_replication_role = replica; {statement}", name)

    return call


@pytest.fixture
def there(tmp_path, postgres):
    """A shop of its own in PostgreSQL."""
    place = tmp_path / "there"
    place.mkdir()
    keep_setting(place, Setting(url_from(postgres), None))
    found = Store.open(place)
    yield found
    found.close()


@pytest.fixture
def other(tmp_path):
    """Empty."""
    found = Store.open(tmp_path / "other")
    yield found
    found.close()
