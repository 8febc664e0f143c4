"""Commands as tests ask them: all they leave, their JSON, or run in a folder with the example of the gate."""

import functools
import json
import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

import proofpatch as pp
from proofpatch.cli import main

GATE = Path(__file__).parents[2] / "docs" / "examples" / "gate.toml"


@dataclass(frozen=True)
class Result:
    """What a command left: its exit code and both streams."""

    code: int
    out: str
    err: str

    @property
    def record(self):
        """Standard output as JSON."""
        return json.loads(self.out)

    @property
    def flat(self):
        """Standard output as one line."""
        return " ".join(self.out.split())


def asked(capsys, *words):
    """Runs `proofpatch` with these words in this process: (exit code, output, errors)."""
    with pytest.raises(SystemExit) as done:
        main([*map(str, words)])
    return done.value.code, *capsys.readouterr()


def told(capsys, *words):
    """What the command line says to this, as JSON."""
    return json.loads(asked(capsys, *words, "--json")[1])


def at_the_gate(command, capsys, folder, monkeypatch):
    """Runs this command there, the belief a small one: (exit code, output, errors)."""
    shutil.copy(GATE, folder)
    monkeypatch.chdir(folder)
    monkeypatch.setattr(
        "proofpatch.cli_work.believe", lambda work, graded: pp.prior(work.surface, work.laser, draws=256)
    )
    return functools.partial(asked, capsys, command)
