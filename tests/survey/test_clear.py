"""What has to be cleared: dates at both sides of each limit of the cited texts, records that clear and that do not, and
that old or undated paint never comes out without lead being settled, by any path."""

import datetime
import json

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made_lead import GROUNDS, OLD, READINGS, UNSETTLED

from proofpatch import InputError, Layer, Surface
from proofpatch.cli import main
from proofpatch.shop.job import job_from
from proofpatch.sources import STATUS, sources
from proofpatch.survey import Clearance, Lead, first_stop, identify, open_stop, read_survey, split_item, stops
from proofpatch.survey.suspicions import RULES, hazards

DAY = "2025-03-11"
LAB = Lead("negative", "laboratory test of a chip", DAY)


def bites(*items, lead=None, cleared=()):
    survey = read_survey(map(split_item, items))
    return {stop.hazard: stop for stop in stops(survey, identify(survey), lead, cleared)}


# 16 CFR 1303: the ban took effect on 28 Feb 1978; 40 CFR 745 speaks of housing built before 1978.
def test_lead_by_date_and_paint():
    clear = ("kind=clear film", "substrate=oak", "refinished=no")
    assert bites(*clear, "year=1977")["lead"].open
    assert "lead" not in bites(*clear, "year=1978")
    assert "undated" in bites(*clear)["lead"].reason
    for year in (1900, 1978, 2024):
        assert bites("kind=paint", "substrate=oak", f"year={year}")["lead"].open
    for more in ("suspect=lead", "suspect=alkyd paint", "laboratory=lead white paint", "primer=red lead"):
        assert bites(*clear, "year=1990", more)["lead"].open
    film = ("kind=clear film", "substrate=oak", "year=1995")
    assert bites(*film, "layers=2")["lead"].open
    assert bites(*film, "refinished=yes")["lead"].open
    assert bites(*film, "built=1977")["lead"].open
    # A coat of the very year the ban came dates nothing below it.
    assert "1970, before 1978" in bites(*clear, "year=1978", "built=1970")["lead"].reason
    for well in (("built=1978", "refinished=yes"), ("built=1978", "layers=2"), ("refinished=no", "layers=2"), ()):
        assert "lead" not in bites(*film, *well)


# Soot, rust and graffiti came later than what lies below them.
@pytest.mark.parametrize("kind", ["soot", "graffiti", "rust", "grease", "mould"])
def test_a_young_soil_does_not_date_what_lies_below(kind):
    found = (f"kind={kind}", "substrate=limestone" if kind != "rust" else "substrate=mild-steel", "year=2015")
    assert bites(*found)["lead"].open
    assert bites(*found, "built=1920")["lead"].open
    assert "older coats" not in bites(*found, "built=1990").get("lead", bites("kind=paint")["lead"]).reason


# 29 CFR 1926.1101: presumed in surfacing material installed no later than 1980. Mastics: trade text, to 1996.
def test_asbestos_by_date():
    assert bites("texture=textured", "built=1980")["asbestos"].open
    assert "asbestos" not in bites("texture=textured", "built=1981")
    assert "asbestos" not in bites("texture=textured", "year=1981", "refinished=no")
    # Painted anew later, what was textured before is still there.
    assert bites("texture=textured", "year=1995")["asbestos"].open
    assert bites("texture=textured")["asbestos"].open
    assert "asbestos" not in bites("texture=smooth", "use=wall", "built=1970")
    assert bites("use=wall", "built=1970")["asbestos"].open
    assert bites("texture=smooth", "use=ceiling", "built=1970")["asbestos"].open
    for use in ("floor mastic", "window putty", "stove rope seal", "fibre cement sheet", "brake shoe", "gasket"):
        assert bites(f"use={use}", "built=1996")["asbestos"].open
        assert "asbestos" not in bites(f"use={use}", "built=1997")
    for use in ("cupboard door", "wall clock", "door handle"):
        assert "asbestos" not in bites(f"use={use}", "built=1930", "kind=clear film")
    assert bites("use=ceiling, chest", "built=1960")["asbestos"].open


