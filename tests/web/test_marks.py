"""Decimals as a device wants them: each quantity, and nothing else."""

import html
import re

import pytest
from made_pages import seen

from proofpatch.web.marks import mark, marked, with_mark


@pytest.mark.parametrize(
    ("page", "said"),
    [
        ("<p>like 1.6 s or 0.45 mm</p>", "<p>like 1,6 s or 0,45 mm</p>"),
        ("<b>1.6</b>", "<b>1,6</b>"),
        ("<p>It is 12.5. Then 3.</p>", "<p>It is 12,5. Then 3.</p>"),
        ("<p>(2.5 to 3.5 J/cm²), 99.9\u00a0%</p>", "<p>(2,5 to 3,5 J/cm²), 99,9\u00a0%</p>"),
        ("<text>0.5</text><text x='1.5'>1.5</text>", "<text>0,5</text><text x='1.5'>1,5</text>"),
        ('<input name="a" value="1.6 s">', '<input name="a" value="1,6 s">'),
        ('<input name="a" value="2.54">', '<input name="a" value="2,54">'),
    ],
)
def test_a_quantity_gets_the_comma(page, said):
    with marked("comma"):
        assert with_mark(page) == said
    assert with_mark(page) == page


@pytest.mark.parametrize(
    "page",
    [
        "<p>http://192.168.7.2:8400/join/x and 10.0.0.9</p>",
        "<p>29 CFR 1926.62, 16 CFR 1303.2, RFC 9106.4, doi: 10.1016/j.x</p>",
        "<p>WCAG 2.2, IEC 60825-1:2014, ISO 11553-1, arXiv 1804.06788, Table 3.1</p>",
        "<p>v1.2 and piece2.5 and 2.5.5</p>",
        "<code>--speed 1.5 mm/s</code><textarea>1.5</textarea><title>1.5</title>",
        '<input type="hidden" name="version" value="1.5"><a href="/x?y=1.5" data-speed="0.05">x</a>',
        '<input type="range" min="0" max="1" value="0.5">',
        '<input name="title" value="Door 2.5 by 1.1 with glass">',
    ],
)
def test_what_is_no_quantity_keeps_its_point(page):
    with marked("comma"):
        assert with_mark(page) == page


def test_an_unknown_mark_is_the_point():
    for name in ("", "semicolon", "COMMA"):
        with marked(name):
            assert mark() == "."


@pytest.mark.parametrize(
    "path", ["/bench", "/materials/oil-varnish", "/lasers/pulsed-500", "/shop", "forecast", "survey", "hazards"]
)
def test_no_page_mixes_the_two(client, pan, path):
    client.post("/shop/here", data={"mark": "comma"})
    page = client.get(path if path.startswith("/") else f"{pan}/{path}")
    assert page.status_code == 200
    text = re.sub(r"<(code|cite)\b.*?</\1>", " ", page.text, flags=re.S)
    words = " ".join(re.findall(r">([^<]+)<", text))
    left = [
        words[max(one.start() - 30, 0) : one.end() + 10] for one in re.finditer(r"(?<![\w.])\d+\.\d+(?![\w.])", words)
    ]
    known = re.compile("CFR|RFC|IEC|ISO|Z136|doi|arXiv|WCAG|[Tt]able|section|1\\.5|version")
    assert [one for one in left if not known.search(one)] == []
    assert re.search(r"\d,\d", words)


def test_what_is_shown_with_a_comma_is_read_again(client):
    sent = {"laser": "pulsed-500", "a-power": "123.5 W", "a-sweep_width": "80.5 mm", "b-power": "99.5 W"}
    pointed = client.get("/bench", params=sent)
    client.post("/shop/here", data={"mark": "comma"})
    page = client.get("/bench", params=sent)
    fields = dict(re.findall(r'<input[^>]*name="([\w-]+)" value="([^"]*)"', page.text))
    assert {fields[name] for name in ("a-power", "b-power", "a-sweep_width")} == {"123,5 W", "99,5 W", "80,5 mm"}
    again = client.get("/bench", params={"laser": "pulsed-500"} | {k: html.unescape(v) for k, v in fields.items()})
    assert seen(again) == seen(page)
    assert seen(page).replace(",", "").replace(".", "") == seen(pointed).replace(",", "").replace(".", "")
