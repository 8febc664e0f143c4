"""The pages in another language: one catalogue, whole, found again in sentences, and nothing left in English."""

import calendar
import datetime
import html
import io
import json
import re
import string
from urllib.parse import urlencode

import pytest
from fastapi.testclient import TestClient
from made_gate import GATE, SHOP, gate
from made_pages import laid, send
from made_words import fell_through, texts
from PIL import Image

from proofpatch.measure.registry import catalogue as catalogue_of_shapes
from proofpatch.measure.registry import shape_from
from proofpatch.measure.tables import INSTRUMENTS
from proofpatch.offer.drivers import WORDS
from proofpatch.offer.rates import rates_data
from proofpatch.records_measure import shapes_record
from proofpatch.shop.certificate import certificate_of
from proofpatch.shop.charges import keep_charges
from proofpatch.shop.door import set_passphrase
from proofpatch.shop.photos import add_photo
from proofpatch.web.app import create
from proofpatch.web.chosen import LANGUAGE_COOKIE
from proofpatch.web.door import Door
from proofpatch.web.trust import lines_of
from proofpatch.web.words import LANGUAGES, OWN, catalogue, matcher, say, spoken, wanted
from proofpatch.web.words.drawn import drawing
from proofpatch.web.words.gather import HERE, MORE, PACKAGE, as_file, messages, of_module, of_template, up_to_date
from proofpatch.web.words.match import FEW, HOLE, Matcher
from proofpatch.web.words.runs import cut

SPANISH = {"accept-language": "es-MX,es;q=0.9,en;q=0.8"}
OTHERS = [name for name in LANGUAGES if name != OWN]
PARTS = re.compile(r"\{\d+\}|</?\w+>")
ROAD = (
    "/", "/new", "/bench", "/lasers", "/lasers/new", "/lasers/pulsed-500", "/materials", "/materials/oak",
    "/materials/oil-varnish", "/learned", "/learned/lots", "/learned/lasers/pulsed-300", "/shop", "/shop/devices",
    "/shop/prices", "/trust", "/waiting", "/nowhere", "/?q=zzz",
)  # fmt: skip
STEPS = (
    "survey", "forecast", "patches", "recipe", "measure", "offer", "hazards", "piece", "start", "alike", "lasers",
)  # fmt: skip
# Names of lasers, which are also keys that are typed, and what this test itself writes.
TYPED = ("pulsed-100", "pulsed-300", "pulsed-500", "laboratory test of a chip through all layers",
         "laboratory test of a chip through all l…", "zzz")  # fmt: skip


@pytest.fixture(scope="module")
def gathered():
    return messages()


@pytest.mark.parametrize("name", OTHERS)
def test_a_catalogue_is_what_the_sources_say_and_whole(name, gathered):
    known = {str(one.id): str(one.string) for one in catalogue(name) if one.id}
    assert sorted(set(gathered) - set(known)) == [], "run: python -m proofpatch.web.words.gather"
    assert sorted(set(known) - set(gathered)) == []
    assert [words for words, theirs in known.items() if not theirs.strip()] == []
    assert [one.id for one in catalogue(name) if one.fuzzy] == []
    # The header names the version of Babel.
    kept, now = ((HERE / f"{name}.po").read_bytes(), as_file(up_to_date(name, gathered)))
    assert now.split(b"\n\n", 1)[1] == kept.split(b"\n\n", 1)[1]


@pytest.mark.parametrize("name", OTHERS)
def test_places_and_tags_are_the_same_on_both_sides(name):
    # Babel's own checkers, and the reader of braces of Python's string module.
    for one in catalogue(name):
        if one.id:
            assert sorted(PARTS.findall(one.id)) == sorted(PARTS.findall(one.string)), one.id
            assert braces(one.id) == braces(one.string), one.id
            one.flags.discard("python-format")  # a per cent sign of ours is one
            assert list(one.check(catalogue(name))) == [], one.id


def braces(words):
    return sorted(name for _, name, _, _ in string.Formatter().parse(words) if name is not None)


