"""Places tapped on a picture."""

from proofpatch.web.tapped import place_of, places_of, places_said


# HTML Living Standard, image submit button (from memory): the coordinate is a whole pixel from the upper left corner,
# 0 the first. What was meant lies anywhere in that pixel, at its middle on average; find.py counts it so too.
def test_a_tap_is_the_middle_of_its_pixel():
    assert place_of({"tap.x": "0", "tap.y": "3"}, "tap", (4, 4)) == (0.125, 0.875)
    assert place_of({"tap.x": "900", "tap.y": "-1"}, "tap", (4, 4)) == (1.0, 0.125)


def test_a_list_of_places_comes_back_and_nonsense_is_none():
    places = ((0.125, 0.875), (1.0, 0.5))
    assert places_of(places_said(places), 2) == places
    for said in ("", "nonsense", "0.1", "0.1 0.2 0.3", "0.1 1.2", "nan 0.5", "0.1 0.2,0.3 0.4,0.5 0.6"):
        assert places_of(said, 2) == ()
