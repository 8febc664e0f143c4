"""Old or undated paint whose lead status nothing settles, in every shape it may be told.

16 CFR 1303: the ban of lead paint took effect on 28 Feb 1978; presuming lead until shown otherwise is common practice.
"""

from hypothesis import strategies as st

from proofpatch.materials import substrate_ids
from proofpatch.survey import Lead
from proofpatch.survey.evidence import TESTS

DAY = "2025-03-11"
GROUNDS = st.sampled_from([*substrate_ids(), "wood", "metal", "stone", "unknown"])
READINGS = st.lists(
    st.sampled_from([(n, v) for n, t in TESTS.items() for v in t.values if n != "kind"]), max_size=5,
    unique_by=lambda pair: pair[0],
)  # fmt: skip
UNSETTLED = st.sampled_from([
    None, Lead(), Lead("positive", "XRF", DAY), Lead("negative"), Lead("negative", "laboratory"),
    Lead("negative", "swab", DAY), Lead("accepted"), Lead("accepted", name="A. Owner", controls="masks"),
])  # fmt: skip
OLD = st.one_of(st.none(), st.integers(1000, 1977))
