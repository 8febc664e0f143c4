"""The code the memory's studies rest on, so that a page can say which it was of and a test that it has moved on."""

import hashlib

import stamp

from proofpatch.learn import compiled

ASIDE = ("alike.py", "exchange.py")  # what is shown and handed on; no study asks them


def digest() -> str:
    """Of learn/memory, but for what no study asks."""
    seal = hashlib.sha256()
    for path in sorted(compiled.PACKAGE.joinpath("learn", "memory").iterdir()):
        if path.suffix in (".py", ".csv") and path.name not in ASIDE:
            seal.update(path.read_bytes())
    return seal.hexdigest()[:16]


def covers() -> str:
    """The code and data these studies are good for."""
    return f"{stamp.covers()}, memory {digest()}"


def origin(seeds: str) -> str:
    """Seeds, commit, machine, and what the study covers."""
    return stamp.stamp(seeds).replace(stamp.covers(), covers())
