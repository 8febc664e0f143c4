"""How a command answers: the record or its lines, what goes to standard error, and exit 0 done, 1 no, 2 bad input."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NoReturn

import click

DONE, NO, BAD = 0, 1, 2


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
