"""The text of each command: the answer first in one plain sentence, the evidence below, cautions with every setting.

Every figure is read from the record that JSON shows too; nothing is computed here but its form.
"""

from __future__ import annotations

import re
import shlex
import textwrap
from collections.abc import Mapping, Sequence
from typing import Any

from proofpatch.cli_read import OPTIONS, TRAVEL_SPEED
from proofpatch.errors import InputError
from proofpatch.lasers import Laser
from proofpatch.learn.forecast import Window
from proofpatch.learn.patches import Patch
from proofpatch.learn.recipe import Recipe
from proofpatch.offer.hours import Hours
from proofpatch.physics.setting import Setting
from proofpatch.shop.job import Job
from proofpatch.shop.log import setting_from
from proofpatch.units import chance, parse, show

WIDTH = 100
KNOB_WORDS = {
    "average_power_W": ("power", "power"), "repetition_rate_Hz": ("repetition rate", "frequency"),
    "pulse_width_s": ("pulse width", "time"), "spot_radius_m": ("spot radius", "length"),
    "sweep_width_m": ("sweep width", "length"), "sweep_speed_m_s": ("sweep speed", "speed"),
    "travel_speed_m_s": ("hand speed", "speed"), "stand_off_m": ("stand-off", "length"),
}  # fmt: skip
CLOCK_WORDS = {
    "flash": "the flash, the skin heated by one pulse",
    "strip": "the strip, the swept line as a warm band moving with the hand",
    "bulk": "the bulk, the part warming as a whole",
    "glue line": "the glue line, the joint under a veneer",
    "stop": "a stop, the hand standing still with the beam on",
}
_GAP = "\u00a0"  # between a figure and its unit, so that a line never breaks there


def wrapped(text: str, indent: str = "", hang: str = "") -> list[str]:
    """A paragraph on lines of WIDTH, the first behind `indent`, the rest behind `indent` and `hang`."""
    joined = re.sub(r"(?<=[0-9]) (?=(?:[a-zA-Zµ%°/]+[²³]?)(?:[/ ,.;:)]|$))", _GAP, text)
    lines = textwrap.wrap(
        joined, WIDTH, initial_indent=indent, subsequent_indent=indent + hang, break_long_words=False,
        break_on_hyphens=False,
    )  # fmt: skip
    return [line.replace(_GAP, " ") for line in lines]


def listed(head: str, entries: Sequence[str]) -> list[str]:
    """A heading and its bullets, or nothing."""
    return ["", head, *(line for entry in entries for line in wrapped(f"- {entry}", "  ", "  "))] if entries else []


def cautions_of(record: Mapping[str, Any]) -> list[str]:
    """The lines that go with every setting."""
    return listed("Before any beam:", record["cautions"])


def panel(value: float, kind: str, digits: int = 3) -> str:
    """A quantity to so many digits, in the unit `show` chooses."""
    said = show(value, kind)
    unit = said.partition(" ")[2]
    return said if digits == 3 else f"{value / parse(f'1 {unit}', kind, kind):.{digits}g} {unit}"


def digits_of(setting: Setting, laser: Laser) -> int:
    """How many digits a panel needs: three, or more where rounding would leave what the laser can do."""
    for digits in (3, 4, 6, 9):
        try:
            laser.check(
                setting.with_(
                    average_power=parse(panel(setting.average_power, "power", digits), "power", "power"),
                    repetition_rate=parse(panel(setting.repetition_rate, "frequency", digits), "frequency", "rate"),
                    pulse_width=parse(panel(setting.pulse_width, "time", digits), "time", "width"),
                )
            )
        except InputError:
            continue
        return digits
    return 12


