"""The study of before and after, small; its page holds what the study writes."""

import pairs
from photo_code import PAIRED, digest


def test_a_pair_is_judged_and_the_page_says_so():
    row = pairs.judged("hard", "oak", "varnish", taps=True)
    assert (row.by, row.tapped) == ("features", True)
    assert max(row.worst, row.tapped_worst) < pairs.WRONG
    assert abs(row.share - row.true) < 0.03
    lost = pairs.Laid("easy", "soot on oak", None)
    wrong = pairs.Laid("easy", "soot on oak", "features", 9.0, 20.0, 1.0, 0.5, 0.4)
    page = pairs.report([row, lost, wrong], (7, 0), 2)
    assert "| easy | 2 | 0 | 1 |" in page
    assert "soot on oak (easy), soot on oak (easy)" in page
    assert "1 of 1 are confirmed" in page


def test_the_page_is_of_this_study():
    page = pairs.PAGE.read_text("utf-8")
    for name, way in pairs.WAYS.items():
        assert f"**{name}**: {way.says}." in page
    assert pairs.HEAD in page
    assert f"code {digest(PAIRED)}" in page, "run: python benchmarks/pairs.py --write"
