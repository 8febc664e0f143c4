"""Gathers every message of the interface out of the sources, and brings the catalogues up to it.

    python -m proofpatch.web.words.gather

What is shown and how it is found: the text of the templates (`runs`); the sentences of the modules below, of their
syntax trees, with {0}, {1} where a value comes in and each alternative written out; what the tables say in words; what
the scripts say. A message that is new is added to each catalogue without a translation, one that is gone is dropped.
"""

from __future__ import annotations

import ast
import csv
import datetime
import io
import itertools
import re
import sys
import tomllib
from collections import defaultdict
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

from babel.messages.catalog import Catalog
from babel.messages.pofile import write_po
from jinja2 import Environment, nodes

from proofpatch.web.words import HERE, LANGUAGES, OWN, catalogue
from proofpatch.web.words.match import unread
from proofpatch.web.words.runs import cut

PACKAGE = HERE.parent.parent
# Modules no page speaks through: the command line, programs, documents and the sentences written for them, keys of
# tables, the invented workshop, kernels and solvers.
SILENT = re.compile(
    r"^(?:web/(?:api|words)/|documents/|shop/migrations/|demo|cli(?:_answer|_elsewhere|_folder|_job|_lots|_measure|_memory|_offer|_record|_seen"
    r"|_serve|_sheet|_survey|_tools|_work)?\.py$|offer/(?:told|written)|records_seen|run/(?:care|visual)"
    r"|shop/(?:finished|folder_lists|memory|offer_keys|strip_file)|learn/memory/(?:__init__|alike|carried|fit|jobs|levels|reform|sites)"
    r"|physics/(?:accumulation|clocks|dose|elementwise|fast_math|green|heat|kinetics"
    r"|layered|moving|reacting|straight|strokes|trains|sweep)|learn/(?:compiled|kernels|lanes)|__init__"
    r"|materials/curves|pool\.py|cli_rework|shop/(?:many|regraded))"
)
# Table -> what of it is shown. The name of a TOML table is its id.
TABLES = {
    "materials/coatings.toml": ("title", "kind", "note", "colours", "conditions"),
    "materials/substrates.toml": ("title", "id", "conditions"),
    "survey/cautions.toml": ("text", "keep_off"),
    "survey/never.toml": ("why",),
    "survey/tests.toml": ("title", "ask", "values", "how", "touch"),
    "survey/hazards.toml": ("name", "settles", "refused"),
    "survey/finishes.csv": ("name",),
    "hazards/checklist.csv": ("moment", "role", "text"),
    "hazards/air_limits.csv": ("name",),
    "hazards/ignition.csv": ("note",),
    "lasers/builtin.toml": ("title", "focus_cue"),
    "materials/coatings.csv": ("property",),
    "materials/substrates.csv": ("property",),
    "measure/efforts.csv": ("effort", "locator"),
    "measure/factors.csv": ("item", "locator"),
    "offer/rates.csv": ("property", "locator"),
    "run/checks.toml": ("group", "title", "ask", "why", "stop", "cause"),
    "run/stops.toml": ("sense", "title", "text", "then"),
    "run/after.toml": ("text",),
    "run/causes.toml": ("title", "text", "next"),
}
# What no tree shows: words that stand alone, as the names of keys do, and sentences that are joined of parts.
MORE = tuple(one for one in (HERE / "more.txt").read_text("utf-8").split("\n") if one)
BREAK = re.compile(r"(?<=[.!?])\s+(?=[A-Z0-9“\"(\0])")
# In every header, so that a catalogue changes with its words only.
BEGUN = datetime.datetime(2026, 1, 1, tzinfo=datetime.UTC)
MOST = 16  # alternatives of one sentence that are written out
WORDY = re.compile(r"[A-Za-z]{2,}")
CODE = re.compile(
    r"[<>{}_\\|]|^\w+=|=$|://|^[./#-]|\$|^(?:SELECT|INSERT|CREATE|application|text|image|attachment|default-src|M\{)|^\W*%|[a-z]\.[a-z]"
    r"|^(?:POST|PUT|DELETE) |;base|^(?:[a-z]+-)+[a-z]+$|^\S+@"
)
# A path, a style, a spelling of a unit, a header: text, and shown to nobody.
DRAWN = re.compile(
    r"%d|=\"|var\(|^M[{\d]|\{\d+\}[HVv]\{|serif|^BEGIN |^(?:Refresh|Location|selected)$|centimeter|meters|^D LB|^!'"
    r"|seconds$|^private, |^deg degree|^(?:h hr|min mins|mil mils|x times|[dsm]|um|yd) "
)
PERCENT = re.compile(r"%(?:\.\d)?[sdgfr]")
BUGS = ("ValueError", "TypeError", "AssertionError", "RuntimeError", "KeyError")  # never shown
TONGUE = re.compile(r'\bworded\(\s*"((?:[^"\\]|\\.)*)"')