def setting_words(entry: Mapping[str, Any], digits: int = 3) -> str:
    """A setting as it is dialled in and as the hand moves it."""
    passes = entry["passes"]
    pattern = "" if entry["pattern"] == "line" else f", {entry['pattern']} pattern"
    return (
        f"{panel(entry['average_power_W'], 'power', digits)}, "
        f"{panel(entry['repetition_rate_Hz'], 'frequency', digits)}, "
        f"{panel(entry['pulse_width_s'], 'time', digits)}; "
        f"sweep {show(entry['sweep_width_m'], 'length')} wide at {show(entry['sweep_speed_m_s'], 'speed')}{pattern}; "
        f"spot {show(2 * entry['spot_radius_m'], 'spot')}; "
        f"hand {panel(entry['travel_speed_m_s'], 'speed', digits)}, that is {pace_words(entry)}; "
        f"{passes} pass{'es' if passes != 1 else ''}"
    )


def pace_words(entry: Mapping[str, Any]) -> str:
    """How long the hand takes for a stretch that can be marked."""
    seconds = f"{0.1 / entry['travel_speed_m_s']:.2g}"
    return f"{seconds} second{'' if seconds == '1' else 's'} per 100 mm"


def as_dialled(setting: Setting, laser: Laser) -> dict[str, str]:
    """The knobs of a setting as they are read off, with every one that differs from the laser's defaults."""
    digits, head = digits_of(setting, laser), laser.handpiece
    found = {}
    for name, value, kind, default in (
        ("power", setting.average_power, "power", None),
        ("rate", setting.repetition_rate, "frequency", None),
        ("width", setting.pulse_width, "time", None),
        ("spot_diameter", 2 * setting.spot_radius, "spot", 2 * laser.spot_radius),
        ("sweep_width", setting.sweep_width, "length", head.sweep_width_default),
        ("sweep_speed", setting.sweep_speed, "speed", head.sweep_speed_default),
        ("travel_speed", setting.travel_speed, "speed", TRAVEL_SPEED),
    ):
        said = panel(value, kind, digits)
        if default is None or said != panel(default, kind, digits):
            found[name] = said
    return found | ({"passes": str(setting.passes)} if setting.passes != 1 else {})


def grade_command(setting: Setting, laser: Laser, job: str) -> str:
    """The command that writes this step's grade."""
    words = ["proofpatch", "grade", shlex.quote(job)]
    for name, said in as_dialled(setting, laser).items():
        words += [OPTIONS[name][0], said if name == "passes" else f'"{said}"']
    return " ".join([*words, "--residue ? --harm ?"])


def clock_sentence(clock: str) -> str:
    """What the clock that harms first is, in one sentence."""
    what, _, meaning = CLOCK_WORDS.get(clock, clock).partition(", ")
    return f"{what.capitalize()} is {meaning}." if meaning else ""


def bench_lines(
    record: Mapping[str, Any], setting: Setting, laser: Laser | None, share: float, more: Sequence[str] = ()
) -> list[str]:
    """Pulse, overlap and dose of one setting; `more` stands before the cautions."""
    diameter = show(2 * setting.spot_radius, "spot")

    def overlap(value: float) -> str:
        return f"overlap {show(value, 'share')}" if value >= 0 else f"a gap of {show(-value, 'share')} of the spot"

    per_mm2 = record["pulses_per_m2"] * 1e-6
    head = (
        f"Each pulse carries {show(record['pulse_energy_J'], 'energy')} and reaches "
        f"{show(record['peak_fluence_J_m2'], 'fluence')} in the middle of a {diameter} spot; all passes together give "
        f"{show(record['dose_J_m2'], 'fluence')}."
    )
    rows = [
        ("setting", setting_words(record["setting"])),
        ("peak power", f"{show(record['peak_power_W'], 'power')} (Gaussian pulse)"),
        ("mean fluence", f"{show(record['mean_fluence_J_m2'], 'fluence')} over the 1/e² spot"),
        ("peak fluence", f"{show(record['peak_fluence_J_m2'], 'fluence')}, top-hat share {show(share, 'share')}"),
        ("along the line", f"{show(record['pulse_pitch_m'], 'length')} apart, {overlap(record['pulse_overlap'])}"),
        ("between lines", f"{show(record['line_pitch_m'], 'length')} apart, {overlap(record['line_overlap'])}"),
        ("pulses", f"{per_mm2:.3g} per mm², all passes"),
        ("area rate", f"{show(record['area_rate_m2_s'], 'area rate')}, beam on"),
        ("laser", laser.title if laser else "none named: no envelope binds"),
        *(("measured", said) for said in (laser.measured if laser else ())),
    ]
    lines = [*wrapped(head), ""]
    for name, words in rows:
        lines += wrapped(f"{name:<15}{words}", "  ", " " * 15)
    assumed = [KNOB_WORDS[key][0].replace("radius", "diameter") for key in record["assumed"]]
    if assumed:
        lines += wrapped(f"Not given and assumed: {', '.join(assumed)}.", "  ", "  ")
    return [*lines, *more, *cautions_of(record)]


