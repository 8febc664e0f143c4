"""The patch log: only ever appended to, a torn line costs itself alone, a line that lies is refused."""

import dataclasses
import json
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import proofpatch as pp
from proofpatch.errors import InputError
from proofpatch.shop.log import (
    LOG_KEYS,
    UNIT_KEYS,
    append_log,
    checked_graded,
    graded_from,
    read_log,
    setting_from,
    setting_to,
)

DOC = (Path(__file__).parents[2] / "docs" / "job-file.md").read_text(encoding="utf-8")
LINE = json.loads(re.search(r"```json\n(.*?)```", DOC, re.DOTALL)[1])
WHEN = "2026-01-05T10:12:00+00:00"
BAD_NUMBERS = [
    "",
    "5",
    "5 W",
    True,
    [],
    [5],
    {},
    {"a": 1},
    float("nan"),
    float("inf"),
    -1,
    1e308,
    10**400,
    "x" * 10_000,
]
BAD_TEXTS = ["", " ", "x" * 10_000, "\x00", "🪵\u202e", 5, 1e308, float("nan"), [], ["clean"], {}, True]


def graded(**changes):
    setting = pp.Setting(150.0, 12500.0, 1e-7, 0.45e-3, 0.1, 10.0, 0.05, 4)
    return pp.Graded(setting, **{"residue": "partial", "harm": "none", **changes})


def written(path, *patches):
    for patch in patches:
        append_log(path, patch, WHEN)
    return path.read_bytes()


def test_the_docs_line_is_a_patch_and_names_every_key():
    patch = graded_from(LINE)
    assert (patch.setting.passes, patch.residue, patch.harm, patch.seconds) == (4, "partial", "none", 2.1)
    assert set(LINE) | {"fraction_left", "fraction_error"} == set(LOG_KEYS)
    for key in (*LOG_KEYS, *UNIT_KEYS.values()):
        assert re.search(rf"[`\s]{key}[`\s]", DOC), key


ANY = st.builds(
    graded,
    residue=st.sampled_from(pp.RESIDUES),
    harm=st.sampled_from(pp.HARMS),
    layer=st.integers(0, 5),
    wiped=st.booleans(),
    grader=st.none() | st.text(st.characters(categories=("L", "N")), min_size=1, max_size=30),
)


@settings(max_examples=25, deadline=None)
@given(patches=st.lists(ANY, min_size=1, max_size=5))
def test_what_is_written_is_read_and_earlier_bytes_stay(patches, tmp_path_factory):
    path = tmp_path_factory.mktemp("log") / "a.patches.jsonl"
    before = b""
    for patch in patches:
        append_log(path, patch, WHEN)
        after = path.read_bytes()
        assert after.startswith(before)
        assert after.count(b"\n") == before.count(b"\n") + 1
        before = after
    assert read_log(path) == (patches, [])


def test_a_log_cut_at_any_byte_of_its_last_line_keeps_the_rest(tmp_path):
    path = tmp_path / "a.patches.jsonl"
    first, second = (
        graded(),
        graded(residue="nearly", grader="Zoë, 木", fraction_left=0.05, fraction_error=0.01, seconds=2.1, length=0.1),
    )
    start = len(written(path, first))
    whole = written(path, second)
    added = graded(residue="clean")
    for cut in range(start, len(whole) + 1):
        torn = whole[:cut]
        path.write_bytes(torn)
        found, complaints = read_log(path)
        complete = cut >= len(whole) - 1  # all but the line feed
        assert found == ([first, second] if complete else [first]), cut
        assert len(complaints) == (0 if complete or cut == start else 1), cut
        assert all("Line 2" in line and path.name in line for line in complaints)
        # A patch after the tear keeps the torn bytes, what was before, and itself.
        after = written(path, added)
        assert after.startswith(torn)
        assert read_log(path)[0] == [*found, added], cut


def test_no_log_is_an_empty_log(tmp_path):
    assert read_log(tmp_path / "none.patches.jsonl") == ([], [])
    (tmp_path / "blank.patches.jsonl").write_bytes(b"\n\n  \n")
    assert read_log(tmp_path / "blank.patches.jsonl") == ([], [])


def test_a_log_that_is_no_file_is_refused(tmp_path):
    (tmp_path / "a.patches.jsonl").mkdir()
    with pytest.raises(InputError, match="patch log"):
        read_log(tmp_path / "a.patches.jsonl")
    with pytest.raises(InputError, match="patch log"):
        append_log(tmp_path / "a.patches.jsonl", graded(), WHEN)
    with pytest.raises(InputError, match="patch log"):
        append_log(tmp_path / "nowhere" / "a.patches.jsonl", graded(), WHEN)


@pytest.mark.parametrize("content", [b"\x00\x01\xff\xfe", b"[" * 5000, b"9" * 5000, b'{"a": 1'])
def test_bytes_that_are_no_line_are_passed_over_and_said(tmp_path, content):
    path = tmp_path / "a.patches.jsonl"
    path.write_bytes(content + b"\n")
    written(path, graded())
    found, complaints = read_log(path)
    assert found == [graded()]
    assert len(complaints) == 1