@pytest.mark.parametrize("name", OTHERS)
def test_a_filled_sentence_is_found_and_keeps_its_values(name):
    found = matcher(name)
    for one in catalogue(name):
        only_asked = all(path.endswith((".html", ".js")) for path, _ in one.locations)
        if not one.id or only_asked or not HOLE.search(one.id):
            continue
        values = {hole: f"{int(hole) + 2}7" for hole in HOLE.findall(one.id)}
        filled = HOLE.sub(lambda hole, values=values: values[hole[1]], one.id)
        theirs = found.say(filled)
        assert all(theirs.count(value) == filled.count(value) for value in values.values()), (filled, theirs)
        assert found.left(filled) == 0, (filled, theirs)
        if len(HOLE.sub("", one.id)) >= 4 * FEW:
            expected = HOLE.sub(lambda hole, values=values: values[hole[1]], one.string)
            assert theirs.lower() == expected.lower(), filled


def test_a_word_that_stands_alone_is_in_the_sources():
    said = "\n".join(
        path.read_text("utf-8").lower()
        for kind in ("*.py", "*.toml", "*.csv", "*.html")
        for path in PACKAGE.rglob(kind)
        if "words" not in path.parts
    )
    months = calendar.month_abbr
    lost = [one for one in MORE if not HOLE.search(one) and " " not in one and one not in [*months]]
    assert [one for one in lost if one.lower() not in said] == []


def test_what_is_measured_and_offered_is_said_whole():
    # Every key and sentence that the records hand to a page; a misspelt one is left and counted.
    found = matcher("es")
    kinds = [text for one in shapes_record()["efforts"] for text in (one["name"], one["words"])]
    figures = [one for shape in catalogue_of_shapes() for one in shape["figures"]]
    shapes = [text for shape in catalogue_of_shapes() for text in (shape["shape"], shape["title"])]
    asked = [text for one in figures for text in (one["words"], one["help"], *one["choices"])]
    rates = [text for name, one in rates_data().items() for text in (name.replace("_", " "), one.locator)]
    doubts = [
        f"{words} makes 12 % of the doubt."
        for words in (*WORDS.values(), *(f"Reading the {key}" for key in INSTRUMENTS))
    ]
    areas = [
        shape_from({"shape": "joinery", "height": 2, "width": 1, "kind": "part-glazed", "how": "eye"}),
        shape_from({"shape": "frame", "height": 2, "width": 1, "member": 0.1, "panels": "filled", "recess": 0.01}),
        shape_from({"shape": "wall", "length": 4, "height": 3, "openings": [[1, 1, 2]], "rule": "surveyors"}),
    ]
    said = [*kinds, *shapes, *asked, *rates, *doubts, *INSTRUMENTS.values(), *(one.words for one in areas)]
    assert len(said) > 250
    assert [text for text in said if found.left(text)] == []
    assert found.left("Reading the abacus makes 12 % of the doubt.") > 0
    assert found.say(areas[0].words) == "carpintería por factor: alto 2 m, ancho 1 m, tipo parte con vidrio"


@pytest.fixture
def spanish(client):
    client.headers.update(SPANISH)
    return client


def left_on(client, paths, typed):
    found = {}
    for path in paths:
        page = client.get(path)
        assert '<html lang="es"' in page.text, path
        if left := fell_through(page.text, (*TYPED, *typed)):
            found[path] = left
    return found


def test_nothing_on_the_road_is_left_in_english(spanish, store, pan, job):
    titles = [one.title for one in store.all("job")]
    typed = (*titles, "yard", "barn door", str(store.folder.resolve()))
    assert left_on(spanish, ROAD, typed) == {}
    assert left_on(spanish, [f"{job}/survey"], typed) == {}
    place = {"length": "8 m", "width": "5 m", "height": "3 m", "across": "3 m", "up": "2 m", "capture": "90 %",
             "openings-0-name": "barn door", "openings-0-wall": "south", "openings-0-start": "1 m",
             "openings-0-end": "2 m", "people-0-name": "yard", "people-0-across": "1.5 m",
             "people-0-up": "-3 m"}  # fmt: skip
    assert send(spanish, store, pan, "place", **place).status_code == 303
    step = laid(spanish, pan)
    spanish.post(f"{pan}/patches", data={"step": step, "residue": "partial", "harm": "none", "seconds": "1.6 s",
                                         "length": "100 mm"})  # fmt: skip
    paths = [f"{pan}/{step}" for step in STEPS]
    assert left_on(spanish, [*paths, f"/bench?job={pan.rsplit('/', 1)[1]}"], typed) == {}