SAID_ABOVE = (
    "pulse_energy_J", "peak_power_W", "mean_fluence_J_m2", "peak_fluence_J_m2", "pulse_pitch_m", "line_pitch_m",
    "pulses_per_m2", "dose_J_m2", "area_rate_m2_s",
)  # fmt: skip


def side_lines(record: Mapping[str, Any], sides: Sequence[Any], picture: str | None) -> list[str]:
    """What the bench adds: the second setting with its ratios, what limits what, where it is drawn."""
    from proofpatch.bench import FIGURES, shown

    def cell(side: Mapping[str, Any], key: str, kind: str) -> str:
        return chance(side[key]) if kind == "chance" else shown(side, key)

    lines: list[str] = []
    other = record["against"]
    rows = [(key, *words) for key, words in FIGURES.items() if key in record]
    if other:
        lines += ["", f"  {'':<24}{'A':>16}{'B':>16}   B over A"]
        for key, name, kind in rows:
            ratio = f"{record['ratios'][key]:8.3g} ×" if key in record["ratios"] else ""
            lines.append(f"  {name:<24}{cell(record, key, kind):>16}{cell(other, key, kind):>16}   {ratio}".rstrip())
    elif "p_clean" in record:
        rest = [row for row in rows if row[0] not in SAID_ABOVE]
        lines += ["", *(f"  {name:<24}{cell(record, key, kind):>16}" for key, name, kind in rest)]
    for name, side in zip("AB", sides, strict=False):
        said = list(side.limits) or ["No surface was named, so no temperatures and no chances."]
        lines += listed(f"What limits what{f' in {name}' if other else ''}:", said)
        if not side.limits:
            break
    if picture:
        lines += ["", *wrapped(f"Drawn into {picture}.")]
    return lines


def forecast_lines(record: Mapping[str, Any], window: Window) -> list[str]:
    """The answer, why, the best setting, what it rests on."""
    best, laser = record["best"], window.belief.laser
    verdict = {"worth it": "Worth it", "test first": "Test first", "decline": "Decline"}[record["answer"]]
    lines = wrapped(
        f"{verdict}: the chance that some setting of the {laser.title} cleans this without harm is "
        f"{chance(record['chance'])}."
    )
    lines += ["", *wrapped(record["because"])]
    if record["chance_without_top_layer"] is not None:
        top = window.belief.surface.coats[0].title
        lines += wrapped(
            f"With the top layer ({top}) taken off by other means first, the chance would be "
            f"{chance(record['chance_without_top_layer'])}."
        )
    title = (
        "Fastest setting inside the limits:"
        if best["inside_limits"]
        else "Likeliest setting, not yet inside the limits; it is for orientation, not for the piece:"
    )
    lines += [
        "",
        title,
        *wrapped(setting_words(best["setting"], digits_of(setting_from(best["setting"]), laser)), "  "),
    ]
    lines += wrapped(
        f"clean {chance(best['p_clean'])}, harm {chance(best['p_harm'])} of the finished surface, "
        f"{show(best['area_rate_m2_s'], 'area rate')} beam on",
        "  ",
    )
    lines += listed("Assumed:", record["assumptions"]) + listed("Sources:", record["sources"])
    return lines + cautions_of(record)