# US EPA: CCA not for most residential uses after 31 Dec 2003.
def test_treated_wood_by_date():
    deck = ("substrate=pine", "use=deck")
    assert bites(*deck, "built=2003")["treated-wood"].open
    assert "treated-wood" not in bites(*deck, "built=2004")
    assert bites(*deck, "year=2015")["treated-wood"].open  # coated anew: the timber may be older
    assert bites(*deck)["treated-wood"].open
    assert bites("substrate=pine", "use=railway sleeper", "built=2020")["treated-wood"].open
    assert "treated-wood" not in bites("substrate=pine", "use=table")
    assert "treated-wood" not in bites("substrate=pine", "use=neck tie rack")
    assert "treated-wood" not in bites("substrate=mild-steel", "use=outdoor gate")


# US interior latex held mercury until August 1990; from memory.
def test_mercury_by_date():
    latex = ("kind=paint", "alcohol=colour on cloth", "use=interior wall", "substrate=wood")
    assert bites(*latex, "year=1990")["mercury"].open
    assert "mercury" not in bites(*latex, "year=1991")


@pytest.mark.parametrize(
    ("items", "hazard"),
    [
        (["kind=paint", "substrate=aluminium", "colour=yellow"], "chromate"),
        (["kind=paint", "substrate=aluminium"], "chromate"),
        (["kind=paint", "substrate=galvanised-steel"], "chromate"),
        (["kind=paint", "substrate=mild-steel", "primer=yellow-green"], "chromate"),
        (["kind=paint", "substrate=mild-steel", "use=aircraft part", "colour=grey"], "chromate"),
        (["use=plated bolts", "substrate=mild-steel"], "cadmium"),
        (["kind=paint", "substrate=oak", "colour=red"], "cadmium"),
        (["use=cookware", "substrate=cast-iron"], "halogens"),
        (["kind=paint", "substrate=oak", "use=boat hull"], "antifouling"),
        (["kind=char", "substrate=oak"], "unknown-char"),
        (["kind=soot", "substrate=limestone", "use=fire damage"], "unknown-char"),
        (["kind=clear film", "substrate=oak", "year=1960"], "nitrocellulose"),
        (["use=museum chair", "substrate=oak"], "heritage"),
        (["suspect=mystery goo"], "suspect"),
        (["alcohol=none"], "solvent"),
        (["linseed-drop=beads"], "solvent"),
        (["kind=paint", "substrate=aluminium", "colour=white"], "chromate"),
        (["kind=paint", "substrate=aluminium", "primer=unknown"], "chromate"),
        (["kind=clear film", "substrate=galvanised-steel"], "chromate"),
        (["kind=paint", "substrate=mild-steel", "use=truck"], "chromate"),
        (["kind=grease", "substrate=mild-steel", "use=fuel drum"], "vessel"),
        (["use=mirror", "substrate=oak"], "mercury"),
        (["suspect=coal tar"], "tar"),
        (["laboratory=urushi"], "heritage"),
        (["use=gilt frame"], "heritage"),
        (["suspect=nitrocellulose lacquer", "kind=clear film"], "nitrocellulose"),
        (["suspect=lead arsenate and mercury"], "suspect"),
    ],
)
def test_each_hazard_is_found_and_says_what_settles_it(items, hazard):
    stop = bites(*items)[hazard]
    assert stop.open
    about = hazards()[hazard]
    for words in (about.name, stop.reason, about.settles, about.refused):
        assert words in stop.because
    assert stop.because.startswith("Stop: ")


# What a laboratory says holds where all else speaks against it; the sign of one hazard alone is none.
def test_a_laboratory_is_believed_and_half_a_sign_is_not():
    assert bites("laboratory=urushi", "kind=rust", "substrate=mild-steel")["heritage"].open
    foil = read_survey([split_item("laboratory=plastic-foil")])
    assert any(stop.hazard == "halogens" and stop.never for stop in stops(foil, identify(foil)))
    for items, hazard in (
        (["kind=paint", "substrate=mild-steel", "colour=white"], "chromate"),
        (["kind=clear film", "substrate=oak", "use=plated bolts"], "cadmium"),
        (["kind=clear film", "substrate=mild-steel"], "cadmium"),
    ):
        assert hazard not in bites(*items), items


