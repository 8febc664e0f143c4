"""A small shop in which every kind of thing that names another stands, each naming one that is there."""

import base64
import datetime
import io

import numpy as np
import trimesh
from made_offer import DAY, made_quote
from PIL import Image

from proofpatch.shop.papers import Signed, keep_pdf, note_payment, quotes_of, send_quote, take_acceptance
from proofpatch.shop.photos import add_photo
from proofpatch.shop.seen import add_shot

PAPER = b"%PDF-1.7 a paper"
STOOL = trimesh.creation.box((300, 300, 500)).export(file_type="stl")


def picture(seed):
    """A small PNG like no other."""
    out = io.BytesIO()
    Image.fromarray(np.random.default_rng(seed).integers(0, 255, (24, 32, 3), dtype=np.uint8)).save(out, "PNG")
    return out.getvalue()


def whole_shop(store):
    """Fills it; the ids of what stands in it, by kind."""
    job = store.add("job", {"job": {"title": "Oak chest"}}, title="Oak chest").id
    other = store.add("job", {}, title="Iron gate").id
    photo = add_photo(store, picture(1), job, about="A1")
    digest = photo.data["digest"]
    store.change("job", job, 1, {"job": {"title": "Oak chest"}, "zones": [{"outlines": [{"photo": digest}]}]})
    customer = store.add("customer", {"contact": ""}, title="A. Fenwick").id
    item = store.add("item", {"customer": customer, "wanted": "clean"}, job).id
    strip = store.add("strip", {"name": "A", "steps": [{}, {}]}, job, "Strip A").id
    patch = store.add("patch", {"residue": "clean", "harm": "none"}, job, "A1: clean, none").id
    belief = store.add("belief", {"patches": [patch]}, job).id
    recipe = store.add("recipe", {"patches": [patch]}, job).id
    seen = add_shot(store, job, strip, digest).id
    quote = send_quote(store, job, made_quote(), "a4", digest, PAPER)
    signed = Signed("A. Fenwick", DAY, "2026-03-02T10:00:00+00:00")
    acceptance = take_acceptance(store, quotes_of(store, job)[0], signed, PAPER)
    kept = keep_pdf(store, job, PAPER, "Sample approval")
    approval = store.add("approval", {**signed.record(), "patch_id": patch, "photo": digest, "pdf": kept.id}, job)
    bill = {"number": "I-1", "quote": quote.id, "pdf": keep_pdf(store, job, PAPER, "Invoice").id}
    invoice = store.add("invoice", bill, job, "Invoice I-1").id
    note_payment(store, job, quotes_of(store, job)[0].quote, datetime.date(2026, 3, 9), "100.00", "bank")
    note = store.add("note", {"text": "first"}, job)
    note = store.delete("note", note.id, store.change("note", note.id, 1, {"text": "second"}).version)
    return {
        "job": job, "other": other, "photo": photo.id, "digest": digest, "customer": customer, "item": item,
        "strip": strip, "patch": patch, "belief": belief, "recipe": recipe, "seen": seen, "quote": quote.id,
        "acceptance": acceptance.id, "approval": approval.id, "invoice": invoice, "note": note.id, "paper": kept.id,
    }  # fmt: skip


assert base64.b64encode(PAPER).startswith(b"JVBER")
