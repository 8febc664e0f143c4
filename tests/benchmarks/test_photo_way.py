"""The line of docs/strip-photo.md that says how long the way from a photo to a forecast takes."""

import photo_way


def test_the_line_says_the_whole_and_its_parts():
    said = photo_way.line([(1, 2, 3, 4, 6), (2, 3, 4, 5, 7), (1, 1, 1, 1, 1)], (4000, 3000))
    assert "12 MP, 3 steps: the median of 3 is 10.0 s, the longest 14.0 s" in said
    assert "what it shows 2.0 s" in said
    assert "6.0 s of one processor's time" in said


def test_the_page_has_its_line():
    text = photo_way.PAGE.read_text("utf-8")
    assert text.count("From the photo to the new forecast, 12 MP") == 1
