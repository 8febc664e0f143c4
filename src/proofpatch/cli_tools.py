"""The commands that need no job: bench, materials, lasers and their measurement, the demo, and the shop's server."""

from __future__ import annotations

from typing import Any

import click

from proofpatch import cli_work
from proofpatch.cli_answer import NO, Answer, as_json, note, say
from proofpatch.cli_read import (
    KNOBS,
    MEASURE,
    SURFACE,
    argument,
    at_options,
    check_picture,
    number,
    options,
    read_against,
    read_laser,
    read_setting,
    surface_of,
    whole,
)
from proofpatch.daily import KEPT


@click.command()
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
        surface = {"laser": given.get("laser") or DEFAULT_LASER, **surface_of(given)}
        belief = cli_work.believe(cli_work.read_work("bench", None, surface, json_), [])
    with at_options({"travel_speed": "--travel-speed"}):
        sides = lay_out([setting, *([second] if second else [])], share, laser, belief, assumed=assumed)
    if picture:
        from proofpatch.pictures.bench import write_picture

        with at_options({"picture": "--picture"}):
            write_picture(sides, picture, narrow)
    record = sides_record(sides)
    say(record, json_, lambda: bench_lines(record, setting, laser, share, side_lines(record, sides, picture)))


@click.command()
@argument("name", required=False)
@as_json
def materials(name: str | None, json_: bool) -> None:
    """Coatings and substrates, or every value of one with its source.

    Example: proofpatch materials varnish
    """
    from proofpatch.cli_materials import material_lines, materials_lines, materials_record

    record = materials_record(name)
    say(record, json_, lambda: material_lines(record) if name else materials_lines(record))


@click.command()
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


@click.command("measure-laser")
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


@click.command()
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


@click.command()
@click.option("--folder", default="shop", help="where the shop is kept, made if it is not there")
@click.option("--port", type=click.IntRange(1024, 65535), default=8400, show_default=True, help="on this machine only")
@click.option("--invented", is_flag=True, help="fill an empty folder with the pieces of an invented workshop")
@click.option("--network", is_flag=True, help="open it to phones in the same network too; needs a passphrase")
@click.option("--tls", is_flag=True, help="over https with the shop's own certificate, so that a phone may keep pages "
              "and entries; the next port shows how a phone is made to trust it")  # fmt: skip
@click.option("--backups", help="folder of the daily backups, best on another drive; beside the shop's if left out")
@click.option("--keep", type=click.IntRange(0, 1000), default=KEPT, show_default=True, help="so many; 0: none are made")
@click.option("--risk-this-folder", is_flag=True, help="though it is on a network drive, or kept in step with other "
              "machines: two that write it at once ruin the shop")  # fmt: skip
@options("until_idle")
def serve(
    folder: str, port: int, invented: bool, network: bool, tls: bool, backups: str | None, keep: int,
    risk_this_folder: bool, until_idle: str | None,
) -> None:  # fmt: skip
    """The shop in a browser, on this machine only unless --network is given.

    Example: proofpatch serve --folder shop --tls
    """
    from proofpatch.cli_serve import open_shop
    from proofpatch.learn.compiled import warm

    idle = number("until_idle", "duration", {"until_idle": until_idle})
    open_shop(folder, port, invented, idle, lambda: warm(note, 1), network, tls, backups, keep,
              risk_this_folder)  # fmt: skip


@click.command()
@click.option("--folder", default="shop", help="where the shop is kept, made if it is not there")
def passphrase(folder: str) -> None:
    """Set the passphrase with which phones sign in.

    Example: proofpatch passphrase --folder shop
    """
    from proofpatch.cli_serve import keep_passphrase

    keep_passphrase(folder)
