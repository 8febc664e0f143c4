"""Before and after laid over each other: on screen, in print, by hand, and its area."""

import io
import re
from dataclasses import dataclass
from urllib.parse import parse_qs, urlencode, urlsplit

import numpy as np
import pytest
from made_browser import visit
from made_pages import PAN, seen
from made_photo import SMALL, Camera, Step, pair, shot
from PIL import Image
from pypdf import PdfReader

SIZE = (0.2, 0.15)  # m, of the piece


@dataclass(frozen=True)
class Shown:
    """A job with two photos, and how they were made."""

    base: str
    query: dict[str, str]
    two: object

    def at(self, path="", **more):
        return f"{self.base}{path}?{urlencode({**self.query, **more})}"


@pytest.fixture(scope="module")
def two():
    return pair(SIZE, np.random.default_rng(2), "oak", "latex white", Step(0.02), 0.4, 5000.0,
                cameras=(Camera(SMALL), Camera(SMALL)))  # fmt: skip


def kept(client, store, photos):
    """A job's pages of before and after, and the photos' digests."""
    job = client.post("/new", data=PAN).headers["location"].removesuffix("/survey")
    digests = []
    for about, photo in zip(("before", "after"), photos, strict=True):
        client.post(f"{job}/photo", data={"about": about}, files={"photo": ("a.jpg", photo, "image/jpeg")})
        digests.append(store.all("photo")[0].data["digest"])
    return f"{job}/compare", dict(zip(("before", "after"), digests, strict=True))


@pytest.fixture
def shown(client, store, two):
    return Shown(*kept(client, store, (two.before.jpeg, two.after.jpeg)), two)


def changed(page):
    return float(re.search(r"([\d.]+) % of the piece changed", page)[1])


def followed(client, shown, what, taps, **asked):
    """The address after so many taps, each (which photo, share across, share down)."""
    at = shown.at(f"/tap/{what}", **asked)
    for which, x, y in taps:
        form = client.get(at).text
        source = re.search(r'name="tap" src="([^"]*)"', form)[1].replace("&amp;", "&")
        assert f"/photo/{which}.jpg" in source
        wide, tall = Image.open(io.BytesIO(client.get(source).content)).size
        sent = {name: value for name, value in re.findall(r'type="hidden" name="([^"]*)" value="([^"]*)"', form)}
        answer = client.get(
            f"{shown.base}/tap/{what}?{urlencode({**sent, 'tap.x': int(x * wide), 'tap.y': int(y * tall)})}"
        )
        assert answer.status_code == 303
        at = answer.headers["location"]
    return at


# The truth is the renderer's, which shares no code with what lays the photos over each other.
def test_before_and_after_are_laid_over_each_other_on_screen_and_in_print(client, shown):
    page = seen(client.get(shown.at()))
    assert changed(page) == pytest.approx(100 * shown.two.bared / (SIZE[0] * SIZE[1]), abs=2)
    assert "Laid over by what both photos show" in page
    pictures = [Image.open(io.BytesIO(client.get(shown.at(f"/{which}.jpg")).content)) for which in ("before", "after")]
    assert pictures[0].size == pictures[1].size
    printed = PdfReader(io.BytesIO(client.get(shown.at(".pdf")).content))
    assert len(printed.pages) == 1
    assert f"{changed(page):.1f} % of the piece changed" in " ".join(printed.pages[0].extract_text().split())
    assert "is not of this job" in seen(client.get(shown.at(after="0")))
    assert "Both photos are the same" in seen(client.get(shown.at(after=shown.query["before"])))


def test_the_pictures_lie_between_heading_and_slider(page, shown):
    visit(page, shown.at())
    heading, both, slide = (page.locator(one).bounding_box() for one in ("h1", "#both.over", "#slide"))
    assert heading["y"] + heading["height"] <= both["y"]
    assert both["y"] + both["height"] <= slide["y"]
    assert both["height"] > 100


def test_a_length_that_is_known_gives_the_area(client, shown):
    shares = (shown.two.pixels(0, [(0.0, 0.075), (0.2, 0.075)]) + 0.5) / SMALL
    at = followed(client, shown, "ends", [("before", *one) for one in shares])
    assert "Distance between the two places" in seen(client.get(at))
    answer = client.get(f"{at}&length=soon")
    assert (answer.status_code, 'value="soon"' in answer.text) == (422, True)
    page = seen(client.get(f"{at}&length=200+mm"))
    area = float(re.search(r"changed: ([\d.]+) cm²", page)[1])
    assert area == pytest.approx(1e4 * shown.two.bared, rel=0.04)
    assert "The area is good to" in page


def test_what_cannot_be_found_is_laid_over_by_taps_and_refined(client, shown):
    places = np.array([(0.03, 0.03), (0.17, 0.03), (0.17, 0.12), (0.03, 0.12)])
    taps = [
        (which, *((one + 0.5) / SMALL + off))
        for number, which in enumerate(("before", "after"))
        for one, off in zip(shown.two.pixels(number, places), np.array([(4, -3), (-3, 4), (3, 4), (-4, -3)]) / 1000,
                            strict=True)
    ]  # fmt: skip
    at = followed(client, shown, "places", taps)
    assert len(parse_qs(urlsplit(at).query)["places"][0].split(",")) == 8
    page = seen(client.get(at))
    assert "from the places tapped, then by what both photos show" in page
    assert changed(page) == pytest.approx(100 * shown.two.bared / (SIZE[0] * SIZE[1]), abs=2)
    line = ",".join(["0.1 0.1", "0.2 0.2", "0.3 0.3", "0.1 0.9"] * 2)
    assert "nearly on one line" in seen(client.get(shown.at(places=line)))
    assert "place 1 of 4" in seen(client.get(shown.at("/tap/places", places="nonsense")))


def test_photos_of_two_places_are_refused_and_by_taps_are_not_measured(client, store, two):
    other = pair(SIZE, np.random.default_rng(3), "oak", "latex white", Step(0.02), 0.4, 5000.0,
                 cameras=(Camera(SMALL), Camera(SMALL)))  # fmt: skip
    strange = Shown(*kept(client, store, (two.before.jpeg, other.after.jpeg)), None)
    page = client.get(strange.at())
    assert "do not fit over each other" in seen(page)
    assert "/tap/places?" in page.text
    four = "0.3 0.3,0.7 0.3,0.7 0.7,0.3 0.7"
    page = seen(client.get(strange.at(places=f"{four},{four}")))
    assert "Laid over by hand" in page
    assert "so nothing is measured" in page
    assert "% of" not in page
    assert client.get(strange.at("/after.jpg", places=f"{four},{four}")).status_code == 200
    (printed,) = PdfReader(io.BytesIO(client.get(strange.at(".pdf", places=f"{four},{four}")).content)).pages
    assert "laid over the other by hand" in " ".join(printed.extract_text().split())


def test_a_photo_that_is_tiny_gets_one_sentence(client, store, two):
    tiny = Shown(*kept(client, store, (two.before.jpeg, shot())), None)
    assert "The photo after is too small" in seen(client.get(tiny.at()))
