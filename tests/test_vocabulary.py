"""One word, one meaning: the names of modules, classes and functions, and those that two packages share."""

from __future__ import annotations

import ast
import re
from collections import defaultdict
from functools import cache
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "handover"

SHARED = {
    "Floats": "an array; in the schedule's model, one that JSON holds",
    "LOG": "the logger of the program",
    "Task": "work with its hours; in the archive, as its catalog holds it",
    "due": "a command, and the service that it calls",
    "export": "a command, and the service that it calls",
    "find": "a command, and the service that it calls",
    "issue": "a command, and the service that it calls",
    "main": "the entry point of a program; the libraries of the PDF engine have one for `.ci/environment`",
}
"""Names that modules of several packages define, with the reason why they may."""

PARTICIPLES = frozenset({
    "afresh", "begun", "born", "bought", "broken", "brought", "built", "caught", "chosen", "cut", "done",
    "drawn", "driven", "fallen", "felt", "forgotten", "found", "given", "gone", "grown", "had", "heard",
    "held", "hidden", "kept", "known", "laid", "learnt", "led", "left", "lent", "let", "lost", "made",
    "meant", "met", "paid", "put", "read", "said", "seen", "sent", "set", "settled", "shown", "shut",
    "sold", "spent", "spoken", "stood", "sworn", "taken", "taught", "thought", "thrown", "told", "torn",
    "understood", "woken", "won", "worn", "written",
})  # fmt: skip
"""Irregular ones; the regular ones end in -ed."""

FIGURES = frozenset({
    "answer", "attic", "beside", "cellar", "diary", "floor", "foresee", "garbage", "ground", "hand",
    "hands", "house", "lay", "lies", "manners", "mend", "mirror", "mirrored", "ourselves", "patience",
    "reckon", "rehearse", "room", "rooms", "shelf", "stands", "storey", "storeys", "stranger",
    "strangers", "thaw", "thawed", "tidy", "whom",
})  # fmt: skip
"""Words that say by a picture what a term of the trade or of software says."""

ALLOWED = {
    "acknowledged": "a property that the contractor's own templates may use",
    "assumed": "a property that the contractor's own templates may use",
    "issued": "a property that the contractor's own templates may use",
    "placed": "a property that the contractor's own templates may use",
    "recorded": "a property that the contractor's own templates may use",
    "refused": "a property that the contractor's own templates may use",
    "room": "the room of a slab that is indoors",
    "set": "a noun: initial set, final set, a set of documents",
    "read": "a verb in the infinitive",
    "put": "a verb in the infinitive",
    "cut": "a verb in the infinitive",
    "ground": "a term of the trade: slabs on ground",
    "floor": "a term of the trade, and of arithmetic",
    "embedded": "an adjective of the PDF standard",
}
"""Words that look like a participle or a figure of speech, and are none, with the reason."""


def modules() -> list[Path]:
    return sorted(each for each in PACKAGE.rglob("*.py") if "versions" not in each.parts)


def words(name: str) -> list[str]:
    """Return the words of a name, in small letters: `MilestoneKind` and `milestone_kind` alike."""
    return re.findall(r"[A-Z]+(?![a-z])|[A-Z]?[a-z]+|\d+", name.strip("_"))


@cache
def parsed(file: Path) -> ast.Module:
    return ast.parse(file.read_text(encoding="utf-8"))


@cache
def names_of(file: Path) -> list[str]:
    """Return the names of a module's classes, functions and methods, and that of the module itself."""
    defined = (
        each.name for each in ast.walk(parsed(file)) if isinstance(each, ast.FunctionDef | ast.ClassDef)
    )
    return [*defined] if file.stem == "__init__" else [file.stem, *defined]


def public_names(file: Path) -> set[str]:
    """Return the public names that a module defines at its top level."""
    found: set[str] = set()
    for node in parsed(file).body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef):
            found.add(node.name)
        elif isinstance(node, ast.Assign | ast.AnnAssign):
            targets = node.targets if isinstance(node, ast.Assign) else [node.target]
            found |= {each.id for one in targets for each in ast.walk(one) if isinstance(each, ast.Name)}
    return {each for each in found if not each.startswith("_")} - {"TYPE_CHECKING"}


def is_participle(word: str) -> bool:
    return word in PARTICIPLES or (len(word) > 4 and word.endswith("ed") and not word.endswith("eed"))


@cache
def shared() -> dict[str, set[str]]:
    """Return the names that several packages define, each with those packages."""
    packages: dict[str, set[str]] = defaultdict(set)
    for file in modules():
        for name in public_names(file):
            packages[name].add(file.relative_to(PACKAGE).parts[0].removesuffix(".py"))
    return {name: found for name, found in packages.items() if len(found) > 1}


def test_no_public_name_has_two_meanings() -> None:
    unexplained = {name: sorted(found) for name, found in shared().items() if name not in SHARED}
    assert not unexplained


def test_no_explanation_outlives_its_name() -> None:
    assert SHARED.keys() <= shared().keys()


@pytest.mark.parametrize("file", modules(), ids=lambda file: str(file.relative_to(PACKAGE)))
def test_no_module_class_or_function_is_named_by_a_bare_participle(file: Path) -> None:
    bare = [
        name for name in names_of(file) if len(words(name)) == 1 and is_participle(words(name)[0].lower())
    ]
    assert [name for name in bare if name.strip("_").lower() not in ALLOWED] == []


@pytest.mark.parametrize("file", modules(), ids=lambda file: str(file.relative_to(PACKAGE)))
def test_no_name_is_a_figure_of_speech(file: Path) -> None:
    odd = {
        name for name in names_of(file) for word in words(name) if word.lower() in FIGURES - ALLOWED.keys()
    }
    assert odd == set()


def test_the_rules_find_what_they_are_for() -> None:
    for name in ("told", "_settled", "Received", "_given", "afresh", "Learnt"):
        assert is_participle(words(name)[0].lower()), name
    for name in ("seed", "feed", "need", "Speed", "visit", "bed"):
        assert not is_participle(words(name)[0].lower()), name
    assert words("MilestoneKind") == ["Milestone", "Kind"]
    assert words("_no_date_2") == ["no", "date", "2"]
