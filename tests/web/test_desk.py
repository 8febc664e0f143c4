"""What nobody waits for any more takes no turn; all that somebody waits for, or that has to be kept, does."""

import threading
from types import SimpleNamespace

import pytest
from made_api import PAN

from proofpatch.shop.store import Store
from proofpatch.web import desk as module
from proofpatch.web.desk import Desk, Working


@pytest.fixture
def busy(tmp_path, monkeypatch):
    """A desk that is at something else until it is let go, what lets it go, and its clock, which the test puts on."""
    clock = [0.0]
    monkeypatch.setattr(module, "time", SimpleNamespace(monotonic=lambda: clock[0]))
    store = Store.open(tmp_path / "shop")
    desk, go = Desk(store, 0.01), threading.Event()
    desk.later(go.wait)
    yield desk, go, clock
    go.set()
    desk.run(lambda: None)
    store.close()


def looked(desk, about, done):
    with pytest.raises(Working):
        desk.tell(about, about, lambda: done.append(about))


def test_a_page_that_was_left_is_not_worked_out(busy):
    (desk, go, clock), done = busy, []
    looked(desk, "left", done)
    looked(desk, "looked at again", done)
    waits = threading.Thread(target=desk.tell, args=("waited for", "", lambda: done.append("waited for"), True))
    waits.start()
    while "waited for" not in desk._told:
        waits.join(0.01)
    clock[0] += module.LEFT * 0.8
    looked(desk, "looked at again", done)
    clock[0] += module.LEFT * 0.8
    go.set()
    waits.join()
    desk.run(lambda: None)
    assert done == ["looked at again", "waited for"]
    desk.tell("left", "", lambda: done.append("left"), True)  # it begins anew
    assert done[-1] == "left"


def test_a_job_that_was_changed_is_worked_out_though_nobody_looks(busy):
    desk, go, clock = busy
    entry = desk.store.add("job", PAN, title="Skillet")
    with pytest.raises(Working):
        desk.look(entry.id)
    desk.begin(entry)
    clock[0] += 10 * module.LEFT
    go.set()
    desk.run(lambda: None)
    assert desk.store.count("survey") == 1  # what it came to is kept


def test_a_desk_that_waits_as_long_as_it_takes_leaves_nothing_out(busy):
    desk, go, clock = busy
    desk.patience, found = None, []
    waits = threading.Thread(target=lambda: found.append(desk.tell("about", "", lambda: 7)))
    waits.start()
    while "about" not in desk._told:
        waits.join(0.01)
    clock[0] += 10 * module.LEFT
    go.set()
    waits.join()
    assert found == [7]
