"""What a job file says for the offer: its keys, of what kind each is, and within what bounds."""

from __future__ import annotations

from proofpatch.offer.rates import BOUNDS

# A time per metre or per square metre is written as the time of one.
_QUANTITIES = {"s": "duration", "m": "length", "s/m": "duration", "s/m²": "duration"}
_ELSEWHERE = ("set_up", "hand_factor", "filter_holds")  # named in the job's own table, or no quantity that people write
_MORE = {name: bounds for name, bounds in BOUNDS.items() if name not in _ELSEWHERE}

RATE_KEYS = {name: f"rate {name}" for name in _MORE}
# Beside what `measure` reads of a zone.
ZONE_KEYS = {"width": "member", "set_ups": "times", "masking": "masked", "front": "flag"}
OFFER_KEYS = {
    "number": "text", "customer": "texts", "site": "text", "pieces": "equal ones", "strips": "times",
    "waiting": "wait", "trips": "times", "travel": "wait", "distance": "way", "first_of_kind": "flag",
    "sample": "text", "starts": "text", "valid_days": "days", "scope": "texts", "price": "money", "pricing": "text",
    "basis": "text",
}  # fmt: skip
PRICE_KEYS = {
    "currency": "text", "labour": "money", "laser": "money", "lens_window": "money", "filter": "money",
    "energy": "money", "drawn": "power", "distance": "money", "disposal": "money", "waste_fee": "money",
    "insurance": "money", "subcontract": "texts", "minimum": "money", "margin": "share", "mark_up": "mark-up",
    "tax": "share", "tax_name": "text", "tax_inclusive": "flag", "tax_per": "text", "tax_rounding": "text",
    "deposit": "share", "patch_fee": "money", "floor": "money", "chance": "share", "step": "money",
}  # fmt: skip
LETTERHEAD_KEYS = {"name": "text", "address": "texts", "more": "texts", "paper": "text", "locale": "text",
                   "terms": "texts"}  # fmt: skip

WHOLES = {"equal ones": (1, 10_000), "times": (0, 1000), "days": (1, 365)}
OFFER_BOUNDED: dict[str, tuple[str, float | None, float | None]] = {
    "member": ("length", 1e-3, 1e3), "masked": ("length", 0.0, 1e4), "wait": ("duration", 0.0, 1e6),
    **{f"rate {name}": (_QUANTITIES[unit], low, high) for name, (low, high, unit) in _MORE.items() if unit},
}  # fmt: skip
OFFER_FACTORS = {"mark-up": (0.0, 20.0), "way": (0.0, 10_000.0)} | {
    f"rate {name}": (low, high) for name, (low, high, unit) in _MORE.items() if not unit
}