def patch_lines(record: Mapping[str, Any], patches: Sequence[Patch], work: Job) -> list[str]:
    """The steps of a strip in the order to lay them, each with the command that grades it."""
    steps = record["patches"]
    if not steps:
        return wrapped(record["because"])
    job = str(work.path) if work.path else None
    head = (
        f"Lay {len(steps)} steps in this order, gentlest first, and stop at the first harm."
        if len(steps) > 1
        else "Lay this patch, let it cool, wipe off the dust and judge it."
    )
    lines = []
    if record.get("answer") == "decline":
        lines = wrapped(
            f"The forecast is decline: the chance that any setting works is "
            f"{chance(record['chance'])}. Another method is advised; what follows "
            "only shows where a patch would teach most."
        )
        lines.append("")
    lines += [*wrapped(f"{record['pays_because']} {record['more']}"), "", *wrapped(head)]
    for i, (step, patch) in enumerate(zip(steps, patches, strict=True), 1):
        digits = digits_of(patch.setting, work.laser)
        lines += ["", *wrapped(f"Step {i}: {setting_words(step['setting'], digits)}.")]
        lines += wrapped(f"clean {chance(step['p_clean'])}, harm {chance(step['p_harm'])} of the patch itself", "  ")
        lines += wrapped(step["because"], "  ")
        if job:
            lines.append(f"  {grade_command(patch.setting, work.laser, job)}")
    if job:
        lines += ["", *wrapped("Put the grades where the ? stand: residue no effect, trace, partial, nearly or clean; "
                               "harm none, tint, marked or burnt.")]  # fmt: skip
    if record.get("sheet"):
        said = f"Strip {record['strip']} is laid out; its sheet is in {record['sheet']}. Once its dust is wiped off:"
        lines += [
            "",
            *wrapped(said),
            f"  proofpatch grade {shlex.quote(str(job))} --photo PHOTO.jpg --picture seen.png",
        ]
    return lines + cautions_of(record)


def grade_lines(record: Mapping[str, Any], window: Window, work: Job) -> list[str]:
    """Where the patch was written and what it taught."""
    count = record["patches"]
    lines = wrapped(
        f"Written to {record['written']}; the chance that some setting works went from "
        f"{chance(record['chance_before'])} to {chance(record['chance'])}: {record['answer']}."
    )
    lines += ["", *wrapped(record["because"])]
    lines += wrapped(
        f"{count} graded patch{'es' if count != 1 else ''}, {record['effective_draws']:.0f} of {window.belief.draws} "
        "draws effective."
    )
    lines += listed("Does not fit the rest:", record["surprises"])
    job = shlex.quote(str(work.path))
    if record["answer"] == "decline":
        return [*lines, "", "Stop here: another method is advised."]
    return [*lines, "", f"Next: proofpatch patch {job} --count 3, or proofpatch recipe {job}"]


def recipe_lines(record: Mapping[str, Any], found: Recipe, hours: Hours | None, work: Job) -> list[str]:
    """What to dial in with its margins, or why there is nothing."""
    if found.setting is None:
        lines = wrapped(f"No recipe yet. {record['because']}")
        job = f" {shlex.quote(str(work.path))}" if work.path else ""
        if "stop here" in record["because"]:
            return lines
        return [*lines, "", f"Next: proofpatch patch{job} --count 3"]
    digits = digits_of(found.setting, work.laser)
    lines = wrapped(f"Dial in {setting_words(record['setting'], digits)}.")
    lines += ["", *wrapped(record["because"])]
    lines += wrapped(
        f"Clean {chance(record['p_clean'])}, harm {chance(record['p_harm'])} of the finished surface under your hand, "
        f"{show(record['area_rate_m2_s'], 'area rate')} beam on. {clock_sentence(record['governs'])}"
    )
    lines += wrapped(record["binds"])
    lines += listed("Room before a limit is broken, the other knobs unchanged:", margin_words(record, work.laser))
    if record["gentler"]:
        gentler = setting_words(record["gentler"], digits_of(setting_from(record["gentler"]), work.laser))
        lines += ["", "Gentler, with at most half the chance of harm:", *wrapped(gentler, "  ")]
        lines += wrapped(f"{show(record['gentler_area_rate_m2_s'], 'area rate')} beam on", "  ")
    lines += listed("One step away:", [a["because"] for a in record["alternatives"]])
    if hours:
        low, middle, high = (record["time_s"][f"p{p}"] for p in (10, 50, 90))
        said = (
            f"Time at the piece: {_hours(low)} to {_hours(high)} (8 times in 10), {_hours(middle)} in the middle; "
            f"{'; '.join(record['time_assumes'])}."
        )
        lines += ["", *wrapped(said)]
    if not found.confirmed:
        lines += ["", *wrapped("Not confirmed yet: lay one patch at this very setting before the piece.")]
        if work.path:
            lines.append(f"  {grade_command(found.setting, work.laser, str(work.path))}")
    return lines + cautions_of(record)


