"""Compiled templates are kept for the next run, and only as long as they are those of the same text."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import pytest
from jinja2 import Environment

from handover.documents.templating import environment

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

PAGE = "care_sheet.html"


@pytest.fixture
def cache(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give the folder of the user's cache, empty."""
    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "cache"))
    return tmp_path / "cache"


@pytest.fixture
def fresh() -> Iterator[Callable[..., Environment]]:
    """Give the environment as another run would make it."""
    yield environment.__wrapped__
    environment.cache_clear()


@pytest.fixture
def compiled(monkeypatch: pytest.MonkeyPatch) -> list[str | None]:
    """Note which templates are compiled."""
    names: list[str | None] = []
    compile_source = Environment._generate

    def noted(self: Environment, source: object, name: str | None, *rest: object, **more: object) -> str:
        names.append(name)
        return compile_source(self, source, name, *rest, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(Environment, "_generate", noted)
    return names


def test_a_template_is_compiled_once_for_all_runs(
    cache: Path, fresh: Callable[..., Environment], compiled: list[str | None]
) -> None:
    fresh().get_template(PAGE)
    fresh().get_template(PAGE)
    assert compiled == [PAGE]
    assert any(each.is_file() for each in (cache / "handover").rglob("*"))


@pytest.mark.parametrize("mode", [0o777, 0o775])
def test_a_folder_that_others_may_write_is_not_used(
    cache: Path, fresh: Callable[..., Environment], compiled: list[str | None], mode: int
) -> None:
    """What is kept there is run."""
    fresh().get_template(PAGE)
    (folder,) = (cache / "handover" / "templates").iterdir()
    folder.chmod(mode)
    fresh().get_template(PAGE)
    assert compiled == [PAGE, PAGE]


def test_without_a_home_folder_nothing_is_kept(
    fresh: Callable[..., Environment], compiled: list[str | None], monkeypatch: pytest.MonkeyPatch
) -> None:
    def unknown(*_: object, **__: object) -> str:
        raise RuntimeError("could not determine the home directory")

    monkeypatch.setattr(sys, "dont_write_bytecode", False)
    monkeypatch.setattr("platformdirs.user_cache_dir", unknown)
    fresh().get_template(PAGE)
    assert compiled == [PAGE]


def test_the_pages_of_others_are_not_kept(
    cache: Path, fresh: Callable[..., Environment], compiled: list[str | None], tmp_path: Path
) -> None:
    own = tmp_path / "own"
    own.mkdir()
    for text in ("first", "second"):
        (own / PAGE).write_text(text, encoding="utf-8")
        assert fresh(own).get_template(PAGE).render() == text
    assert compiled == [PAGE, PAGE]
    assert not cache.exists()


def test_what_is_damaged_is_compiled_again(
    cache: Path, fresh: Callable[..., Environment], compiled: list[str | None]
) -> None:
    fresh().get_template(PAGE)
    for each in cache.rglob("*.cache"):
        each.write_bytes(each.read_bytes()[:60])
    fresh().get_template(PAGE)
    assert compiled == [PAGE, PAGE]


@pytest.mark.parametrize("hindrance", ["no folder", "no compiled modules"])
def test_without_a_cache_each_run_compiles(
    hindrance: str,
    cache: Path,
    fresh: Callable[..., Environment],
    compiled: list[str | None],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    if hindrance == "no folder":
        cache.write_text("a file in its place", encoding="utf-8")
    else:
        monkeypatch.setattr(sys, "dont_write_bytecode", True)
    for _ in range(2):
        assert fresh().get_template(PAGE)
    assert compiled == [PAGE, PAGE]
    assert not cache.is_dir()
