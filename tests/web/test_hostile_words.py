"""Names and notes that are code somewhere: on every page, in both languages, in pictures, papers, lists, a terminal."""

import dataclasses
import io
import re
import time

import pytest
from made_cli import asked
from made_counter import squeezed
from made_offer import made_quote
from made_pages import LEAD, PAN, send
from pypdf import PdfReader

from proofpatch.documents.quote import quote_pdf
from proofpatch.shop.people import add_note, keep_item
from proofpatch.web.words import matcher, say, spoken

MARK = "<img src=x onerror=alert(1)>"
BREAKS = f"\"'>{MARK}</title></script></svg><script>alert(2)</script>{{{{7*7}}}}{{% raw %}}"
# Typst, were it read as its markup: code, a file, an address, mathematics, a label, a raw block.
MARKUP = '#let x = 1 #read("/etc/passwd") #link("http://elsewhere.example")[a] $x^2$ *b* _i_ @label `raw` \\ // --- ~'


@pytest.fixture
def named(client, store):
    """The address of a job in which everything that can be named is named like that."""
    job = client.post("/new", data={**PAN, "title": BREAKS}).headers["location"].removesuffix("/survey")
    key = job.rsplit("/", 1)[1]
    send(client, store, job, "settle", **{**LEAD, "method": BREAKS, "name": BREAKS})
    keep_item(store, key, 0, f"'>{MARK}", f"'>{MARK}", BREAKS)
    add_note(store, key, BREAKS, BREAKS)
    room = {"length": "9 m", "width": "6 m", "height": "4 m", "across": "3 m", "up": "2 m",
            "people-0-name": BREAKS, "people-0-across": "1 m", "people-0-up": "1 m", "shiny-0-name": BREAKS,
            "shiny-0-across": "2 m", "shiny-0-up": "2 m", "openings-0-name": BREAKS, "openings-0-wall": "south",
            "openings-0-start": "1 m", "openings-0-end": "2 m"}  # fmt: skip
    assert send(client, store, job, "place", **room).status_code == 303
    return job


@pytest.mark.parametrize("language", ["en", "es"])
def test_no_name_is_read_as_a_page(client, named, language):
    client.post("/shop/here", data={"language": language, "units": "", "version": "0"})
    client.cookies.set("proofpatch-language", language)
    pages = ["/", "/?q=" + MARK, "/new", "/lasers", "/shop", "/nothing" + MARK]
    pages += [f"{named}/{step}" for step in (
        "survey", "forecast", "patches", "recipe", "measure", "hazards", "run", "record", "piece", "offer", "room.svg",
        f"survey?test={MARK}", f"patches?at={MARK}", f"measure?x={MARK}", "strips/" + MARK,
    )]  # fmt: skip
    shown = 0
    for path in pages:
        answer = client.get(path)
        assert answer.status_code < 500, path
        assert "<img src=x" not in answer.text, path
        assert "<script>alert" not in answer.text, path
        assert "49" not in re.findall(r"&lt;/script&gt;(\d*)", answer.text), path
        shown += "onerror=alert" in answer.text
    assert shown > 8  # it was there, as words


def test_what_was_asked_wrongly_comes_back_as_words(client, job):
    for path, form in (
        ("/new", {"title": "a", "kind": BREAKS, "substrate": BREAKS, "year": BREAKS}),
        (f"{job}/place", {"length": BREAKS}),
        ("/door", {}), ("/shop", {"name": BREAKS * 9, "units": BREAKS}), (f"{job}/answer", {"value": BREAKS}),
        ("/lasers/new", {"id": BREAKS, "title": BREAKS, "power": BREAKS}), ("/shop/prices", {"prices.labour": BREAKS}),
    ):  # fmt: skip
        answer = client.post(path, data={"version": "1", **form})
        assert "<img src=x" not in answer.text, path
    assert "<img src=x" not in client.get("/bench?power=" + BREAKS).text


def links(pdf):
    return [one.get_object() for page in PdfReader(io.BytesIO(pdf)).pages for one in page.get("/Annots", ())]


