"""What an office does with its folders and its archive, and what is whole before and after."""

from __future__ import annotations

import io
import os
import shutil
from collections import Counter
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any
from unittest.mock import patch

from program import GARAGE, LATER, command, contents, issue_command, office

from handover.base import atomic

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from random import Random

State = tuple[dict[str, bytes], dict[str, bytes]]

NAMES = ("mkdir", "link", "rename", "replace", "unlink", "rmdir", "chmod", "stat", "scandir", "listdir")
HANDLES = ("open", "fdopen", "fsync", "fstat", "fchmod", "close")
CALLS = {
    os: (*NAMES, *HANDLES),
    io: ("open",),
    shutil: ("copyfile", "rmtree"),
    atomic: ("exchange_names",),
}
"""Calls to the system, by which a run reads and writes."""


@dataclass(frozen=True)
class Outcome:
    """The whole states before and after a command, and how many calls of each name it makes."""

    old: State
    new: State
    calls: Counter[str]

    def draw_call(self, random: Random) -> tuple[str, int]:
        """Return a call by its name and its number: each name as often, however many calls it has."""
        name = random.choice(sorted(self.calls))
        return name, random.randint(1, self.calls[name])


def _issue(root: Path) -> list[object]:
    weather = (GARAGE / "weather.csv").read_text("utf-8").replace(",2", ",3")
    (root / "warmer.csv").write_text(weather, "utf-8")
    return issue_command(root / "one.toml", root / "warmer.csv", root / "one", LATER)


def _archive(root: Path) -> list[object]:
    (root / "one" / "late.jpg").write_bytes(b"late" * 5000)
    return ["archive", root / "one", root / "two", "--to", root / "archive"]


def _reissue(root: Path) -> list[object]:
    job = next(each.name for each in (root / "archive" / "bags").iterdir() if each.name.startswith("one"))
    return [
        "reissue",
        job,
        "--same-weather",
        "--anyway",
        "--in",
        root / "archive",
        "-o",
        root / "one",
        "--as-of",
        LATER,
    ]


def _forget(root: Path) -> list[object]:
    job = next(each.name for each in (root / "archive" / "bags").iterdir() if each.name.startswith("two"))
    return ["forget", job, "--yes", "--in", root / "archive"]


WORKS: dict[str, Callable[[Path], list[object]]] = {
    "issue": _issue,
    "archive": _archive,
    "reissue": _reissue,
    "forget": _forget,
}


def state(root: Path) -> State:
    """Return the files of the set that is worked on, and of all bags."""
    return contents(root / "one"), contents(root / "archive" / "bags")


@cache
def outcome(name: str) -> Outcome:
    """Do a work undisturbed, and return what comes of it."""
    with TemporaryDirectory() as folder:
        root = office(Path(folder))
        arguments = WORKS[name](root)
        old, calls = state(root), Counter[str]()
        with watched(lambda call: calls.update([call])):
            said = command(*arguments)
        assert said.status == 0, said.text
        return Outcome(old, state(root), calls)


@contextmanager
def watched(before: Callable[[str], Any]) -> Iterator[None]:
    """Call a function, with the name of the call, before each call to the system."""

    def watch(name: str, real: Callable[..., Any]) -> Callable[..., Any]:
        def call(*arguments: Any, **options: Any) -> Any:
            before(name)
            return real(*arguments, **options)

        return call

    with ExitStack() as patched:
        for module, names in CALLS.items():
            for name in names:
                patched.enter_context(patch.object(module, name, watch(name, getattr(module, name))))
        yield


def check_old_or_new(root: Path, expected: Outcome, said: str = "") -> State:
    """Raise unless the set and the bags are each as before or as after; return what is there."""
    found = state(root)
    for now, old, new in zip(found, expected.old, expected.new, strict=True):
        differing = {name for name in {*now, *new} if now.get(name) != new.get(name)}
        assert now in (old, new), (sorted(differing), said)
    return found


def finish(root: Path, arguments: list[object], expected: Outcome) -> None:
    """Do the work once more, undisturbed: all is new and whole, and nothing is left over."""
    begun = state(root) != expected.old
    said = command(*arguments)
    assert begun or state(root) == expected.new, said.text
    assert said.status in ({0, 2} if begun else {0}), said.text
    assert command("verify", root / "archive").status == 0
    hidden = {each.name for each in root.rglob(".*")} - {".working", ".locks"}
    assert not hidden, hidden
