"""Commands: read, call, show. Exit 0 done, 1 the answer is no, 2 bad input."""

from __future__ import annotations

import contextlib
import datetime
import json
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NoReturn

import click

from proofpatch.cli_read import (
    BEAM,
    FUME,
    GRADE_OPTIONS,
    KNOBS,
    MEASURE,
    MOST_STEPS,
    OPTIONS,
    REPEATED,
    STOP,
    SURFACE,
    argument,
    at_options,
    check_picture,
    number,
    options,
    read_against,
    read_job_or_options,
    read_laser,
    read_setting,
    surface_of,
    whole,
)
from proofpatch.errors import InputError

DONE, NO, BAD = 0, 1, 2
LONGEST_SENTENCE = 400


class Answer(Exception):
    """Carries the exit code of an answer that is no."""

    def __init__(self, code: int) -> None:
        super().__init__()
        self.code = code


as_json = click.option("--json", "json_", is_flag=True, help="one JSON record on standard output")


def say(record: Mapping[str, Any], json_: bool, lines: Callable[[], Sequence[str]]) -> None:
    """The record as JSON, or the lines that show it."""
    plain = not (sys.stdout.encoding or "").lower().startswith("utf")
    text = json.dumps(record, ensure_ascii=plain, allow_nan=False, indent=2) if json_ else "\n".join(lines())
    try:
        click.echo(text)
        sys.stdout.flush()
    except BrokenPipeError:
        # The reader went away, as a pager does: the answer stands, and so does its exit code.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def note(line: str) -> None:
    """Progress and warnings, on standard error."""
    click.echo(line, err=True)


def refuse(answer: str, why: str, json_: bool) -> NoReturn:
    """The sentence of a hard stop in the shape of the answer it stands for, and exit 1."""
    from proofpatch.cli_show import wrapped
    from proofpatch.records import refusal_record

    say(refusal_record(answer, why), json_, lambda: wrapped(why))
    raise Answer(NO)


def read_work(answer: str, path: str | None, given: Mapping[str, Any], json_: bool) -> Any:
    """The job; a material that no beam touches ends here, and lead too where a beam would follow."""
    from proofpatch.shop.surveyed import beam_stop, refused
    from proofpatch.survey import HardStop

    try:
        work = read_job_or_options(path, given)
    except HardStop as stop:
        refuse(answer, stop.because, json_)
    why = refused(work) or (beam_stop(work) if answer in ("patch", "recipe") else None)
    if why:
        refuse(answer, why, json_)
    return work


def patches_of(work: Any) -> list[Any]:
    """The graded patches of the job's log; what is torn in it is said on standard error."""
    from proofpatch.shop.log import read_log

    if work.path is None:
        return []
    graded, complaints = read_log(work.log_path, len(work.surface.coats), work.laser_on if work.laser_file else None)
    for line in complaints:
        note(line)
    return graded


def believe(work: Any, graded: Sequence[Any]) -> Any:
    """The belief of a job: its prior and what these patches taught."""
    import proofpatch as pp
    from proofpatch.learn.compiled import warm

    warm(note, len(work.surface.coats))
    belief = pp.prior(work.surface, work.laser, work.hand, seed=work.seed)
    return pp.update(belief, graded) if graded else belief


def chance_of(work: Any) -> float:
    """The forecast's chance for a job, with its graded patches."""
    import proofpatch as pp

    return float(pp.forecast(believe(work, patches_of(work)), work.limits).chance)


def tell_hazards(work: Any, answer: str) -> None:
    """On standard error: what is still there though taken on, and before a forecast what stops a beam."""
    from proofpatch.shop.surveyed import open_hazard, still_there

    for line in still_there(work):
        note(line)
    why = open_hazard(work) if answer == "forecast" and work.path is not None else None
    if why:
        note(f"{why} A forecast lays no beam.")


@click.group(
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110}, invoke_without_command=True
)
@click.version_option(package_name="proofpatch")
@click.pass_context
def cli(context: click.Context) -> None:
    """From a described surface to a proven laser-cleaning recipe."""
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


