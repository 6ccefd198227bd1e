"""The long run, for a few commands; and that its checks find what they are for."""

from __future__ import annotations

import contextlib
import shutil
import sqlite3
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from long_run import Issues, LongRun, Office, check_end, check_open, found_office

if TYPE_CHECKING:
    from collections.abc import Callable

# The worker of the suite that runs this has a thread for its own talk; the child of a fork has no use for it.
pytestmark = [
    pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning"),
    pytest.mark.xdist_group("processes"),
]

ENOUGH = 6
"""Commands of a short run."""


@pytest.fixture(scope="module")
def founded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Found an office; return its folder, in which nobody writes."""
    root = tmp_path_factory.mktemp("office")
    found_office(root)
    return root


@pytest.fixture
def office(founded: Path, tmp_path: Path) -> Office:
    """Return an office of the test's own."""
    return Office(shutil.copytree(founded, tmp_path / "office"))


def test_a_short_run_finds_no_fault(office: Office) -> None:
    run = LongRun(office, 1)
    run.run(lambda: sum(each.runs for each in run.tallies.values()) < ENOUGH, processes=2)
    assert run.faults == []
    assert sum(each.runs for each in run.tallies.values()) >= ENOUGH
    assert "writer" in next(iter(run.report()))


def lose_set(office: Office) -> None:
    shutil.rmtree(office.out / office.jobs[0])
    (office.out / office.jobs[0]).mkdir()


def lose_photo(office: Office) -> None:
    (office.out / office.jobs[0] / "photos" / "edge.jpg").unlink()


def lose_log(office: Office) -> None:
    office.server.write_text("<slab-0@example.com>\n", "utf-8")


def lose_row(office: Office) -> None:
    with contextlib.closing(sqlite3.connect(office.root / "archive" / "catalog.sqlite")) as catalog, catalog:
        catalog.execute("DELETE FROM job WHERE number = (SELECT min(number) FROM job)")


def change_bag(office: Office) -> None:
    [file] = (office.root / "archive" / "bags" / office.jobs[0]).rglob("care-page*.html")
    file.chmod(0o600)
    file.write_bytes(b"changed")


def send_twice(office: Office) -> None:
    office.server.write_text("<x@example.com>\n<x@example.com>\n", "utf-8")


def leave_rubbish(office: Office) -> None:
    (office.out / f".{office.jobs[0]}.issuing-0123456789abcdef").mkdir()


@pytest.mark.parametrize(
    ("plant", "words"),
    [
        (lose_set, "the set is lost"),
        (lose_photo, "photos/edge.jpg is lost from the folder"),
        (lose_log, "sent.json is lost"),
        (change_bag, "care-page.html was changed"),
        (send_twice, "was sent twice"),
        (leave_rubbish, "is left over"),
    ],
    ids=lambda each: getattr(each, "__name__", ""),
)
def test_what_is_wrong_at_the_end_is_found(
    office: Office, plant: Callable[[Office], None], words: str
) -> None:
    plant(office)
    run = LongRun(office, 1)
    run.run(lambda: False)
    assert any(words in each for each in run.faults), words


def test_nothing_is_wrong_with_a_sound_office(office: Office) -> None:
    assert check_end(office, Issues()) == []


def test_an_issue_that_is_gone_from_its_bag_is_found(office: Office) -> None:
    issues = Issues()
    issues.seen[office.jobs[0], 2] = "0" * 64
    assert f"{office.jobs[0]}: revision 2 is lost" in check_end(office, issues)


def test_a_row_that_is_gone_is_found(office: Office) -> None:
    lose_row(office)
    assert any("not in the catalog" in each for each in check_open(office, Issues()))
