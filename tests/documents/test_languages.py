"""Every language is whole, plain to read, and says each instruction in one way wherever it stands."""

from __future__ import annotations

import re
import shutil
from string import Formatter
from typing import TYPE_CHECKING, Any

import pytest

from handover.documents import templating
from handover.documents.catalog import catalog
from handover.documents.templating import CATALOGS, languages, templates_folder

if TYPE_CHECKING:
    from collections.abc import Iterator

LANGUAGES = languages()
SOURCE = "en"


def strings(tree: dict[str, Any], above: str = "") -> Iterator[tuple[str, str]]:
    for key, value in tree.items():
        if isinstance(value, dict):
            yield from strings(value, f"{above}{key}.")
        else:
            yield f"{above}{key}", value


def asked(text: str) -> set[str]:
    """Return the names that a string asks for."""
    return {name for _, name, _, _ in Formatter().parse(text) if name is not None}


def texts(language: str) -> dict[str, str]:
    """Return the long texts of a language by the path below its folder."""
    folder = templates_folder() / language
    files = (file for file in folder.rglob("*") if file.is_file())
    return {
        str(file.relative_to(folder)): file.read_text("utf-8")
        for file in files
        if str(file.relative_to(folder)) not in CATALOGS
    }


def gaps(language: str) -> list[str]:
    """Name what a language lacks of the source, what it has beside it, and where the two do not fit."""
    ours, theirs = (dict(strings(catalog(each).tree)) for each in (SOURCE, language))
    said, heard = texts(SOURCE), texts(language)
    found = [f"no string {key}" for key in ours.keys() - theirs.keys()]
    found += [f"nobody asks for {key}" for key in theirs.keys() - ours.keys()]
    found += [f"empty: {key}" for key, text in theirs.items() if not text.strip()]
    found += [
        f"{key} asks for {sorted(asked(theirs[key]))}, not {sorted(asked(ours[key]))}"
        for key in ours.keys() & theirs.keys()
        if asked(ours[key]) != asked(theirs[key])
    ]
    found += [f"no file {name}" for name in said.keys() - heard.keys()]
    found += [f"no such file in {SOURCE}: {name}" for name in heard.keys() - said.keys()]
    found += [
        f"{name} has {points(heard[name])} points, not {points(said[name])}"
        for name in said.keys() & heard.keys()
        if points(said[name]) != points(heard[name])
    ]
    return sorted(found)


def points(text: str) -> int:
    """Count the points of a list, and what a letter fills in: the same in every language."""
    return len(re.findall(r"^(?:\d+\.|-) |{{|{%", text, re.MULTILINE))


def test_there_is_more_than_one_language() -> None:
    assert {"en", "es"} <= set(LANGUAGES)


@pytest.mark.parametrize("language", LANGUAGES)
def test_nothing_is_missing(language: str) -> None:
    assert gaps(language) == []


@pytest.mark.parametrize(
    ("file", "before", "after", "said"),
    [
        ("normal.md", "- ", "", "normal.md has"),
        ("LC_MESSAGES/handover.po", 'msgid "sheet.ok"', 'msgid "sheet.okay"', "no string sheet.ok"),
        ("LC_MESSAGES/handover.po", "{phone}", "{telefono}", "calendar.call asks for"),
    ],
)
def test_a_gap_is_found(
    file: str, before: str, after: str, said: str, tmp_path: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The test above would see it."""
    copy = tmp_path / "templates"
    shutil.copytree(templates_folder(), copy)
    changed = copy / "es" / file
    text = changed.read_text("utf-8")
    assert before in text
    changed.write_text(text.replace(before, after, 1), "utf-8")
    monkeypatch.setattr(templating, "templates_folder", lambda: copy)
    monkeypatch.setitem(globals(), "templates_folder", lambda: copy)
    catalog.cache_clear()
    try:
        assert any(said in each for each in gaps("es"))
    finally:
        catalog.cache_clear()
