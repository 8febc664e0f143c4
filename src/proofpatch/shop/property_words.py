"""What the unknowns of a surface are called where an owner reads of them."""

from __future__ import annotations

from proofpatch.learn.surface import Layer, Surface
from proofpatch.materials import coating, substrate

OF_FILM = {
    "thickness": "the thickness of the {0}",
    "thickness_spread": "how unevenly the {0} lies",
    "absorption": "how strongly the {0} takes up the light",
    "reflectance": "how much light the {0} throws back",
    "threshold_fluence": "the fluence from which the {0} comes off",
    "threshold_width_exponent": "how much longer pulses raise the fluence that the {0} needs",
    "evaporation_overrate": "what it takes to evaporate the {0}",
    "removal_depth": "how deep one pulse goes into the {0}",
    "incubation": "how much of its fluence the {0} still needs after many hits",
    "decomposition_temperature": "how hot the {0} gets before it breaks down",
    "bond_energy": "how firmly the {0} holds",
    "toughness": "how tough the {0} is",
    "residual_heat": "how much heat a pulse leaves that takes off {0}",
    "plume_saturation": "the fluence from which its own plume shades the {0}",
    "soak_share": "how much of the {0} has soaked in",
}
OF_GROUND = {
    "absorptance": "how much light the {0} takes",
    "absorptance_spread": "how uneven the {0} is in the light it takes",
    "skin_share": "how much of the light the skin of the {0} takes",
    "skin_depth": "how deep the skin of the {0} goes",
    "diffuse_depth": "how deep light spreads in the {0}",
    "conductivity": "how fast the {0} leads heat away",
    "thickness_default": "how thick the {0} is",
    "flash_limit": "the fluence that bare {0} stands in one pulse",
    "flash_exponent": "how much longer pulses raise what bare {0} stands",
    "melting_temperature": "how hot the {0} gets before it melts",
    "heat_limit": "how hot the {0} may get",
    "glue_limit": "how hot the glue under the {0} may get",
    "gas_conversion": "how well heat on the {0} pushes a film off",
    "gas_onset": "how hot the {0} gets before gas lifts a film",
}
OF_MODEL = {
    "depth_discrepancy": "how deep pulses go beside what the formulas say",
    "film_discrepancy": "how films take light beside what the formulas say",
    "flash_discrepancy": "what one pulse may do to the substrate beside what the formulas say",
    "heat_discrepancy": "how warm the substrate gets beside what the formulas say",
    "kinetics_discrepancy": "how fast wood chars beside what the formulas say",
    "lift_discrepancy": "how easily films lift beside what the formulas say",
    "grader_noise": "how far grades by eye scatter",
    "need_by_dose": "how the dose that cleans changes with dose",
    "need_by_rate": "how the dose that cleans changes with the rate",
    "need_by_width": "how the dose that cleans changes with the pulse width",
    "room_by_dose": "how the room before harm changes with dose",
    "room_by_rate": "how the room before harm changes with the rate",
    "room_by_width": "how the room before harm changes with the pulse width",
}


MOST_NAMED = 3  # coatings of a layer that are named; of more the two likeliest are


def kind_of(surface: Surface) -> str:
    """A kind of work in words, short where a survey leaves many coatings open: "oil varnish on oak"."""
    return (
        f"{' over '.join(coat_words(coat) for coat in surface.coats)} on {substrate(surface.substrate).title.lower()}"
    )


def coat_words(coat: Layer) -> str:
    """A coating in words; of many that it may be, the two likeliest."""
    likely = sorted(coat.shares, key=lambda key: -coat.shares[key])
    shown = likely if len(likely) <= MOST_NAMED else likely[:2]
    more = [f"{len(likely) - 2} others"] if len(likely) > MOST_NAMED else []
    return " or ".join([*(coating(key).title.lower() for key in shown), *more])


def property_words(surface: Surface, place: str, name: str) -> str:
    """An unknown of this surface in words; place as in `learn.belief.latents`."""
    if place == "model":
        return OF_MODEL.get(name, name.replace("_", " "))
    if place == "substrate":
        return OF_GROUND.get(name, name.replace("_", " ")).format(substrate(surface.substrate).title.lower())
    coat = surface.coats[int(place.removeprefix("layer "))]
    return OF_FILM.get(name, name.replace("_", " ")).format(coat_words(coat))


def shift_words(words: str, shift: float) -> str:
    """What jobs say of it beside published data."""
    return f"{words}: {'more' if shift > 0 else 'less'} than published data say, by {abs(shift):.1f} of their spread"