def _hours(seconds: float) -> str:
    return show(seconds, "duration") if seconds < 7200 else f"{seconds / 3600:.2g} h"


def margin_ends(record: Mapping[str, Any], laser: Laser) -> dict[str, tuple[float, float]]:
    """{knob: (lowest, highest)} of the margins, cut to what the laser itself can do; without the stand-off."""
    head = laser.handpiece
    reach = {
        "average_power_W": (0.0, laser.max_power),
        "repetition_rate_Hz": (laser.min_rate, laser.max_rate),
        "sweep_width_m": (head.sweep_width_min, head.sweep_width_max),
    }
    ends = {}
    for key, (low, high) in record["margins"].items():
        if key != "stand_off_m":
            here = record["setting"][key]
            least, most = reach.get(key, (0.0, float("inf")))
            ends[key] = min(max(low, least), here), max(min(high, most), here)
    return ends


def margin_words(record: Mapping[str, Any], laser: Laser) -> list[str]:
    """The margin of each knob, cut to what the laser itself can do."""
    found, lines = margin_ends(record, laser), []
    for key, (_, high) in record["margins"].items():
        name, kind = KNOB_WORDS[key]
        if key == "stand_off_m":
            said = f"up to {show(high, kind)} nearer or farther than focus" if high > 0 else "none: hold it in focus"
        else:
            ends = tuple(show(value, kind) for value in found[key])
            said = " to ".join(ends) if ends[0] != ends[1] else "none either way that was tried; hold it"
        lines.append(f"{name}: {said}")
    return lines


def light_words(wavelength: float) -> str:
    """A wavelength as labels have it."""
    return f"{wavelength * 1e9:.0f} nm"


def laser_lines(laser: Laser) -> list[str]:
    """A laser as its owner knows it."""
    from proofpatch.records import laser_record

    r = laser_record(laser)
    low, high = r["repetition_rate_Hz"]
    lines = ["", *wrapped(f"{r['id']}: {r['title']}, {show(r['max_power_W'], 'power')} at "
                          f"{light_words(r['wavelength_m'])}; source: {r['source']}.")]  # fmt: skip
    lines += wrapped(
        f"rate {show(low, 'frequency')} to {show(high, 'frequency')}; spot {show(r['spot_diameter_m'], 'spot')}, "
        f"M² {r['m2']:.3g}, top-hat share {show(r['top_hat_share'], 'share')}, Rayleigh range "
        f"{show(r['rayleigh_range_m'], 'length')}",
        "  ",
    )
    for point in r["energy_limits"]:
        lines.append(
            f"  at {show(point['pulse_width_s'], 'time')} up to {show(point['max_energy_J'], 'energy')} a pulse: "
            f"full power from {show(point['corner_rate_Hz'], 'frequency')} up"
        )
    narrow, wide = r["sweep_width_m"]
    lines += wrapped(
        f"sweep {show(narrow, 'length')} to {show(wide, 'length')} wide, up to "
        f"{show(r['sweep_speed_max_m_s'], 'speed')}; stand-off {show(r['stand_off_m'], 'length')}. {r['focus_cue']}",
        "  ",
    )
    return lines