@cli.command()
@options("laser", *KNOBS, "pattern", "top_hat_share", "against", *SURFACE[1:], "picture")
@click.option("--narrow", is_flag=True, help="draw the picture in one column, for a phone or a small page")
@as_json
def bench(json_: bool, narrow: bool, **given: Any) -> None:
    """Pulse, overlap, dose and, on a surface, heat of one setting, or of two side by side; drawn if asked.

    Example: proofpatch bench --laser pulsed-500 --power "300 W" --rate "20 kHz" --width "200 ns"
    --against "power=350 W" --coating varnish --substrate oak --picture bench.svg
    """
    from proofpatch.bench import lay_out
    from proofpatch.cli_show import bench_lines, side_lines
    from proofpatch.lasers import laser as find_laser
    from proofpatch.records import sides_record
    from proofpatch.shop.job import DEFAULT_LASER

    laser = read_laser(given)
    share = number("top_hat_share", "share", given)
    setting, assumed = read_setting(given, laser)
    second = read_against(given.get("against"), given, laser)
    picture = check_picture(given.get("picture"))
    if share is None:
        share = (laser or find_laser(DEFAULT_LASER)).top_hat_share
    belief = None
    if any(given.get(name) for name in SURFACE[1:]):
        belief = believe(
            read_work("bench", None, {"laser": given.get("laser") or DEFAULT_LASER, **surface_of(given)}, json_), []
        )
    with at_options({"travel_speed": "--travel-speed"}):
        sides = lay_out([setting, *([second] if second else [])], share, laser, belief, assumed=assumed)
    if picture:
        from proofpatch.pictures.bench import write_picture

        with at_options({"picture": "--picture"}):
            write_picture(sides, picture, narrow)
    record = sides_record(sides)
    say(record, json_, lambda: bench_lines(record, setting, laser, share, side_lines(record, sides, picture)))


@cli.command()
@argument("job", required=False)
@options("laser", "evidence", *STOP, "cleared", "pdf")
@as_json
def survey(job: str | None, json_: bool, **given: Any) -> None:
    """What is it, what could bite, and should the job be taken? From what was seen, tried and is known of the piece.

    Example: proofpatch survey --evidence "kind=clear film" --evidence substrate=oak --evidence "alcohol=none, 3 min"
    """
    from proofpatch.cli_show import wrapped
    from proofpatch.cli_survey import check_pdf, survey_lines, surveyed
    from proofpatch.learn.compiled import warm
    from proofpatch.records_survey import refused_survey_record, survey_record
    from proofpatch.survey import HardStop

    pdf = check_pdf(given.get("pdf"))
    warm(note, 1)
    try:
        finding, title = surveyed(job, given, chance_of)
    except HardStop as stop:
        why = stop.because
        if pdf:
            note("No page is written: this is refused before any survey.")
        say(refused_survey_record(why), json_, lambda: wrapped(why))
        raise Answer(NO) from None
    record = survey_record(finding)
    if pdf:
        from proofpatch.documents.survey import write_survey

        with at_options({"page": "--pdf"}):
            write_survey(record, title, pdf)
    say(record, json_, lambda: survey_lines(record, pdf))
    if finding.answer == "decline":
        raise Answer(NO)


@cli.command()
@argument("job", required=False)
@options(*SURFACE)
@as_json
def forecast(job: str | None, json_: bool, **given: Any) -> None:
    """Can it be done at all? The chance, the best setting, and why.

    Example: proofpatch forecast --coating varnish --coating-condition aged --substrate "red oak" --laser pulsed-500
    """
    import proofpatch as pp
    from proofpatch.cli_show import forecast_lines
    from proofpatch.records import forecast_record, without_top_layer

    work = read_work("forecast", job, given, json_)
    tell_hazards(work, "forecast")
    window = pp.forecast(believe(work, patches_of(work)), work.limits)
    record = forecast_record(window, without_top_layer(window))
    say(record, json_, lambda: forecast_lines(record, window))
    if window.answer == "decline":
        raise Answer(NO)


@cli.command()
@argument("job", required=False)
@options(*SURFACE, *STOP, "count", "place")
@as_json
def patch(job: str | None, json_: bool, **given: Any) -> None:
    """The next test patch, or a strip of several steps, gentlest first, and whether it still pays.

    Example: proofpatch patch chest.toml --count 3
    """
    import proofpatch as pp
    from proofpatch.cli_show import patch_lines
    from proofpatch.learn.stopping import ANY_AREA, another_strip, limits_at
    from proofpatch.records import patches_record

    count = whole("count", given, 1, 1, MOST_STEPS)
    place = "hidden" if given.get("place") is None else given["place"]
    work = read_work("patch", job, given, json_)
    tell_hazards(work, "patch")
    with at_options({"place": "--place"}):
        limits_at(work.limits, place)
    belief = believe(work, patches_of(work))
    window = pp.forecast(belief, work.limits)
    area = sum(area for area, _ in work.zones) or ANY_AREA
    worth = another_strip(belief, work.limits, area, place, count=count)
    record = patches_record(worth, window)
    say(record, json_, lambda: patch_lines(record, worth.strip, work))
    if not worth.strip:
        raise Answer(NO)


