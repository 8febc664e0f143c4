"""What the tests of the pages send, and how they read what comes back."""

import html
import re

NEW = {"title": "Side table", "kind": "clear film", "substrate": "mahogany", "year": "1905", "laser": "pulsed-300",
       "preset": "ordinary"}  # fmt: skip
LEAD = {"hazard": "lead", "status": "negative", "method": "laboratory test of a chip through all layers",
        "date": "2025-03-11"}  # fmt: skip
PAN = {"title": "Skillet", "kind": "grease", "substrate": "cast-iron", "year": "2020", "laser": "pulsed-500"}


def seen(answer):
    """The words of a page."""
    body = re.sub(r"<(style|script).*?</\1>", " ", answer.text, flags=re.S)
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", body)).split())


def at(store, job):
    return store.get("job", job.rsplit("/", 1)[1])


def send(client, store, job, step, **form):
    return client.post(f"{job}/{step}", data={"version": at(store, job).version, **form})


def laid(client, job):
    """The step of a strip that waits for its grade; a strip is laid out if none does."""
    page = client.get(f"{job}/patches").text
    if 'name="step"' not in page:
        assert client.post(f"{job}/strips", data={}).status_code == 303
        page = client.get(f"{job}/patches").text
    return re.search(r'name="step" value="([^"]*)"', page)[1]