def test_no_name_is_read_as_markup_of_a_paper():
    quote = made_quote()
    told = dataclasses.replace(
        quote, title=MARKUP, scope=(MARKUP,), finish=(MARKUP,), terms=(("Terms", MARKUP),), site=MARKUP,
        customer=dataclasses.replace(quote.customer, name=MARKUP, address=(MARKUP,)),
    )  # fmt: skip
    pdf = quote_pdf(told)
    text = squeezed("".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)).replace("\u200b", "")
    for word in ("#letx=1", '#read("/etc/passwd")', '#link("http://elsewhere.example")[a]', "$x^2$", "*b*", "@label"):
        assert text.count(word) >= 4, word
    assert "root:" not in text
    assert links(pdf) == []
    assert PdfReader(io.BytesIO(pdf)).metadata.title.replace("\u200b", "").endswith(MARKUP)
    assert not {"/JavaScript", "/EmbeddedFiles"} & set(PdfReader(io.BytesIO(pdf)).trailer["/Root"].get("/Names", {}))


QUERIES = (
    "'", '"', "' OR 1=1 --", "%", "_", "\\", "a%' ESCAPE '", '"NEAR(a b)"', "*", "a* OR b*", "\x00",
    "'; DROP TABLE thing;",
    "\ud83d", "(" * 500, "NOT", "title:x", "^x",
)  # fmt: skip


def test_no_words_that_are_searched_are_read_as_a_query(client, store):
    store.add("job", {"job": {"title": "Skillet"}}, title="Skillet")
    for said in QUERIES:
        asked = {"q": said.encode("utf-8", "replace")}
        answer = client.get("/", params=asked)
        assert answer.status_code == 200, said
        assert "Skillet" not in re.sub(r'value="[^"]*"', "", answer.text), said
        assert client.get("/api/jobs", params=asked).status_code in (200, 422), said
    assert store.count("job") == 1


@pytest.mark.parametrize(
    "name", ['a"; filename="x.exe', "a\r\nSet-Cookie: x=y", "../../x", "\u202egpj.exe", "ä" * 200, "<b>"]
)
def test_no_title_is_read_as_a_head(client, store, name):
    key = store.add("job", {"job": {"title": "a"}}, title=name).id
    answer = client.get(f"/jobs/{key}/folder.zip")
    assert re.fullmatch(r'attachment; filename="[a-z0-9-]{1,60}\.zip"', answer.headers["content-disposition"])
    assert "set-cookie" not in answer.headers


@pytest.fixture
def run_cli(capsys):
    """Runs a command; all that it says."""
    return lambda *words: "".join(asked(capsys, *words)[1:])


def test_words_made_up_for_it_do_not_keep_a_translation_busy():
    # Read in every way its commas and its "or" allow, one of them took minutes.
    began = time.process_time()
    for text in ("a (a, a: a; a or a and a · " * 25, "one or two in a laser, and " * 25, "in or and " * 60):
        with spoken("es"):
            assert say(text[:690])
    assert time.process_time() - began < 5.0
    assert matcher("es").left("Reading the abacus makes 12 % of the doubt.") > 0


SIGNS = ("\x1b[2J", "\x1b]0;x\x07", "\x9b2J", "\x07", "\u202e", "\r", "\u2028")
TABLES = (
    '[job]\ntitle = "{}"', '[job]\ntitle = "a"\n[evidence]\nuse = "{}"', '"{}" = 1', '[job]\nlaser = "{}"',
    '[[zones]]\nname = "{}"\narea = "1 m²"',
)  # fmt: skip


# ECMA-48: ESC begins what moves a terminal's cursor, names its window or answers in its owner's stead.
def test_no_name_moves_a_terminal(run_cli, tmp_path, store):
    file = tmp_path / "job.toml"
    for sign in SIGNS:
        text = "".join(f"\\u{ord(c):04x}" for c in sign)
        for table in TABLES:
            file.write_text(table.replace("{}", text) + '\n[surface]\nsubstrate = "oak"\n', "utf-8")
            assert sign not in run_cli("survey", str(file)), table
        entry = store.add("job", {"job": {"title": f"a{sign}b"}}, title=f"a{sign}b", by=sign)
        assert sign not in entry.title + entry.by
    said = run_cli("check", str(store.folder))
    assert not [sign for sign in SIGNS if sign in said]