def test_measuring_and_comparing_are_in_spanish(spanish, store, pan):
    legs = {"name": "legs", "diameter": "60 mm", "length": "700 mm", "effort-turnings": "yes", "hand_finish": "10 %"}
    assert send(spanish, store, pan, "measure/new/cylinder", **legs).status_code == 303
    photos = [add_photo(store, photo(shade), pan.rsplit("/", 1)[1], about="lid") for shade in (90, 160)]
    one, two = (entry.data["digest"] for entry in photos)
    shapes = [f"{pan}/measure/new/{one['shape']}" for one in catalogue_of_shapes()]
    on_photo = f"{pan}/measure/photo/{one}"
    known = {"way": "rectangle", "width": "100 mm", "height": "200 mm"}
    paths = [f"{pan}/measure", f"{pan}/measure/0", f"{pan}/measure/0/0", *shapes, on_photo,
             f"{on_photo}?{urlencode(known)}", f"{on_photo}?{urlencode({'way': 'length', 'length': '1 m'})}",
             f"{pan}/compare", f"{pan}/compare?before={one}&after={two}",
             f"{pan}/compare/tap/places?before={one}&after={two}"]  # fmt: skip
    assert left_on(spanish, paths, ("Skillet", "legs", "lid")) == {}
    wrong = send(spanish, store, pan, "measure/new/cylinder", **{**legs, "diameter": "60 ells", "count": "many"})
    assert (wrong.status_code, fell_through(wrong.text, (*TYPED, "Skillet", "legs", "ells", "many"))) == (422, [])


def photo(shade):
    out = io.BytesIO()
    Image.new("RGB", (640, 480), (shade, shade, shade)).save(out, "JPEG")
    return out.getvalue()


def test_offer_quote_and_prices_are_in_spanish(spanish, store):
    keep_charges(store, SHOP, 0)
    job = f"/jobs/{(entry := gate(store)).id}"
    customer = {"offer.customer": "Mrs A. Fenwick\nLow Weir", "offer.number": "Q-7"}
    assert send(spanish, store, job, "quote", **customer).status_code == 303
    # What the grade says goes on the sheet, and papers are in English.
    typed = (entry.title, "Q-7", "Mrs A. Fenwick", "Low Weir", *SHOP["letterhead"]["terms"], SHOP["letterhead"]["name"],
             *(zone["name"] for zone in GATE["zones"]), "Inner face", "Bea", "Invoice I-1", "I-1",
             "Coating left: clean. Change of the surface: none.")  # fmt: skip
    paths = ["/shop/prices", f"{job}/measure", f"{job}/offer", f"{job}/quote", f"{job}/approval"]
    assert left_on(spanish, paths, typed) == {}
    mark = re.search(r'name="mark" value="([^"]*)"', spanish.get(f"{job}/quote").text)[1]
    sent = send(spanish, store, job, "quotes", mark=mark).headers["location"]
    today = datetime.date.today().isoformat()
    ways = (
        (f"{sent}/accept", {"name": ""}, 422),
        (f"{sent}/accept", {"name": "Bea", "on_paper": "yes", "tick-0": "yes", "tick-1": "yes"}, 303),
        (f"{sent}/payments", {"amount": "1.234", "paid": today}, 422),
        (f"{sent}/payments", {"amount": "24", "paid": today}, 303),
        (f"{sent}/invoice", {"number": "I-1", "day": "soon"}, 422),
        (f"{sent}/invoice", {"number": "I-1", "day": today, "due": today}, 303),
        (f"{job}/approval", {"patch": "x"}, 422),
        ("/shop/prices", {"prices.labour": "1.234", "version": "1"}, 422),
    )
    for path, form, status in ways:
        answer = spanish.post(path, data=form)
        assert (path, answer.status_code) == (path, status), texts(answer.text)
        page = answer if status == 422 else spanish.get(answer.headers["location"])
        assert (path, fell_through(page.text, (*TYPED, *typed, "soon"))) == (path, [])


