"""The commands of a job, in the order of the work: survey, forecast, patch, grade, recipe, offer, hazards."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import click

from proofpatch import cli_work
from proofpatch.cli_answer import NO, Answer, as_json, note, say
from proofpatch.cli_read import (
    BEAM,
    FUME,
    GRADE_OPTIONS,
    KNOBS,
    MOST_STEPS,
    STOP,
    SURFACE,
    argument,
    at_options,
    check_picture,
    number,
    options,
    read_setting,
    whole,
)
from proofpatch.errors import InputError


@click.command()
@argument("job", required=False)
@options("laser", "evidence", *STOP, "pdf")
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
        finding, title = surveyed(job, given, cli_work.chance_of)
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


@click.command()
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

    work = cli_work.read_work("forecast", job, given, json_)
    cli_work.tell_hazards(work, "forecast")
    window = pp.forecast(cli_work.believe(work, cli_work.patches_of(work)), work.limits)
    record = forecast_record(window, without_top_layer(window))
    say(record, json_, lambda: forecast_lines(record, window))
    if window.answer == "decline":
        raise Answer(NO)


@click.command()
@argument("job", required=False)
@options(*SURFACE, *STOP, "count", "place", "sheet")
@as_json
def patch(job: str | None, json_: bool, **given: Any) -> None:
    """The next test patch, or a strip of several steps, gentlest first, and whether it still pays.

    Example: proofpatch patch chest.toml --count 3
    """
    import proofpatch as pp
    from proofpatch.cli_show import patch_lines
    from proofpatch.cli_survey import check_pdf
    from proofpatch.learn.stopping import ANY_AREA, another_strip, limits_at
    from proofpatch.records import patches_record

    sheet = check_pdf(given.get("sheet"), "--sheet")
    if sheet and job is None:
        raise InputError("--sheet", "--sheet needs a job file, beside which the strip is kept.", "Name the job.")
    count = whole("count", given, 1, 1, MOST_STEPS)
    place = "hidden" if given.get("place") is None else given["place"]
    work = cli_work.read_work("patch", job, given, json_)
    cli_work.tell_hazards(work, "patch")
    with at_options({"place": "--place"}):
        limits_at(work.limits, place)
    belief = cli_work.believe(work, cli_work.patches_of(work))
    window = pp.forecast(belief, work.limits)
    area = sum(area for area, _ in work.zones) or ANY_AREA
    worth = another_strip(belief, work.limits, area, place, count=count)
    record = patches_record(worth, window)
    if sheet and worth.strip:
        from proofpatch.cli_sheet import lay_out

        record |= lay_out(work, record["patches"], sheet)
    say(record, json_, lambda: patch_lines(record, worth.strip, work))
    if not worth.strip:
        raise Answer(NO)


@click.command()
@argument("job", required=True)
@options(
    *KNOBS, "residue", "harm", "fraction_left", "fraction_error", "layer", "seconds", "length", "grader", "waited",
    "photo", "strip", "eye", "picture",
)  # fmt: skip
@click.option("--unwiped", is_flag=True, help="dust was not wiped off")
@click.option("--keep", is_flag=True, help="write the grades of the photo into the log")
@as_json
def grade(job: str, json_: bool, unwiped: bool, keep: bool, **given: Any) -> None:
    """Write one graded patch into the log beside the job, and say what it taught; or grade a strip by its photo.

    Example: proofpatch grade chest.toml --power "500 W" --rate "20 kHz" --width "200 ns" --travel-speed "50 mm/s"
    --residue partial --harm none
    """
    from proofpatch.cli_seen import check_words

    if check_words(given, keep):
        _grade_by_photo(job, json_, unwiped, keep, given)
    else:
        _grade_by_eye(job, json_, unwiped, given)


def _grade_by_photo(job: str, json_: bool, unwiped: bool, keep: bool, given: Mapping[str, Any]) -> None:
    import proofpatch as pp
    from proofpatch.cli_seen import keep_lines, kept_lines, photo_record, seen_lines
    from proofpatch.records import taught_record

    work = cli_work.read_work("grade", job, {}, json_)
    with at_options(GRADE_OPTIONS):
        record, look, made = photo_record(work, given, keep, not unwiped)
    if made:
        earlier = cli_work.patches_of(work)
        keep_lines(work, made)
        before = pp.forecast(cli_work.believe(work, earlier), work.limits)
        after = pp.forecast(pp.update(before.belief, [graded for _, graded in made]), work.limits)
        record |= taught_record(str(work.log_path), before, after)
    say(record, json_, lambda: seen_lines(record, look) + (kept_lines(record) if made else []))
    if not (made if keep else record["told"]):
        raise Answer(NO)


def _grade_by_eye(job: str, json_: bool, unwiped: bool, given: dict[str, Any]) -> None:
    import proofpatch as pp
    from proofpatch.cli_show import grade_lines
    from proofpatch.learn.surface import MOST_LAYERS
    from proofpatch.records import graded_record
    from proofpatch.shop.log import append_log, checked_graded, stamp

    work = cli_work.read_work("grade", job, {}, json_)
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
        "fraction_error": number("fraction_error", "share", given),
        "seconds": seconds,
        "length": length,
        "waited": number("waited", "duration", given),
    }
    with at_options(GRADE_OPTIONS):
        graded = checked_graded(setting, values, len(work.surface.coats))
    earlier = cli_work.patches_of(work)
    # On disk first: nothing below may cost the patch.
    append_log(work.log_path, graded, stamp())
    before = pp.forecast(cli_work.believe(work, earlier), work.limits)
    after = pp.forecast(pp.update(before.belief, graded), work.limits)
    record = graded_record(str(work.log_path), before, after, graded)
    say(record, json_, lambda: grade_lines(record, after, work))


@click.command()
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

    work = cli_work.read_work("recipe", job, given, json_)
    cli_work.tell_hazards(work, "recipe")
    belief = cli_work.believe(work, cli_work.patches_of(work))
    found = pp.recipe(belief, work.limits)
    hours = pp.hours(found, belief, work.zones, work.rates) if found.setting and work.zones else None
    record = recipe_record(found, hours)
    say(record, json_, lambda: recipe_lines(record, found, hours, work))
    if found.setting is None:
        raise Answer(NO)


@click.command()
@argument("job", required=True)
@options("chance", "price", "pdf")
@as_json
def offer(job: str, json_: bool, **given: Any) -> None:
    """How long, how much: hours and price as ranges, other ways side by side, and the written quote.

    Example: proofpatch offer chest.toml --pdf quote.pdf
    """
    import proofpatch as pp
    from proofpatch.cli_offer import check_chance, check_price, offer_lines, write_quote_pdf
    from proofpatch.cli_show import wrapped
    from proofpatch.cli_survey import check_pdf
    from proofpatch.records_offer import offer_of
    from proofpatch.shop.offered import asked_of, paper_of

    pdf, chance, net = check_pdf(given.get("pdf")), check_chance(given.get("chance")), check_price(given.get("price"))
    work = cli_work.read_work("offer", job, {}, json_)
    _ = asked_of(work, chance, net), paper_of(work)  # what is wrong with them is said before anything is computed
    cli_work.tell_hazards(work, "offer")
    belief = cli_work.believe(work, cli_work.patches_of(work))
    found = pp.recipe(belief, work.limits)
    if found.setting is None:
        why = f"No price without a recipe. {found.because}"
        say({"answer": "no recipe", "because": found.because}, json_, lambda: wrapped(why))
        raise Answer(NO)
    offer = offer_of(work, belief, found, chance, net)
    if pdf:
        with at_options({"page": "--pdf"}):
            write_quote_pdf(offer.quote, work, str(pdf))
    say(offer.record, json_, lambda: offer_lines(offer.record, pdf))


@click.command()
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
    from proofpatch.shop.surveyed import beam_stop, still_there

    pdf, picture = check_pdf(given.get("pdf")), check_picture(given.get("picture"))
    if job is None:
        check_job_only(given)
        found, assumed = read_beam(given)
        record = beam_record(found)
    else:
        import proofpatch as pp

        if given.get("laser"):
            raise InputError("--laser", "--laser was given beside a job file.", "Write it into the file.")
        work = cli_work.read_work("hazards", job, {}, json_)
        plan, assumed = of_job(work, given, pp.forecast(cli_work.believe(work, cli_work.patches_of(work)), work.limits))
        record = plan_record(plan, work.title, still_there(work))
    record["assumptions"] = [*assumed, *record["assumptions"]]
    if job is not None:
        write_pages(plan, record, pdf, picture, beam_stop(work))
    say(record, json_, lambda: hazards_lines(record))
    if not record.get("covered", True):
        raise Answer(NO)


@click.command()
@argument("job", required=True)
@options("pdf")
@as_json
def record(job: str, json_: bool, **given: Any) -> None:
    """What can be proved of a job from its file and patch log; the run's own log is kept in a shop.

    Example: proofpatch record chest.toml --pdf record.pdf
    """
    import proofpatch as pp
    from proofpatch.cli_hazards import of_job
    from proofpatch.cli_record import file_record, record_lines, write_record
    from proofpatch.cli_survey import check_pdf
    from proofpatch.records_hazards import plan_record
    from proofpatch.shop.offered import paper_of

    pdf = check_pdf(given.get("pdf"))
    work = cli_work.read_work("record", job, {}, json_)
    _ = paper_of(work)  # what is wrong with it is said before anything is computed
    graded = cli_work.patches_of(work)
    belief = cli_work.believe(work, graded)
    plan, _ = of_job(work, {}, pp.forecast(belief, work.limits))
    found = file_record(work, graded, belief, plan_record(plan, work.title)["air"])
    if pdf:
        with at_options({"page": "--pdf"}):
            write_record(found, work, pdf)
    say(found, json_, lambda: record_lines(found, pdf))
