"""At the piece: a phone in a gloved hand, its settings read from an arm's length, its screen awake, its beat seen."""

import itertools
import math
import re
from pathlib import Path

import pytest
from made_browser import LEAST_TARGET, PHONE, SMALL, UNLINED, accessible, unfold
from playwright.sync_api import expect

import proofpatch

WEB = Path(proofpatch.__file__).parent / "web"
STEPS = ("survey", "forecast", "patches", "recipe", "measure", "offer", "hazards", "piece")
ROOMS = ("/", "/?q=brick", "/?q=zzz", "/new", "/shop", "/shop/prices", "/bench",
         "/bench?coating=oil-varnish&substrate=oak", "/bench?a-power=3",
         "/lasers", "/lasers/new", "/lasers/pulsed-500", "/materials", "/materials?q=oak",
         "/materials/oak", "/none")  # fmt: skip


def every_page(floor):
    return [*ROOMS, *(f"{job}/{step}" for job in floor.jobs.values() for step in STEPS),
            f"{floor.jobs['side']}/survey?test=alcohol"]  # fmt: skip


def test_a_thumb_hits_everything_on_every_page_and_no_link_is_told_by_its_hue(phone, floor):
    for path in every_page(floor):
        phone.goto(path)
        unfold(phone)
        assert phone.evaluate("() => document.documentElement.scrollWidth") <= PHONE["width"], path
        assert phone.evaluate(SMALL, LEAST_TARGET) == [], path
        assert phone.evaluate(UNLINED) == [], path
        # Nothing is to be learned by hovering only, in a picture neither.
        assert phone.locator("[title], svg title").count() == 0, path
    # The check sees what it is for.
    phone.evaluate("() => document.querySelector('main p').after(Object.assign(document.createElement('button'),"
                   "{ textContent: 'x', style: 'min-height: 0; height: 43px' }))")  # fmt: skip
    assert len(phone.evaluate(SMALL, LEAST_TARGET)) == 1


def test_nothing_waits_for_a_pointer_to_hover():
    for path in [*WEB.glob("templates/*.html"), *WEB.glob("static/*.css"), *WEB.glob("static/*.js"),
                 *(WEB.parent / "pictures").glob("*.py")]:  # fmt: skip
        text = path.read_text(encoding="utf-8")
        found = re.findall(
            r":hover|mouse(?:over|enter)|pointer(?:over|enter)|<title[ >](?!\{%)|<[^>]*\stitle=|\"tooltip\"", text
        )
        assert found == [], path.name


# One hue is left to CSS, the mark, and it is nowhere the only sign: all colours come from the tokens.
def test_no_rule_brings_a_colour_of_its_own():
    css = (WEB / "static" / "style.css").read_text(encoding="utf-8")
    rest = re.sub(r"--[\w-]+: light-dark\([^)]*\);", "", css)
    assert re.findall(r"#[0-9A-Fa-f]{3,8}\b|rgba?\(|hsla?\(|: ?(?:red|green|blue|white|black|orange)\b", rest) == []


def drawn(page):
    """Waits until what was scrolled lies where it will lie."""
    page.evaluate("() => new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(true))))")


@pytest.mark.parametrize("job", ["tea", "skillet"])
def test_the_next_thing_to_do_is_under_the_thumb_and_never_over_a_field(phone, floor, job):
    phone.goto(f"{floor.jobs['tea']}/patches" if job == "tea" else "/shop")
    unfold(phone)
    bar = phone.locator("form.fields > .bar:has(.next)").first
    fields = phone.locator("form.fields:has(> .bar .next) :is(input:not([type=hidden]), select, summary)")
    assert fields.count() > 7
    for field in fields.all():
        field.focus()
        drawn(phone)
        box, at = field.bounding_box(), bar.bounding_box()
        assert at["y"] + at["height"] <= PHONE["height"] + 1
        below = at["y"] >= box["y"] + box["height"] - 1
        assert below or at["y"] + at["height"] <= box["y"], field.get_attribute("id")
    # While it sticks it is in the lower half; with the phone on its side it takes no height away.
    phone.locator("form.fields legend").first.scroll_into_view_if_needed()
    drawn(phone)
    assert bar.bounding_box()["y"] > PHONE["height"] / 2
    phone.set_viewport_size({"width": 740, "height": 360})
    assert bar.evaluate("(one) => getComputedStyle(one).position") == "static"


# Characters 20 to 22 minutes of arc high are preferred for reading, 16 is the least: US NRC, NUREG-0700 rev. 2 review
# guideline 1.3.1-4 (read), with height = 6.283 D (MA) / 21600; ISO 9241-303 says the same (from memory, unverified).
# A phone has 96 to 144 CSS px an inch at a scale of 1 to 1.5; today's have up to 163 (from memory, unverified), which
# is the hardest and is taken: figures 28.8 px high, units 20.9 px.
DISTANCE, PREFERRED, LEAST = 700.0, 22.0, 16.0  # mm, minutes of arc
PX_A_MM = 163 / 25.4