@pytest.mark.parametrize("text", ["pvc", "zinc chromate", "asbestos", "celluloid comb", "radium dial", "PTFE pan"])
def test_some_never_pass_whatever_is_on_record(text):
    for item in (f"suspect={text}", f"use={text}", f"beside={text}", f"primer={text}", f"laboratory={text}"):
        records = [
            Clearance("negative", "laboratory", DAY, hazard=h) for h in hazards() if h not in ("lead", "solvent")
        ]
        found = stops(survey := read_survey([split_item(item)]), identify(survey), LAB, records)
        assert found[0].never
        assert found[0].open
        assert open_stop(survey, LAB, records)


def test_a_test_of_the_coating_can_show_nitrocellulose_absent():
    film = ("kind=clear film", "substrate=oak", "year=2000", "refinished=no")
    assert bites(*film)["nitrocellulose"].open
    told = (*film, "alcohol=none, 3 min", "acetone=none, 3 min", "lacquer-thinner=none, 3 min")
    assert "nitrocellulose" not in bites(*told)


@pytest.mark.parametrize("hazard", [key for key in hazards() if key not in ("lead", "solvent")])
def test_only_a_whole_record_clears(hazard):
    items = {
        "chromate": ["kind=paint", "substrate=aluminium", "colour=yellow"], "cadmium": ["use=bolts", "substrate=metal"],
        "treated-wood": ["substrate=pine", "use=deck"], "asbestos": ["texture=textured"], "halogens": ["use=cookware"],
        "nitrocellulose": ["kind=clear film", "substrate=oak"], "unknown-char": ["kind=char"],
        "mercury": ["use=mirror"], "tar": ["use=tar paint"], "vessel": ["use=fuel drum"],
        "antifouling": ["use=hull", "kind=paint"], "heritage": ["use=museum piece"], "suspect": ["suspect=goo"],
    }[hazard]  # fmt: skip
    about = hazards()[hazard]

    def opened(**record):
        return bites(*items, cleared=[Clearance(hazard=hazard, **record)])[hazard].open

    right = about.methods[0] if about.methods else "test"
    assert not opened(status="negative", method=right, date=DAY)
    assert opened(status="negative", method=right)
    assert opened(status="negative", method="", date=DAY)
    assert opened(status="negative", method="looked at it", date=DAY)
    for undone in ("no {}", "not sent to the {}", "{} positive", "{} pending", "{} found it"):
        assert opened(status="negative", method=undone.format(right), date=DAY), undone
    assert opened(status="positive", method=right, date=DAY)
    assert opened(status="unknown")
    whole = {"name": "A. Owner", "controls": "capture, masks", "reason": "owner insists"}
    assert opened(status="accepted", **whole) != about.accept
    for key in whole:
        assert opened(status="accepted", **{**whole, key: "none"})
    other = next(key for key in hazards() if key not in (hazard, "lead", "solvent"))
    assert bites(*items, cleared=[Clearance("negative", "laboratory", DAY, hazard=other)])[hazard].open


def test_solvent_is_gone_when_it_is_said_to_be():
    assert "solvent" not in bites("alcohol=none", "aired=yes")
    assert "solvent" not in bites("water-drop=beads")
    assert bites("alcohol=none", "aired=no")["solvent"].open


def test_records_that_cannot_be_read():
    for hazard in ("lead", "solvent", "ghosts", ""):
        with pytest.raises(InputError, match="hazard"):
            Clearance("negative", "laboratory", DAY, hazard=hazard)
    with pytest.raises(InputError, match=r"cleared\.date"):
        Clearance("negative", "laboratory", "9999-01-01", hazard="asbestos")


def test_every_hazard_has_a_rule_and_a_source():
    assert set(RULES) == set(hazards())
    for about in hazards().values():
        assert about.source in sources()
        assert about.status in STATUS


# ---- Old or undated paint, by any path ----


@settings(max_examples=60, deadline=None)
@given(GROUNDS, READINGS, OLD, UNSETTLED, st.booleans())
def test_old_or_undated_paint_is_stopped_in_python(ground, readings, year, lead, aired):
    items = [("kind", "paint"), ("substrate", ground), *readings, ("aired", "yes" if aired else "no")]
    survey = read_survey([*items, *([("year", year)] if year else [])])
    found = {stop.hazard: stop for stop in stops(survey, identify(survey), lead)}
    assert found["lead"].open
    assert open_stop(survey, lead)


