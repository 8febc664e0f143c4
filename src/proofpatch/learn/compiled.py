"""Where compiled kernels are kept, and warming them with a word to the person waiting.

Numba's own cache looks at the time stamp of the file a kernel stands in, not at the physics it calls; a stale
kernel would answer with old physics. So the folder is named by a digest of every source file that can end up
in a kernel: change one line and the next run compiles anew.
"""

from __future__ import annotations

import hashlib
import os
import re
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

PACKAGE = Path(__file__).resolve().parent.parent
ROOTS = tuple(PACKAGE / "learn" / f"{name}.py" for name in ("kernels", "lanes", "grading"))


def _reached(roots: tuple[Path, ...]) -> tuple[Path, ...]:
    """The roots and every module of `physics` they import, and those import in turn."""
    found: set[Path] = set()
    waiting = list(roots)
    while waiting:
        path = waiting.pop()
        if path in found:
            continue
        found.add(path)
        text = path.read_text(encoding="utf-8")
        names = re.findall(r"^from proofpatch\.physics\.(\w+) import", text, re.MULTILINE)
        for line in re.findall(r"^from proofpatch\.physics import (.+)$", text, re.MULTILINE):
            names += [part.split()[0] for part in line.split(",")]
        waiting += [PACKAGE / "physics" / f"{name}.py" for name in names]
    return tuple(sorted(found))


SOURCES = _reached(ROOTS)


def digest() -> str:
    """Of all sources a kernel is made of."""
    seal = hashlib.sha256()
    for path in SOURCES:
        seal.update(path.read_bytes())
    return seal.hexdigest()[:16]


def cache_folder() -> Path:
    """A writable folder for this very source; NUMBA_CACHE_DIR names another root."""
    home = os.environ.get("NUMBA_CACHE_DIR") or os.environ.get("XDG_CACHE_HOME") or str(Path.home() / ".cache")
    for root in (Path(home), Path(tempfile.gettempdir())):
        folder = root / "proofpatch-kernels" / digest()
        try:
            folder.mkdir(parents=True, exist_ok=True)
            if os.access(folder, os.W_OK):
                return folder
        except OSError:
            continue
    return Path(tempfile.mkdtemp(prefix="proofpatch-"))


def is_cold(folder: Path, layers: int = 1) -> bool:
    """True if nothing was compiled for this source and so many layers yet."""
    return not (folder / f"warm {layers}").exists()


def warm(report: Callable[[str], None] = lambda _: None, layers: int = 1) -> float:
    """Compile every kernel once, saying which; seconds taken. Nothing happens where they are compiled already.

    Each number of layers has kernels of its own.
    """
    started = time.perf_counter()
    folder = cache_folder()
    if not is_cold(folder, layers):
        return 0.0
    of = f" for {layers} layers" if layers > 1 else ""
    report(f"First run with this version{of}: compiling the engine, once, in about half a minute.")
    from proofpatch.learn import kernels

    for words, call in kernels.warm_calls(layers):
        report(f"  compiling {words} ...")
        call()
    (folder / f"warm {layers}").touch()
    report(f"  ready after {time.perf_counter() - started:.0f} s.")
    return time.perf_counter() - started


if __name__ == "__main__":
    warm(lambda line: print(line, flush=True))