def test_what_is_wrong_is_said_in_the_language_of_the_page(spanish, store, pan):
    wrong = (
        spanish.post("/new", data={"title": "", "year": "soon"}),
        spanish.post("/shop", data={"units": "ells", "version": "0"}),
        spanish.post("/shop/devices/passphrase", data={"passphrase": "short", "again": "other"}),
        send(spanish, store, pan, "place", length="8 ounces"),
        spanish.post("/lasers/new", data={"id": "Our laser!"}),
        spanish.post(f"{pan}/patches", data={"step": "A9", "residue": "clean", "harm": "none"}),
        spanish.get("/jobs/none/survey"),
        spanish.get("/bench?a-power=much"),
    )
    typed = (*TYPED, str(store.folder.resolve()), "Skillet", "soon", "ells", "ounces", "much")
    for answer in wrong:
        assert answer.status_code in (200, 404, 409, 422)
        assert fell_through(answer.text, typed) == []


def test_the_way_in_is_in_spanish_too(spanish, store):
    spanish.app.state.certificate, spanish.app.state.port = (certificate := certificate_of(store.folder)), 8400
    machine = (certificate.name, *certificate.machine.names, *map(str, certificate.machine.addresses), "8400/trust",
               *lines_of(certificate.fingerprint))  # fmt: skip  # its letters may happen to make words
    assert left_on(spanish, ["/trust"], machine) == {}
    set_passphrase(store, "three wet brushes dry")
    app, shop = create(store, patience=None, door=Door(store, 8400, ("shop.test",))), "http://shop.test:8400"
    with TestClient(app, base_url=shop, headers=SPANISH, client=("192.168.7.20", 5000)) as phone:
        assert left_on(phone, ["/door", "/join/nothing"], machine) == {}
        wrong = phone.post("/door", data={"passphrase": "open", "name": "x"}, headers={"origin": shop})
        assert (wrong.status_code, fell_through(wrong.text, (*TYPED, "x"))) == (403, [])
        refused = phone.post("/shop", data={"name": "x"}, headers={"origin": "http://evil.example"})
        assert (refused.status_code, refused.text) == (
            403,
            "Este cambio lo pidió otro sitio y no se hizo. Hágalo aquí.",
        )
        unknown = phone.post("/shop", data={"name": "x"}, headers={"origin": shop})
        assert (unknown.status_code, "no se cambió nada" in unknown.text) == (401, True)


def test_the_scan_sees_what_is_left(spanish):
    page = html.unescape(spanish.get("/new").text)
    assert fell_through(page, TYPED) == []
    ours = "whole piece, plain daylight; it stays on this machine"
    assert fell_through(page.replace(say_in("es", ours), ours), TYPED) == [ours]
    known = {words: theirs for words, theirs in matcher("es").exact.items() if words != "A pulse of {0} left no mark."}
    less = Matcher({words: theirs for words, theirs in known.items() if not words.startswith("One more strip is")})
    sentence = "One more strip is expected to save 5 of 30 min on 1 m² and costs about 9 min: lay it."
    assert matcher("es").left(sentence) == 0
    assert less.left(sentence) > 20


def say_in(name, words):
    with spoken(name):
        return say(words)


def test_what_somebody_typed_stays(spanish, store):
    data = {"title": "Oak", "kind": "clear film", "substrate": "oak", "year": "1905", "laser": "pulsed-300",
            "preset": "ordinary"}  # fmt: skip
    at = spanish.post("/new", data=data).headers["location"].removesuffix("/survey")
    spanish.post(f"{at}/notes", data={"note": "Yes", "by": "Hand"})
    spanish.post(f"{at}/piece", data={"customer": "Paper", "wanted": "Light", "version": "0"})
    said = texts(spanish.get(f"{at}/piece").text)
    assert "Oak es de Paper." in said
    assert {"Yes", "Light"} <= set(said)
    assert any(one.endswith(", Hand") for one in said)
    assert "roble" in texts(spanish.get(f"{at}/patches").text + spanish.get("/materials/oak").text.lower())


