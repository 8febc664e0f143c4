"""Every block of shell and Python that the documents show is run, in a folder that holds what they name.

A block that cannot be run here says why in a comment before it: `<!-- not run: why -->`; its options are looked up all
the same. What a document prints below a block as text has to be what the block said.
"""

import json
import re
import shlex
import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest
import trimesh
from made_shot import shoot
from PIL import Image

import proofpatch as pp
from proofpatch.cli import cli, main
from proofpatch.shop.store import Store

ROOT = Path(__file__).resolve().parent.parent
DOCS = ROOT / "docs"
FENCE = re.compile(
    r"(?:<!-- not run: (?P<why>[^>]+) -->\s*?\n)?^(?P<pad> *)```(?P<kind>\w*)\n(?P<body>.*?)^(?P=pad)```$", re.M | re.S
)
INLINE = re.compile(r"`proofpatch ([^`]+)`")
# Those that stay open, ask at a terminal, or have a long test of their own.
LONG = ("serve", "passphrase", "demo")
TRIED = {  # programs beside proofpatch, and how a line of theirs is checked
    "make": lambda words: re.search(rf"^{words[0]}:", (ROOT / "Makefile").read_text("utf-8"), re.M),
    "pipx": lambda words: words == ["install", "."],  # tests/test_wheel.py
    # The extra is there; a scheduler and workers are begun in tests/test_pool.py.
    "pip": lambda words: words[0] == "install" and '\ncluster = ["distributed' in (ROOT / "pyproject.toml").read_text(),
    # Programs of PostgreSQL; tests/shop/conftest.py makes a database with the same words.
    "createuser": lambda words: words[-1] == "shop",
    "createdb": lambda words: words[-1] == "shop",
    "dask": lambda words: words[0] in ("scheduler", "worker"),
}


@dataclass(frozen=True)
class Block:
    """why: it is not run; empty: it is."""

    kind: str
    body: str
    why: str


def documents():
    """Those with a block; the calls of api.md have a test of their own, as has the Python of the README."""
    return [path for path in [ROOT / "README.md", *sorted(DOCS.rglob("*.md"))] if path.name != "api.md"]


def blocks(path):
    found = []
    for one in FENCE.finditer(path.read_text("utf-8")):
        body = re.sub(rf"^{one['pad']}", "", one["body"], flags=re.M)
        found.append(Block(one["kind"], body, one["why"] or ""))
    return found


def lines(body):
    """The commands of a block as words."""
    return [words for line in body.replace("\\\n", " ").splitlines() if (words := shlex.split(line, comments=True))]


def flagged(words):
    """Looks up a command and each of its options."""
    name, *rest = words
    assert name in cli.commands, name
    known = {flag for one in cli.commands[name].params for flag in (*one.opts, *one.secondary_opts)} | {"--help"}
    for word in rest:
        if word.startswith("--"):
            assert word.partition("=")[0] in known, f"{name} {word}"


def ask(words, capsys):
    """What a command says; that it cannot be used is no answer."""
    flagged(words)
    if words[0] in LONG:
        cli.commands[words[0]].make_context(words[0], words[1:])
        return ""
    with pytest.raises(SystemExit) as done:
        main(words)
    said = capsys.readouterr()
    assert done.value.code in (0, 1), (words, said.err)
    return said.out


@pytest.fixture
def bench(tmp_path, monkeypatch):
    """A folder with all that the documents name; the belief a small one."""
    for path in (DOCS / "examples").glob("*.toml"):
        shutil.copy(path, tmp_path)
    shutil.copy(DOCS / "own-laser.toml", tmp_path / "mine.toml")
    (outline,) = re.findall(r"```json\n(.*?)```", (DOCS / "measure.md").read_text("utf-8"), re.S)
    (tmp_path / "door.json").write_text(json.dumps(json.loads(outline)), encoding="utf-8")
    (tmp_path / "bracket.stl").write_bytes(trimesh.creation.box((40, 60, 80)).export(file_type="stl"))
    store = Store.open(tmp_path / "shop")
    store.add("job", {"job": {"title": "Chest lid, oak"}}, title="Chest lid, oak")
    store.close()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(
        "proofpatch.cli_work.believe",
        lambda work, graded: pp.update(pp.prior(work.surface, work.laser, draws=256), graded),
    )
    return tmp_path


WITH_SHELL = [path for path in documents() if any(one.kind == "sh" for one in blocks(path))]
WITH_PYTHON = [p for p in documents() if p.name != "README.md" and any(one.kind == "python" for one in blocks(p))]


@pytest.mark.parametrize("document", WITH_SHELL, ids=lambda path: str(path.relative_to(ROOT)))
def test_the_commands_run_and_say_what_is_printed(document, bench, capsys):
    said = ""
    for block in blocks(document):
        if block.kind == "sh":
            said = ""
            for program, *words in lines(block.body):
                if program != "proofpatch":
                    assert TRIED[program](words), (program, words)
                elif block.why:
                    flagged(words)
                else:
                    said += " ".join(ask(words, capsys).split()) + " "
        elif block.kind == "text" and not block.why:
            for part in " ".join(block.body.split()).split(" … "):
                assert part in said, (part, said)


@pytest.mark.parametrize("document", WITH_PYTHON, ids=lambda path: str(path.relative_to(ROOT)))
def test_the_python_runs(document, bench):
    image = bench / "photo.png"
    Image.fromarray(shoot(3)[1].image).save(image)
    names = {"content": image.read_bytes()}
    for block in blocks(document):
        if block.kind == "python":
            assert not block.why, "Python that is shown is run"
            exec(compile(block.body, document.name, "exec"), names)


@pytest.mark.parametrize("document", documents(), ids=lambda path: str(path.relative_to(ROOT)))
def test_commands_within_a_sentence_are_there(document):
    for said in INLINE.findall(document.read_text("utf-8")):
        flagged([word.rstrip(".,") for word in shlex.split(said.replace("…", " ").replace("|", " ").split("  ")[0])])


def test_nothing_is_let_off_by_its_kind():
    """Shell is called sh; another name would not be looked at."""
    for document in documents():
        kinds = {one.kind for one in blocks(document)}
        assert kinds <= {"sh", "python", "text", "json", "toml"}, (document, kinds)


LABEL = re.compile(r"(?<![*\w])\*([A-Z][^*]+)\*(?!\*)")
WITH_LABELS = [DOCS / "tutorial.md", *sorted((DOCS / "how-to").glob("*.md"))]
PAGES = " ".join(
    re.sub(r"<[^>]+>", "", path.read_text("utf-8"))
    for path in sorted((ROOT / "src" / "proofpatch").rglob("*"))
    if path.suffix in (".html", ".py", ".toml")
)


@pytest.mark.parametrize("document", WITH_LABELS, ids=lambda path: str(path.relative_to(ROOT)))
def test_what_is_said_to_press_stands_on_a_page(document):
    for said in LABEL.findall(document.read_text("utf-8")):
        label = re.sub(r"\d+", r"(?:\\d+|\\{\\{[^}]*\\}\\}|%d)", re.escape(" ".join(said.split())))
        assert re.search(label, PAGES), said