Messages = dict[str, set[str]]


def messages() -> Messages:
    """Every message with the files it comes from."""
    found: Messages = defaultdict(set)
    for path in sorted(PACKAGE.rglob("*.py")):
        name = path.relative_to(PACKAGE).as_posix()
        if not SILENT.search(name):
            for one in of_module(path.read_text("utf-8")):
                # The options of the command line and the spellings of units are no sentences.
                if name not in ("cli_read.py", "units.py", "cli_readings.py") or re.match(
                    r"(?:[A-Z]|\{0\}).*\W$|[a-z ]{9,}$", one
                ):
                    found[one].add(name)
    for path in sorted((HERE.parent / "templates").glob("*.html")):
        for one in of_template(path.read_text("utf-8")):
            found[one].add(f"web/templates/{path.name}")
    for name, keys in TABLES.items():
        for one in _of_table(PACKAGE / name, keys):
            # The page of prices says what a rate is in one place and what is known of it in another.
            for part in {one, *(one.split("; ", 1) if name == "offer/rates.csv" else ())}:
                found[part].add(name)
    for one in MORE:
        found[one].add("web/words/more.txt")
    for path in sorted((HERE.parent / "static").glob("*.js")):
        for one in TONGUE.findall(path.read_text("utf-8")):
            found[one.replace('\\"', '"')].add(f"web/static/{path.name}")
    return found


def is_shown(words: str) -> bool:
    """Whether a text of the sources is one for people, as far as it can be told from itself."""
    own = re.sub(r"\{\d+\}", "", words)
    if (
        not WORDY.search(own)
        or unread(own) < 2
        or CODE.search(own)
        or DRAWN.search(words)
        or (own.isupper() and " " not in own.strip())
    ):
        return False
    return " " in words.strip() or bool(re.fullmatch(r"[A-Z][a-z]+[.?!:]?", words))


# Of Python.


def of_module(source: str) -> Iterator[str]:
    """The messages of a module."""
    tree = ast.parse(source)
    quiet = {id(part) for node in ast.walk(tree) for part in _unsaid(node)}
    done: set[int] = set()
    for node in ast.walk(tree):
        if id(node) in quiet or id(node) in done:
            continue
        if _is_text(node):
            done |= {id(part) for part in _own_parts(node)}
            for one in _spelt(node):
                yield from _sentences(one)


def _unsaid(node: ast.AST) -> Iterator[ast.AST]:
    """Parts of a node that are for programmers: docstrings, what is compared, annotations."""
    if isinstance(node, (ast.Module, ast.FunctionDef, ast.ClassDef, ast.AsyncFunctionDef)):
        first = node.body[0] if node.body else None
        if isinstance(first, ast.Expr) and isinstance(first.value, ast.Constant):
            yield first.value
    for name in ("annotation", "returns"):
        if getattr(node, name, None) is not None:
            yield from ast.walk(getattr(node, name))
    if isinstance(node, ast.Call) and getattr(node.func, "attr", getattr(node.func, "id", "")) in (
        "compile", "getLogger", "split", "sub", "text", "execute", "op", "TypeVar", "cast",
    ):  # fmt: skip
        for one in node.args:
            yield from ast.walk(one)
    if isinstance(node, ast.Raise) and isinstance(node.exc, ast.Call) and getattr(node.exc.func, "id", "") in BUGS:
        yield from ast.walk(node.exc)


