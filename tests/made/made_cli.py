"""Commands as tests ask them: their JSON, or run in a folder with the example of the gate."""

import json
import shutil
from pathlib import Path

import pytest

import proofpatch as pp
from proofpatch.cli import main

GATE = Path(__file__).parents[2] / "docs" / "examples" / "gate.toml"


def told(capsys, *words):
    """What the command line says to this, as JSON."""
    with pytest.raises(SystemExit):
        main([*map(str, words), "--json"])
    return json.loads(capsys.readouterr().out)


def at_the_gate(command, capsys, folder, monkeypatch):
    """Runs this command there, the belief a small one: (exit code, output, errors)."""
    shutil.copy(GATE, folder)
    monkeypatch.chdir(folder)
    monkeypatch.setattr(
        "proofpatch.cli_work.believe", lambda work, graded: pp.prior(work.surface, work.laser, draws=256)
    )

    def call(*words):
        with pytest.raises(SystemExit) as done:
            main([command, *map(str, words)])
        return done.value.code, *capsys.readouterr()

    return call
