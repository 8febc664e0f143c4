"""Whose piece it is: two devices that say it at once."""

import threading
import time

from proofpatch.shop import people
from proofpatch.shop.people import item_of, keep_item
from proofpatch.shop.store import Overtaken


def test_two_devices_at_once_make_one_item_and_one_customer(store, monkeypatch):
    job, customer, told = store.add("job", {}).id, people._customer, []

    def slowly(*given):
        time.sleep(0.1)  # the other one looks meanwhile
        return customer(*given)

    monkeypatch.setattr(people, "_customer", slowly)

    def say(wanted):
        try:
            keep_item(store, job, 0, "A. Fenwick", "0555 0142", wanted)
        except Overtaken:
            told.append(wanted)

    threads = [threading.Thread(target=say, args=(wanted,)) for wanted in ("bare oak", "as it was")]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert len(told) == len(store.all("item", job)) == len(store.all("customer")) == 1
    kept = item_of(store, job)
    assert (kept.wanted in ("bare oak", "as it was"), kept.wanted != told[0]) == (True, True)