def _is_text(node: ast.AST) -> bool:
    if isinstance(node, ast.Constant):
        return isinstance(node.value, str)
    if isinstance(node, ast.JoinedStr):
        return True
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add):
        return any(
            _is_text(one) or (isinstance(one, ast.IfExp) and _is_text(one.body)) for one in (node.left, node.right)
        )
    return _formatted(node) is not None or _percented(node) is not None


def _formatted(node: ast.AST) -> ast.Constant | None:
    """The text whose format is called."""
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute) and node.func.attr == "format":
        return _plain(node.func.value)
    return None


def _percented(node: ast.AST) -> ast.Constant | None:
    """The text that % fills in."""
    return _plain(node.left) if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Mod) else None


def _plain(node: ast.AST) -> ast.Constant | None:
    return node if isinstance(node, ast.Constant) and isinstance(node.value, str) else None


def _own_parts(node: ast.AST) -> Iterator[ast.AST]:
    """The parts of a text that are said with it and not by themselves."""
    if (filled := _formatted(node)) is not None:
        yield filled
        return
    for part in ast.iter_child_nodes(node):
        if isinstance(node, ast.JoinedStr) and isinstance(part, ast.FormattedValue):
            yield from _alternatives(part.value)
            if part.format_spec:
                yield from ast.walk(part.format_spec)
        elif _is_text(part):
            yield part
            yield from _own_parts(part)
        else:
            yield from _alternatives(part)


def _alternatives(value: ast.AST) -> Iterator[ast.AST]:
    if isinstance(value, ast.IfExp) and _is_text(value.body) and _is_text(value.orelse):
        for one in (value.body, value.orelse):
            yield one
            yield from _own_parts(one)


def _spelt(node: ast.AST) -> list[str]:
    """Every form of a text; \0 where a value comes in."""
    if isinstance(node, ast.Constant):
        return [node.value if isinstance(node.value, str) else "\0"]
    if isinstance(node, ast.FormattedValue):
        return _spelt(node.value) if not isinstance(node.value, ast.Constant) else ["\0"]
    if isinstance(node, ast.JoinedStr):
        return _product([_spelt(one) for one in node.values])
    if isinstance(node, ast.IfExp) and _is_text(node.body) and _is_text(node.orelse):
        return _spelt(node.body) + _spelt(node.orelse)
    if (filled := _formatted(node)) is not None:
        return [re.sub(r"\{[^{}]*\}", "\0", str(filled.value))]
    if (percented := _percented(node)) is not None:
        return [PERCENT.sub("\0", str(percented.value)).replace("%%", "%")]
    if isinstance(node, ast.BinOp) and isinstance(node.op, ast.Add) and _is_text(node):
        return _product([_spelt(node.left), _spelt(node.right)])
    return ["\0"]


def _product(forms: list[list[str]]) -> list[str]:
    many = 1
    for place, one in enumerate(forms):
        many *= len(one)
        if many > MOST:
            return ["".join(one) for one in itertools.product(*forms[:place], *([["\0"]] * (len(forms) - place)))]
    return ["".join(one) for one in itertools.product(*forms)]


def _sentences(spelt: str) -> Iterator[str]:
    """A text sentence by sentence, as it is read on a page too; what is added to another sentence is one by itself."""
    for one in BREAK.split(spelt.strip()):
        alone = re.sub(r"^\0(?=[A-Z][a-z]+ )|\0$(?<=\. \0)", "", one).strip()
        words = " ".join(_numbered(alone).split())
        if is_shown(words):
            yield words


def _numbered(text: str) -> str:
    count = itertools.count()
    return re.sub("\0+", lambda _: f"{{{next(count)}}}", text)


# Of templates.