@pytest.mark.parametrize("key", [key for key in UNIT_KEYS.values() if key != "pattern"])
def test_every_number_of_a_setting_refuses_what_is_none(key):
    for value in BAD_NUMBERS:
        with pytest.raises(InputError) as error:
            setting_from(LINE["setting"] | {key: value})
        assert error.value.field == key, value
        assert len(str(error.value)) < 300


@pytest.mark.parametrize(
    ("key", "values"),
    [
        ("setting", [None, "", 5, [], {}, "x" * 10_000, float("nan")]),
        ("residue", [*BAD_TEXTS, None, "spotless"]),
        ("harm", [*BAD_TEXTS, None, "some"]),
        ("fraction_left", [v for v in BAD_NUMBERS if v != -1] + [-0.1, 1.1]),
        ("layer", [-1, 1.5, "0", True, [], {}, float("nan"), float("inf"), 1e308, 10**400, 2]),
        ("seconds", [*BAD_NUMBERS, 5e-324, 0]),
        ("length", [*BAD_NUMBERS, 5e-324, 0]),
        ("wiped", ["yes", 1, 0, [], {}, "", 1e308]),
        ("grader", BAD_TEXTS),
        ("when", BAD_TEXTS),
        ("grade", ["clean"]),
    ],
)
def test_every_key_of_a_line_refuses_what_is_none(key, values, tmp_path):
    path = tmp_path / "a.patches.jsonl"
    for value in values:
        entry = json.dumps(LINE | {key: value}, ensure_ascii=False)
        path.write_text(f"{json.dumps(LINE)}\n{entry}\n", encoding="utf-8")
        with pytest.raises(InputError) as error:
            read_log(path, layers=2)
        shown = str(error.value)
        assert f"line 2 of {path.name}" in shown, value
        assert key in error.value.field or (key == "setting" and "average_power_W" in error.value.field), value
        assert error.value.field in shown
        assert "\n" not in shown
        assert len(shown) < 400


@pytest.mark.parametrize("missing", ["setting", "residue", "harm"])
def test_a_line_lacks_nothing_that_is_needed(missing):
    with pytest.raises(InputError, match=f"lacks {missing}"):
        graded_from({key: value for key, value in LINE.items() if key != missing})
    for line in (5, [], "clean", None):
        with pytest.raises(InputError):
            graded_from(line)


def test_the_nearest_known_key_is_named():
    with pytest.raises(InputError, match="Did you mean residue"):
        graded_from(LINE | {"residu": "clean"})
    with pytest.raises(InputError, match="Did you mean passes"):
        setting_from(LINE["setting"] | {"pases": 3})


def test_seconds_without_a_length_and_a_speed_no_hand_has_are_refused():
    with pytest.raises(InputError) as error:
        graded_from({key: value for key, value in LINE.items() if key != "length"})
    assert error.value.field == "length"
    with pytest.raises(InputError) as error:
        graded_from(LINE | {"seconds": 0.001, "length": 90.0})
    assert error.value.field == "seconds"


# Grades by area still covered: over 90 % trace, 10 to 90 % partial, 1 to 10 % nearly, at most 1 % clean (design §5).
@pytest.mark.parametrize(
    ("fraction", "agrees"),
    [
        (0.0, ("clean", "nearly")), (0.01, ("clean", "nearly")), (0.05, ("clean", "nearly", "partial")),
        (0.5, ("nearly", "partial", "trace", "no effect")), (0.95, ("partial", "trace", "no effect")),
        (1.0, ("partial", "trace", "no effect")),
    ],
)  # fmt: skip
def test_an_eye_and_a_measurement_agree_to_one_grade(fraction, agrees):
    for residue in pp.RESIDUES:
        values = {"residue": residue, "harm": "none", "fraction_left": fraction}
        if residue in agrees:
            assert checked_graded(graded().setting, values, 1).fraction_left == fraction
        else:
            with pytest.raises(InputError, match="contradicts"):
                checked_graded(graded().setting, values, 1)


def test_a_setting_comes_back_as_it_went():
    setting = graded().setting
    assert setting_from(json.loads(json.dumps(setting_to(setting)))) == setting
    assert list(setting_to(setting)) == list(UNIT_KEYS.values())


def test_a_dated_patch_is_read_with_the_laser_of_its_day(tmp_path):
    path = tmp_path / "a.patches.jsonl"
    append_log(path, graded(), "2026-01-05T10:12:00+00:00")
    append_log(path, graded(), "some day")
    asked = []

    def laser_on(day):
        asked.append(day.isoformat())
        return dataclasses.replace(pp.laser("pulsed-500"), power_factor=0.8)

    (dated, undated), _ = read_log(path, 2, laser_on)
    assert asked == ["2026-01-05"]
    assert dated.laser.power_factor == 0.8
    assert undated.laser is None
