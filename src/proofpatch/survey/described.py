"""The surface of a survey, as the forecast takes it."""

from __future__ import annotations

import math

from proofpatch.learn.surface import Layer, Surface
from proofpatch.materials import coating, substrate, substrate_ids
from proofpatch.survey.evidence import Survey
from proofpatch.survey.finishes import finishes
from proofpatch.survey.identify import Identity

MOST_COATINGS = 12
WORTH_ASKING = 0.01  # chance of a coating from which it is kept; common practice, no source


def surface_of(survey: Survey, identity: Identity, sheet: float | None = None, only: str | None = None) -> Surface:
    """The likely coatings as a mixture, over the likeliest substrate; or one of them, over its own likeliest.

    Args:
        sheet: thickness of the substrate [m], where measured.
        only: id of the one coating.
    """
    likely = {key: p for key, p in list(identity.coatings.items())[:MOST_COATINGS] if p >= WORTH_ASKING}
    total = math.fsum(likely.values())
    shares = {only: 1.0} if only else {key: p / total for key, p in likely.items()}
    colour, condition = _colour(survey, identity), identity.condition
    # What one of them cannot have says nothing about it.
    data = [coating(key) for key in shares]
    colour = colour if all(colour in one.colours for one in data) else "unknown"
    condition = condition if all(condition in one.conditions for one in data) else "unknown"
    under = _ground_under(identity, only)
    state = survey.ground_condition if survey.ground_condition in substrate(under).conditions else "unknown"
    return Surface([Layer(shares, survey.thickness, None, colour, condition)], under, state, sheet, survey.moisture)


def _colour(survey: Survey, identity: Identity) -> str:
    colours = list(identity.colours)
    if survey.said("kind") == ["clear film"] and colours == ["unknown"]:
        return "clear"
    return colours[0] if len(colours) == 1 else "unknown"


def _ground_under(identity: Identity, only: str | None) -> str:
    """The likeliest substrate, under one coating if it is named."""
    if only is None:
        return identity.ground
    columns = [n for n, finish in enumerate(finishes().values()) if finish.coating == only]
    return substrate_ids()[int(identity.joint[:, columns].sum(axis=1).argmax())]