@settings(max_examples=25, deadline=None)
@given(GROUNDS, READINGS, OLD, UNSETTLED)
def test_old_or_undated_paint_is_stopped_in_a_file(ground, readings, year, lead):
    table = {"evidence": {"kind": "paint", "substrate": ground, "aired": "yes", **dict(readings)}}
    if year:
        table["job"] = {"year": year}
    if lead:
        table["lead"] = {k: v for k, v in vars(lead).items() if v}
    job = job_from(table)
    assert open_stop(job.survey, job.lead, job.cleared)


@pytest.mark.parametrize("command", ["patch", "recipe"])
@pytest.mark.parametrize("year", [None, "1930", "1977"])
@pytest.mark.parametrize("lead", ["", "status = 'negative'\nmethod = 'swab'\ndate = 2025-03-11", "status = 'accepted'"])
def test_old_or_undated_paint_is_stopped_at_the_command_line(command, year, lead, tmp_path, capsys):
    path = tmp_path / "door.toml"
    head = f"[job]\nyear = {year}\n" if year else ""
    path.write_text(
        f"{head}[lead]\n{lead}\n[evidence]\nkind = 'paint'\nsubstrate = 'oak'\naired = 'yes'\n", encoding="utf-8"
    )
    with pytest.raises(SystemExit) as done:
        main([command, str(path), "--json"])
    record = json.loads(capsys.readouterr().out)
    assert done.value.code == 1
    assert "lead" in record["because"]
    assert not record.get("patches")
    assert record.get("setting") is None


def test_a_whole_lead_record_settles_lead():
    paint = ("kind=paint", "substrate=oak", "year=1930")
    notch = Lead("negative", "XRF reading through all layers", datetime.date.fromisoformat(DAY).isoformat())
    accepted = Lead("accepted", name="A. Owner", controls="enclosure, half masks", reason="owner knows")
    for lead in (LAB, notch, accepted):
        assert not bites(*paint, lead=lead)["lead"].open
    assert "not found by laboratory" in bites(*paint, lead=LAB)["lead"].because
    assert "still there" in bites(*paint, lead=accepted)["lead"].because
    assert "tested positive" in bites(*paint, lead=Lead("positive", "XRF", DAY))["lead"].because


def test_records_against_what_was_found_settle_nothing():
    white = ("kind=paint", "laboratory=lead white paint", "substrate=oak")
    assert "contradicts" in bites(*white, lead=LAB)["lead"].because
    film = ("kind=clear film", "substrate=oak", "acetone=dissolves in 4 s")
    lab = [Clearance("negative", "laboratory", DAY, hazard="nitrocellulose")]
    assert bites(*film, cleared=lab)["nitrocellulose"].open
    two = ("suspect=goo", "suspect=slime")
    assert bites(*two, cleared=[Clearance("negative", "laboratory", DAY, hazard="suspect")])["suspect"].open
    old = [Clearance("negative", "laboratory microscopy", DAY, hazard="asbestos")]
    assert bites("texture=textured", "year=2026", cleared=old)["asbestos"].open
    both = [*old, Clearance("positive", "laboratory microscopy", DAY, hazard="asbestos")]
    assert bites("texture=textured", "year=1970", cleared=both)["asbestos"].open


# A clear coat of a year for which no rule presumes lead: the test that found it counts all the same.
def test_what_a_test_found_is_a_stop_whatever_the_rules_presume():
    film = ("kind=clear film", "substrate=oak", "year=1995", "built=1995", "refinished=no", "told=oil varnish")
    found, absent = (Lead(status, "laboratory test of a chip", DAY) for status in ("positive", "negative"))
    assert "lead" not in bites(*film, lead=absent)
    assert "a test found it" in bites(*film, lead=found)["lead"].because
    assert bites(*film, lead=found)["lead"].open
    cadmium = Clearance("positive", "laboratory test of a chip", DAY, hazard="cadmium")
    assert "cadmium" not in bites(*film, lead=absent)
    assert bites(*film, cleared=(cadmium,))["cadmium"].open
    surface = Surface([Layer("oil varnish")], "oak")
    assert first_stop(surface, 1995, absent) is None
    assert "tested positive" in first_stop(surface, 1995, found)
    taken = Lead("accepted", name="A. Owner", controls="enclosure, half masks", reason="heirloom")
    assert first_stop(surface, 1995, taken) is None