@cli.command()
@argument("job", required=True)
@options(*KNOBS, "residue", "harm", "fraction_left", "layer", "seconds", "length", "grader", "waited")
@click.option("--unwiped", is_flag=True, help="dust was not wiped off")
@as_json
def grade(job: str, json_: bool, unwiped: bool, **given: Any) -> None:
    """Write one graded patch into the log beside the job, and say what it taught.

    Example: proofpatch grade chest.toml --power "500 W" --rate "20 kHz" --width "200 ns" --travel-speed "50 mm/s"
    --residue partial --harm none
    """
    import proofpatch as pp
    from proofpatch.cli_show import grade_lines
    from proofpatch.learn.surface import MOST_LAYERS
    from proofpatch.records import graded_record
    from proofpatch.shop.log import append_log, checked_graded

    work = read_work("grade", job, {}, json_)
    seconds, length = number("seconds", "time", given), number("length", "length", given)
    if given.get("travel_speed") is None:
        # A guessed speed would log a dose nobody laid.
        if seconds is None or length is None:
            raise InputError(
                "--travel-speed", "--travel-speed is missing.", "Give it, or the --seconds and --length of a stroke."
            )
        given["travel_speed"] = f"{length / seconds!r} m/s"
    setting, _ = read_setting(given, work.laser)
    values = {
        "residue": given["residue"].strip().lower(),
        "harm": given["harm"].strip().lower(),
        "layer": whole("layer", given, 0, 0, MOST_LAYERS - 1),
        "wiped": not unwiped,
        "grader": given.get("grader"),
        "fraction_left": number("fraction_left", "share", given),
        "seconds": seconds,
        "length": length,
        "waited": number("waited", "duration", given),
    }
    with at_options(GRADE_OPTIONS):
        graded = checked_graded(setting, values, len(work.surface.coats))
    earlier = patches_of(work)
    # On disk first: nothing below may cost the patch.
    append_log(work.log_path, graded, datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"))
    before = pp.forecast(believe(work, earlier), work.limits)
    after = pp.forecast(pp.update(before.belief, graded), work.limits)
    record = graded_record(str(work.log_path), before, after, graded)
    say(record, json_, lambda: grade_lines(record, after, work))


@cli.command()
@argument("job", required=False)
@options(*SURFACE, *STOP)
@as_json
def recipe(job: str | None, json_: bool, **given: Any) -> None:
    """What to dial in: the fastest setting inside the limits, or why there is none.

    Example: proofpatch recipe chest.toml
    """
    import proofpatch as pp
    from proofpatch.cli_show import recipe_lines
    from proofpatch.records import recipe_record

    work = read_work("recipe", job, given, json_)
    tell_hazards(work, "recipe")
    belief = believe(work, patches_of(work))
    found = pp.recipe(belief, work.limits)
    hours = pp.hours(found, belief, work.zones, work.rates) if found.setting and work.zones else None
    record = recipe_record(found, hours)
    say(record, json_, lambda: recipe_lines(record, found, hours, work))
    if found.setting is None:
        raise Answer(NO)


@cli.command()
@argument("job", required=False)
@options("laser", *BEAM, *FUME, "picture", "pdf")
@as_json
def hazards(job: str | None, json_: bool, **given: Any) -> None:
    """Who can be hurt: eye, skin, eyewear and distance; of a job also air, fire, room and power. Never a clearance.

    Example: proofpatch hazards --power "500 W" --rate "20 kHz" --width "100 ns" --beam-diameter "14 mm"
    --focal-length "160 mm"
    """
    from proofpatch.cli_hazards import check_job_only, hazards_lines, of_job, read_beam, write_pages
    from proofpatch.cli_survey import check_pdf
    from proofpatch.records_hazards import beam_record, plan_record
    from proofpatch.shop.surveyed import open_hazard, still_there

    pdf, picture = check_pdf(given.get("pdf")), check_picture(given.get("picture"))
    if job is None:
        check_job_only(given)
        found, assumed = read_beam(given)
        record = beam_record(found)
    else:
        import proofpatch as pp

        if given.get("laser"):
            raise InputError("--laser", "--laser was given beside a job file.", "Write it into the file.")
        work = read_work("hazards", job, {}, json_)
        plan, assumed = of_job(work, given, pp.forecast(believe(work, patches_of(work)), work.limits))
        record = plan_record(plan, work.title, still_there(work))
    record["assumptions"] = [*assumed, *record["assumptions"]]
    if job is not None:
        write_pages(plan, record, pdf, picture, open_hazard(work))
    say(record, json_, lambda: hazards_lines(record))
    if not record.get("covered", True):
        raise Answer(NO)


@cli.command()
@argument("name", required=False)
@as_json
def materials(name: str | None, json_: bool) -> None:
    """Coatings and substrates, or every value of one with its source.

    Example: proofpatch materials varnish
    """
    from proofpatch.cli_materials import material_lines, materials_lines, materials_record

    record = materials_record(name)
    say(record, json_, lambda: material_lines(record) if name else materials_lines(record))


@cli.command()
@argument("name", required=False)
@as_json
def lasers(name: str | None, json_: bool) -> None:
    """Built-in lasers (invented), or one of your own from a TOML file, with what was measured on it.

    Example: proofpatch lasers pulsed-500
    """
    from proofpatch.cli_show import laser_lines
    from proofpatch.lasers import laser, laser_ids
    from proofpatch.records import laser_record

    if name is None:
        built_in = [laser(key) for key in laser_ids()]
        say({"lasers": [laser_record(one) for one in built_in]}, json_,
            lambda: [line for one in built_in for line in laser_lines(one)])  # fmt: skip
        return
    from proofpatch.cli_lasers import history_lines, history_record, read_own

    own = read_own(name, "NAME")
    for complaint in own.complaints:
        note(complaint)
    history = history_record(own)
    record = {"lasers": [laser_record(own.course.laser) | history]}
    say(record, json_, lambda: [*laser_lines(own.course.laser), *history_lines(history)])


@cli.command("measure-laser")
@argument("laser", required=True)
@options(*MEASURE)
@as_json
def measure_laser(laser: str, json_: bool, **given: Any) -> None:
    """Write what you read off your own laser beside its file, and say what is now known; without readings, what to lay.

    Example: proofpatch measure-laser pulsed-300 --material "black card" --mark "12 mJ, 0.72 mm" --mark "12 mJ, 0.70 mm"
    --lift "12 mm, 1.02 mm" --power-reading "150 W, 141 W"
    """
    from proofpatch.cli_lasers import measured

    answer = measured(laser, given, note)
    say(answer.record, json_, answer.lines)
    if not answer.told:
        raise Answer(NO)


@cli.command()
@options("seed")
@as_json
def demo(json_: bool, **given: Any) -> None:
    """An invented workshop's job through all six calls, explained.

    Example: proofpatch demo --seed 2
    """
    from proofpatch.demo import SEED, play
    from proofpatch.learn.compiled import warm

    seed = whole("seed", given, SEED, 0, 2**31 - 1)
    warm(note)
    record = play(seed, (lambda line: None) if json_ else click.echo)
    if json_:
        say(record, True, list)


@cli.command()
@click.option("--folder", default="shop", help="where the shop is kept, made if it is not there")
@click.option("--port", type=click.IntRange(1024, 65535), default=8400, show_default=True, help="on this machine only")
@click.option("--invented", is_flag=True, help="fill an empty folder with the pieces of an invented workshop")
@options("until_idle")
def serve(folder: str, port: int, invented: bool, until_idle: str | None) -> None:
    """The shop in a browser, on this machine only.

    Example: proofpatch serve --folder shop
    """
    from proofpatch.cli_serve import open_shop
    from proofpatch.learn.compiled import warm

    idle = number("until_idle", "duration", {"until_idle": until_idle})
    open_shop(folder, port, invented, idle, lambda: warm(note, 1))


def sentence(error: InputError) -> str:
    """The error on one line that names its field."""
    line = " ".join("".join(c if c.isprintable() else " " for c in str(error)).split())
    if error.field not in line:
        line = f"{error.field}: {line}"
    if line[-1:] not in (".", "?", "!"):
        line += "."
    return line if len(line) <= LONGEST_SENTENCE else line[: LONGEST_SENTENCE - 3] + "..."


def check_repeats(words: Sequence[str]) -> None:
    """An option given twice contradicts itself; click would take the last in silence."""
    for name, (flag, _) in OPTIONS.items():
        given = sum(1 for word in words if word == flag or word.startswith(f"{flag}="))
        if name not in REPEATED and given > 1:
            raise InputError(flag, f"{flag} is given {given} times.", "Give it once.")


def main(arguments: Sequence[str] | None = None) -> NoReturn:
    """Entry point: one sentence and exit 2 for bad input, never a traceback for it."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    code: Any = DONE
    # A terminal that cannot show "²" gets "?" for it, not a traceback.
    with contextlib.suppress(AttributeError, ValueError):
        sys.stdout.reconfigure(errors="replace")  # type: ignore[union-attr]  # a real terminal has it
    try:
        check_repeats(words)
        code = cli.main(words, prog_name="proofpatch", standalone_mode=False) or DONE
    except Answer as answer:
        code = answer.code
    except InputError as error:
        note(sentence(error))
        code = BAD
    except click.ClickException as error:
        note(sentence(InputError("", error.format_message())))
        code = BAD
    except click.exceptions.Abort:
        code = 130
    sys.exit(code if isinstance(code, int) else DONE)


if __name__ == "__main__":
    main()