def px_high(minutes):
    return 2 * math.pi * DISTANCE * minutes / (360 * 60) * PX_A_MM


HEIGHTS = """(list) => list.map((one) => {
  const { fontWeight, fontSize, fontFamily } = getComputedStyle(one);
  const pen = document.createElement("canvas").getContext("2d");
  pen.font = `${fontWeight} ${fontSize} ${fontFamily}`;
  return pen.measureText("0").actualBoundingBoxAscent; })"""


def test_settings_are_read_from_an_arms_length(phone, floor):
    assert (round(px_high(PREFERRED), 1), round(px_high(LEAST), 1)) == (28.7, 20.9)
    for path, figures, units in (
        (f"{floor.jobs['tea']}/patches", ".dial dd", ".dial .unit"),
        (f"{floor.jobs['skillet']}/recipe", ".dials .value", ".dials .value span"),
    ):
        phone.goto(path)
        phone.evaluate("() => document.fonts.ready.then(() => true)")
        for what, least in ((figures, PREFERRED), (units, LEAST)):
            heights = phone.locator(what).evaluate_all(HEIGHTS)
            assert len(heights) >= 3, (path, what)
            assert min(heights) >= px_high(least), (path, what, heights)
        # None is cut off or runs out of the page.
        assert phone.locator(figures).evaluate_all(
            "(list, wide) => list.filter((one) => one.scrollWidth > one.clientWidth + 1 || "
            "one.getBoundingClientRect().right > wide).length", PHONE["width"]) == 0  # fmt: skip


@pytest.mark.parametrize("by", ["touch", "key", "figure"])
def test_figures_fill_the_screen_and_go_back(phone, floor, by):
    phone.goto(f"{floor.jobs['tea']}/patches")
    button, sheet = phone.get_by_role("button", name="Large figures"), phone.get_by_role("dialog", name="Large figures")
    small = dict(
        phone.locator(".dial > div").evaluate_all(
            "(all) => all.map((one) => [...one.children].map((o) => o.innerText))"
        )
    )
    if by == "key":
        button.focus()
        phone.keyboard.press("Enter")
    else:
        (button if by == "touch" else phone.locator(".dial dd").first).tap()
    expect(sheet).to_be_visible()
    assert sheet.bounding_box() == {"x": 0, "y": 0, **PHONE}
    # The same figures, larger, all on one screen, with what keeps people whole beside them.
    assert (
        dict(
            sheet.locator("dl > div").evaluate_all(
                "(all) => all.map((one) => [...one.children].map((o) => o.innerText))"
            )
        )
        == small
    )
    assert min(sheet.locator("dd").evaluate_all(HEIGHTS)) > 1.2 * px_high(PREFERRED)
    assert sheet.evaluate("(one) => one.scrollHeight - one.clientHeight") <= 0
    expect(sheet).to_contain_text("eyewear on everyone")
    accessible(phone, "large figures", PHONE["width"])
    if by == "key":
        phone.keyboard.press("Escape")
        expect(button).to_be_focused()
    else:
        phone.get_by_role("button", name="Back to the page").tap()
    expect(sheet).to_be_hidden()