# RFC 9110, section 12.5.4, has the third; the others are headers of browsers.
@pytest.mark.parametrize(
    ("header", "name"),
    [
        ("es-MX,es;q=0.9,en;q=0.8", "es"), ("en-US,en;q=0.9,es;q=0.8", "en"), ("da, en-gb;q=0.8, en;q=0.7", "en"),
        ("fr, es;q=0.5", "es"), ("es;q=0", "en"), ("", "en"), ("*", "en"), ("es;q=x", "en"), ("ES", "es"),
    ],
)  # fmt: skip
def test_a_device_asks_for_its_language(header, name):
    assert wanted(header) == name


def test_a_choice_stays_on_the_device_and_says_so(client):
    answer = client.post("/shop/here", data={"language": "es"})
    assert f"{LANGUAGE_COOKIE}=es" in answer.headers["set-cookie"]
    page = client.get("/shop").text
    assert '<html lang="es"' in page
    assert '<option value="es" lang="es" selected>Español</option>' in page
    # The device may always go back to its own wish, whatever it asks for.
    assert '<html lang="en"' in client.get("/shop", headers={"cookie": f"{LANGUAGE_COOKIE}=en", **SPANISH}).text
    assert '<html lang="en"' in client.get("/shop", headers={"cookie": f"{LANGUAGE_COOKIE}=tlh"}).text
    client.post("/shop/here", data={"language": ""})
    assert '<html lang="en"' in client.get("/shop").text


def test_scripts_are_given_their_words(client):
    assert 'id="words"' not in client.get("/").text
    page = client.get("/", headers=SPANISH).text
    said = json.loads(re.search(r'<script type="application/json" id="words">(.*?)</script>', page)[1])
    assert said["The strip ends here."] == "La tira termina aquí."
    assert "Average power" not in said  # of no script


def test_sources_stay_in_their_own_language_and_are_marked(spanish):
    # WCAG 2.2, SC 3.1.2: a passage in another language than the page says which.
    page = spanish.get("/materials/oak").text
    assert re.search(r'<span lang="en">[^<]*Wood Handbook', page)
    assert "Wood Handbook" not in " ".join(texts(page))


def test_a_list_is_read_by_its_parts():
    read = matcher("es").say
    assert (
        read("nitrocellulose lacquer (1%) or oil varnish (3%)") == "laca nitrocelulósica (1%) o barniz al aceite (3%)"
    )
    assert read("Worth it, over 99 in 100") == "Vale la pena, más de 99 de 100"
    assert read("26 Nov 2026, 13:04") == "26 nov 2026, 13:04"
    assert read("Zorgle 5 W") == "Zorgle 5 W"


def test_the_text_of_a_template_is_cut_into_messages():
    source = '<p class="x" title="Own {{ a }}">One <b>two</b> {{ n|f }}.{% if c %} More{% endif %}</p><td>{{ v }}</td>'
    assert list(of_template(source)) == ["Own {0}", "One <b>two</b> {0}.", "More"]
    made = cut(source, lambda words, values, inside: f"[{words}|{','.join(values)}]")
    assert (
        made
        == '<p class="x" title="[Own {0}|a]">[One <b>two</b> {0}.|n|f]{% if c %} [More|]{% endif %}</p><td>[{0}|v]</td>'
    )


def test_each_form_of_a_sentence_is_a_message():
    sentence = """f"{n} graded patch{'es' if n != 1 else ''}, {k:.1f} left. Go on.\""""
    source = f'def f(n, k):\n    "Not said."\n    return {sentence}'
    assert list(of_module(source)) == [
        "{0} graded patches, {1} left.",
        "Go on.",
        "{0} graded patch, {1} left.",
        "Go on.",
    ]


def test_words_of_a_drawing_take_their_paper_along():
    slip = '<rect x="150" y="0" width="40" height="20" fill="var(--paper)"/><text x="155" y="15">clean</text>'
    line = '<text x="190" y="40" text-anchor="end">oak</text>'
    made = f'<svg xmlns="s" width="200" height="50" aria-label="clean">{slip}{line}</svg>'
    shown = drawing(made, lambda words: {"clean": "completamente limpio", "oak": "roble"}[words])
    left, wide, start = (
        float(one) for one in re.search(r'<rect x="(\d+)".*?width="(\d+)".*?<text x="(\d+)"', shown).groups()
    )
    assert 'aria-label="completamente limpio"' in shown
    assert ">roble<" in shown
    assert wide > 40
    assert left + wide <= 200
    assert start == left + 5