def of_template(source: str) -> Iterator[str]:
    """The messages of a template: its text, and the words in its expressions."""
    found: list[str] = []

    def note(words: str, values: list[str], attribute: bool) -> str:
        if words != "{0}":
            found.append(words)
        return ""

    cut(source, note)
    yield from found
    tree = Environment(extensions=[]).parse(source)
    yield from _in_expressions(tree)


def _in_expressions(node: nodes.Node) -> Iterator[str]:
    if isinstance(node, (nodes.TemplateData, nodes.Compare, nodes.Extends, nodes.Include, nodes.FromImport)):
        return
    if isinstance(node, (nodes.Concat, nodes.Mod)):
        forms = _concat(node)
        for one in forms:
            words = " ".join(_numbered(one).split())
            if is_shown(words):
                yield words
    if isinstance(node, nodes.Const) and isinstance(node.value, str) and is_shown(node.value):
        yield " ".join(node.value.split())
    for child in node.iter_child_nodes():
        if not (isinstance(node, nodes.Filter) and child in node.args):
            yield from _in_expressions(child)


def _concat(node: nodes.Node) -> list[str]:
    if isinstance(node, nodes.Const):
        return [str(node.value)]
    if isinstance(node, nodes.Concat):
        return _product([_concat(one) for one in node.nodes])
    if isinstance(node, nodes.CondExpr) and node.expr2 is not None:
        return _concat(node.expr1) + _concat(node.expr2)
    if isinstance(node, nodes.Mod) and isinstance(node.left, nodes.Const):
        return [PERCENT.sub("\0", str(node.left.value))]
    return ["\0"]


# Of tables.


def _of_table(path: Path, keys: tuple[str, ...]) -> Iterator[str]:
    with path.open("rb") as file:
        rows: Iterable[dict[str, Any]] = (
            list(csv.DictReader(file.read().decode().splitlines()))
            if path.suffix == ".csv"
            else _tables(tomllib.load(file))
        )
    for row in rows:
        for key in keys:
            said = row.get(key) or []
            for one in said if isinstance(said, list) else [said]:
                words = " ".join(one.replace("_", " ").split()) if isinstance(one, str) else ""
                if WORDY.search(words):
                    yield words


def _tables(given: dict[str, Any]) -> Iterator[dict[str, Any]]:
    """Every table of a file; its name is its id, and its title where it has none."""
    yield given
    for name, one in given.items():
        if isinstance(one, dict):
            yield from _tables({"id": name, "title": name.replace("-", " "), **one})


def up_to_date(name: str, found: Messages) -> Catalog:
    """The catalogue of a language with exactly these messages, translations kept."""
    known = catalogue(name) if (HERE / f"{name}.po").exists() else Catalog(locale=name)
    new = Catalog(
        locale=name, project="proofpatch", version="1", fuzzy=False, creation_date=BEGUN, revision_date=BEGUN,
        msgid_bugs_address="none", last_translator="the invented workshop", language_team=name,
        header_comment=f"# Words of proofpatch, {LANGUAGES[name]}. Gathered by proofpatch.web.words.gather.",
    )  # fmt: skip
    for words in sorted(found):
        old = known.get(words)
        new.add(words, old.string if old else "", locations=[(one, 0) for one in sorted(found[words])])
    return new


def as_file(new: Catalog) -> bytes:
    """A catalogue as it is kept."""
    out = io.BytesIO()
    write_po(out, new, width=0)
    return out.getvalue()


def main() -> None:
    """Brings the catalogues up to the sources and says what is left to translate."""
    found = messages()
    for name in (one for one in LANGUAGES if one != OWN):
        new = up_to_date(name, found)
        (HERE / f"{name}.po").write_bytes(as_file(new))
        empty = [one.id for one in new if one.id and not one.string]
        sys.stdout.write(f"{name}: {len(found)} messages, {len(empty)} without a translation\n")
        for one in empty[:20]:
            sys.stdout.write(f"  {one}\n")


if __name__ == "__main__":
    main()