def test_without_a_script_figures_are_large_and_the_screen_is_spoken_of(browser, floor):
    context = browser.new_context(viewport=PHONE, has_touch=True, is_mobile=True, java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{floor.address}{floor.jobs['tea']}/patches")
    expect(page.get_by_text("Set the phone's screen time-out longer.")).to_be_visible()
    expect(page.get_by_role("button", name="Large figures")).to_be_hidden()
    assert page.locator(".dial dd").first.bounding_box()["height"] > 46
    context.close()


# The lock itself is the phone's; a stand-in says what was asked of it and when it was let go.
LOCK = """() => { window.locks = []; window.refuse = false;
  Object.defineProperty(navigator, "wakeLock", { value: { request: async (kind) => {
    if (window.refuse) throw new DOMException("no", "NotAllowedError");
    const lock = new EventTarget();
    lock.release = async () => { lock.gone = true; lock.dispatchEvent(new Event("release")); };
    window.locks.push(lock);
    return lock; } } }); }"""
HELD = "() => window.locks.filter((one) => !one.gone).length"


def test_the_screen_is_kept_awake_while_a_patch_is_laid(phone, floor):
    phone.add_init_script(f"({LOCK})()")
    phone.goto(f"{floor.jobs['tea']}/patches")
    line = phone.locator("main .awake")
    expect(line).to_have_text("The screen stays awake while this is open.")
    assert phone.evaluate(HELD) == 1
    # The phone went to sleep all the same, which lets go of it; awake again it is asked again.
    phone.evaluate("() => window.locks[0].release()")
    expect(line).to_contain_text("no longer kept awake")
    phone.evaluate("() => document.dispatchEvent(new Event('visibilitychange'))")
    expect(line).to_have_text("The screen stays awake while this is open.")
    assert phone.evaluate(HELD) == 1
    # A recipe holds it while its figures are large.
    phone.goto(f"{floor.jobs['skillet']}/recipe")
    assert phone.evaluate(HELD) == 0
    phone.get_by_role("button", name="Large figures").tap()
    expect(phone.locator("dialog .awake")).to_have_text("The screen stays awake while this is open.")
    assert phone.evaluate(HELD) == 1
    phone.keyboard.press("Escape")
    phone.wait_for_function("() => window.locks.every((one) => one.gone)")


@pytest.mark.parametrize(("given", "says"), [
    ("Object.defineProperty(Navigator.prototype, 'wakeLock', {}); delete Navigator.prototype.wakeLock;"
     "Object.defineProperty(window, 'isSecureContext', { value: false })",
     "Over this connection the screen cannot be kept"),
    ("delete Navigator.prototype.wakeLock", "This browser cannot keep the screen awake."),
    (f"({LOCK})(); window.refuse = true", "would not keep its screen awake"),
])  # fmt: skip
def test_where_the_screen_cannot_be_kept_awake_it_says_what_to_do(phone, floor, given, says):
    phone.add_init_script(given)
    phone.goto(f"{floor.jobs['tea']}/patches")
    expect(phone.locator("main .awake")).to_contain_text(says)
    expect(phone.locator("main .awake")).to_contain_text("Set the phone's screen time-out longer.")


WATCH = """() => { const light = document.getElementById("light"); window.seen = []; window.steps = [];
  new MutationObserver(() => { const lit = light.classList.contains("lit");
    if (lit && !window.was) window.seen.push(performance.now());
    window.was = lit;
    const at = [...light.children].findIndex((one) => one.classList.contains("on"));
    if (at >= 0 && window.steps.at(-1) !== at) window.steps.push(at);
  }).observe(light, { attributes: true, subtree: true }); }"""


def beating(phone, floor, speed, seconds=4.0):
    """(moments of flashes [s], places the mark stood at, what is said) of a hand at a speed [m/s], by the page's clock.

    That clock is turned by hand: a busy machine lets a timer ring late, and what is asked is when it was set to ring.
    """

    def paced(route):
        answer = route.fetch()
        route.fulfill(response=answer, body=re.sub(r'data-speed="[^"]*"', f'data-speed="{speed}"', answer.text()))

    phone.route("**/patches", paced)
    phone.clock.install(time=0)
    phone.goto(f"{floor.jobs['tea']}/patches")
    phone.clock.pause_at(600.0)
    phone.evaluate(WATCH)
    phone.get_by_role("button", name="Tick every 20 mm").tap()
    expect(phone.locator("#light")).to_be_visible()
    phone.clock.run_for(int(1000 * seconds))
    phone.get_by_role("button", name="Stop ticking").tap()
    expect(phone.locator("#light")).to_be_hidden()
    seen = [at / 1000 for at in phone.evaluate("() => window.seen")]
    return seen, phone.evaluate("() => window.steps"), phone.locator("#rate").text_content()


# 20 mm between ticks: 40 mm/s is two a second; 150 mm/s is 7.5, of which every third is lit.
@pytest.mark.parametrize(
    ("speed", "rate", "says"), [(0.04, 2.0, "2.0 times a second."), (0.15, 2.5, "every 3rd tick only")]
)
def test_a_light_beats_with_the_hand_and_never_too_fast(phone, floor, speed, rate, says):
    seen, _, said = beating(phone, floor, speed)
    assert says in said
    assert abs(len(seen) / 4.0 - rate) <= 0.5
    # WCAG 2.2, 2.3.1: not more than three flashes in any second.
    assert all(sum(at <= other < at + 1 for other in seen) <= 3 for at in seen)
    gaps = [b - a for a, b in itertools.pairwise(seen)]
    assert gaps == pytest.approx([1 / rate] * len(gaps), abs=0.005)


def test_a_muted_phone_beats_all_the_same(phone, floor):
    phone.add_init_script("delete window.AudioContext; delete window.webkitAudioContext")
    assert len(beating(phone, floor, 0.04, 2.0)[0]) >= 3


def test_where_motion_is_not_wanted_a_mark_steps_and_nothing_flashes(phone, floor):
    phone.emulate_media(reduced_motion="reduce")
    seen, steps, _ = beating(phone, floor, 0.04)
    assert seen == []
    assert len(steps) >= 5
    assert all((b - a) % 5 == 1 for a, b in itertools.pairwise(steps))


# Bytes of a first look, nothing kept from an earlier one, without photos, as they go over the air.
MOST_BYTES = 300_000


def sent(page, path):
    """Begins to ask for a page; call what is returned once it lies there: (bytes, (address, sizes) of each part)."""
    asked = []

    def keep(one):
        asked.append(one)

    page.on("requestfinished", keep)
    page.goto(path, wait_until="commit")

    def done():
        page.wait_for_load_state()  # a busy machine may be idle for half a second before it asks for the parts
        page.wait_for_load_state("networkidle")
        page.remove_listener("requestfinished", keep)
        sizes = [(one.url, one.sizes()) for one in asked if "/photos/" not in one.url]
        return sum(each["responseBodySize"] + each["responseHeadersSize"] for _, each in sizes), sizes

    return done


def test_a_first_look_at_a_job_is_small(browser, floor):
    first = {"viewport": PHONE, "is_mobile": True, "has_touch": True, "base_url": floor.address}
    for job in floor.jobs.values():
        # A browser that knows nothing for each step; they come to rest side by side.
        contexts = [browser.new_context(**first) for _ in STEPS]
        looks = [sent(one.new_page(), f"{job}/{step}") for one, step in zip(contexts, STEPS, strict=True)]
        for step, done, context in zip(STEPS, looks, contexts, strict=True):
            size, parts = done()
            context.close()
            assert len(parts) >= 4, parts
            assert 100_000 < size < MOST_BYTES, (job, step, size, parts)


def test_what_lasts_is_not_sent_twice_and_photos_come_small(phone, floor):
    path = f"{floor.jobs['tea']}/patches"
    for _ in range(2):
        phone.goto(path)
        phone.wait_for_load_state("networkidle")
    again = dict(phone.evaluate(
        "() => ['navigation', 'resource'].flatMap((kind) => performance.getEntriesByType(kind))"
        ".map((one) => [one.name.replace(/.*[/]/, ''), one.transferSize])"
    ))  # fmt: skip
    assert (again["atkinson.woff2"], again["literata.woff2"]) == (0, 0)
    assert 0 < again["style.css"] < 1000, again
    assert sum(again.values()) < 100_000, again
    photo = phone.locator("img.thumb")
    photo.scroll_into_view_if_needed()
    expect(photo).to_have_js_property("naturalWidth", 480)
    # Its place is held before it comes, and what comes is the small one of 1600 by 1200.
    assert photo.evaluate("(one) => [one.naturalWidth, one.naturalHeight]") == [480, 360]
    assert (photo.get_attribute("width"), photo.get_attribute("height")) == ("480", "360")
    assert photo.bounding_box()["width"] == pytest.approx(160, abs=1)


# What keeps a chart quick on a slow phone (benchmarks/phone.py times it; a count does not depend on the machine): few
# elements to style and lay out, and of the three widths of a picture only one that is laid out at all.
MOST_ELEMENTS, MOST_CHART = 90, 25_000  # of a drawing; bytes of a page with all its widths, packed (our choice)


def test_a_chart_is_few_elements_and_one_width_of_it_is_laid_out(phone, floor):
    for job in (floor.jobs["tea"], floor.jobs["skillet"]):
        for step in ("forecast", "recipe", "patches"):
            packed = next(one for url, one in sent(phone, f"{job}/{step}")()[1] if url.endswith(step))
            assert packed["responseBodySize"] < MOST_CHART, (job, step)
            found = phone.evaluate(
                "() => [...document.querySelectorAll('.plot svg, .wide svg, .narrow svg')]"
                ".map((one) => [one.querySelectorAll('*').length, one.getClientRects().length])"
            )
            assert all(count < MOST_ELEMENTS for count, _ in found), (job, step, found)
            assert sum(drawn for _, drawn in found) == (len(found) > 0), (job, step, found)
            assert found or step != "forecast"


def test_type_is_asked_for_with_the_page_and_the_mark_is_part_of_it(phone, floor):
    phone.goto(f"{floor.jobs['tea']}/forecast")
    phone.wait_for_load_state("networkidle")
    phone.evaluate("() => document.fonts.ready.then(() => true)")
    asked = dict(phone.evaluate("() => performance.getEntriesByType('resource').map((one) =>"
                                " [one.name.replace(/.*[/]/, ''), one.initiatorType])"))  # fmt: skip
    assert (asked["atkinson.woff2"], asked["literata.woff2"]) == ("link", "link")
    assert phone.evaluate("() => [...document.fonts].filter((one) => one.status === 'loaded').length") == 2
    assert phone.locator(".brand svg").bounding_box()["width"] == 20
