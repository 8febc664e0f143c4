"""The entry point, whose commands read, call and show. Exit 0 done, 1 the answer is no, 2 bad input."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Sequence
from typing import Any, NoReturn

import click

from proofpatch.cli_answer import BAD, DONE, Answer, note
from proofpatch.cli_confirm import confirm_command
from proofpatch.cli_elsewhere import carry_command, would_command
from proofpatch.cli_folder import pack, unpack
from proofpatch.cli_job import forecast, grade, hazards, offer, patch, recipe, record, survey
from proofpatch.cli_lots import borrow_command, lend_command, lots_command
from proofpatch.cli_measure import measure
from proofpatch.cli_memory import alike_command, memory_command
from proofpatch.cli_read import OPTIONS, REPEATED
from proofpatch.cli_rework import rework
from proofpatch.cli_store import backup_command, check_command, move_command, restore_command
from proofpatch.cli_tools import bench, demo, lasers, materials, measure_laser, passphrase, serve
from proofpatch.errors import InputError

LONGEST_SENTENCE = 400


@click.group(
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110}, invoke_without_command=True
)
@click.version_option(package_name="proofpatch")
@click.pass_context
def cli(context: click.Context) -> None:
    """From a described surface to a proven laser-cleaning recipe."""
    if context.invoked_subcommand is None:
        click.echo(context.get_help())


for command in (
    bench, survey, forecast, patch, grade, recipe, measure, offer, hazards, record, materials, lasers, measure_laser,
    pack, unpack, demo, serve, passphrase, check_command, backup_command, restore_command, move_command,
    memory_command, alike_command, lend_command, borrow_command, lots_command,
    carry_command, would_command, rework, confirm_command,
):  # fmt: skip
    cli.add_command(command)


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
