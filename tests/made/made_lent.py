"""What another shop sends, and a job of this one that could be sent."""

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

import proofpatch as pp
from proofpatch.learn.memory.exchange import packed
from proofpatch.shop.log import graded_to

# RFC 8032, 7.1, test 1: the secret key of the other shop.
KEY = Ed25519PrivateKey.from_private_bytes(
    bytes.fromhex("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60")
)
WHEN = "2026-03-02T09:00:00+00:00"
OAK = {"surface": {"substrate": "oak", "condition": "aged"}, "limits": {"preset": "ordinary"},
       "layers": [{"coating": "oil-varnish", "condition": "aged"}]}  # fmt: skip


def file(jobs, **more):
    """The other shop's file of these jobs, signed."""
    return packed(jobs, KEY, "Weir Workshop", "2026-05-04", **more)


def graded_job(store, at_work, title="Chest"):
    """A job here with one graded patch."""
    entry = store.add("job", OAK | {"job": {"title": title, "laser": "pulsed-500"}}, title=title)
    store.add("patch", graded_to(pp.Graded(at_work(), "partial", "none", grader="Ida"), WHEN), entry.id)
    return entry
