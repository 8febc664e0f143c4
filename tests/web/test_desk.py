"""What nobody waits for any more takes no turn; all that somebody waits for, or that has to be kept, does."""

import threading
import time

import pytest
from made_api import PAN

from proofpatch.shop.store import Store
from proofpatch.web import desk as module
from proofpatch.web.desk import Desk, Working


@pytest.fixture
def busy(tmp_path, monkeypatch):
    """A desk that is at something else until it is let go, and what lets it go."""
    monkeypatch.setattr(module, "LEFT", 0.2)
    store = Store.open(tmp_path / "shop")
    desk, go = Desk(store, 0.01), threading.Event()
    desk.later(go.wait)
    yield desk, go
    go.set()
    desk.run(lambda: None)
    store.close()


def looked(desk, about, done):
    with pytest.raises(Working):
        desk.tell(about, about, lambda: done.append(about))


def test_a_page_that_was_left_is_not_worked_out(busy):
    (desk, go), done = busy, []
    looked(desk, "left", done)
    looked(desk, "looked at again", done)
    waits = threading.Thread(target=desk.tell, args=("waited for", "", lambda: done.append("waited for"), True))
    waits.start()
    for _ in range(5):
        time.sleep(0.1)
        looked(desk, "looked at again", done)
    go.set()
    waits.join()
    desk.run(lambda: None)
    assert done == ["looked at again", "waited for"]
    desk.tell("left", "", lambda: done.append("left"), True)  # it begins anew
    assert done[-1] == "left"


def test_a_job_that_was_changed_is_worked_out_though_nobody_looks(busy):
    desk, go = busy
    entry = desk.store.add("job", PAN, title="Skillet")
    with pytest.raises(Working):
        desk.look(entry.id)
    desk.begin(entry)
    time.sleep(0.3)
    go.set()
    desk.run(lambda: None)
    assert desk.store.count("survey") == 1  # what it came to is kept
