"""What a kept study says of its origin, so that a test can see whether the code has moved on."""

from __future__ import annotations

import hashlib
import platform
import subprocess
from pathlib import Path

from proofpatch.learn import compiled

DOCS = Path(__file__).resolve().parent.parent / "docs"
COVERED = ("materials/*.csv", "materials/*.toml", "learn/*.py", "learn/*.csv", "lasers/builtin.toml")


def data_digest() -> str:
    """Of the data and the learning a study rests on, beside the engine's own digest."""
    seal = hashlib.sha256()
    for pattern in COVERED:
        for path in sorted(compiled.PACKAGE.glob(pattern)):
            seal.update(path.read_bytes())
    return seal.hexdigest()[:16]


def covers() -> str:
    """The code and data a study is good for."""
    return f"engine {compiled.digest()}, learning and data {data_digest()}"


def stamp(seed: str) -> str:
    """Seed, commit, machine, and what the study covers."""
    git = subprocess.run(["git", "rev-parse", "--short", "HEAD"], capture_output=True, text=True, check=False, cwd=DOCS)
    machine = f"{platform.machine()}, Python {platform.python_version()}"
    return f"{seed}; commit {git.stdout.strip() or 'unknown'}; {machine}; {covers()}."


def keep(page: str, mark: str, lines: list[str], origin: str) -> None:
    """Figures into a page of docs/, between its marks <!-- mark --> and <!-- end of mark -->."""
    path = DOCS / page
    before, _, rest = path.read_text(encoding="utf-8").partition(f"<!-- {mark} -->\n")
    _, _, after = rest.partition(f"<!-- end of {mark} -->")
    body = "\n".join(f"- {line}" for line in lines)
    text = f"{before}<!-- {mark} -->\n{body}\n\n{origin}\n<!-- end of {mark} -->{after}"
    path.write_text(text, encoding="utf-8")
