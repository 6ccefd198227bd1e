"""Each campaign finds a fault that was planted: one that cannot fail shows nothing."""

from __future__ import annotations

import shutil
import sys
from contextlib import nullcontext, suppress
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest

sys.path.insert(0, str(Path(__file__).parent))

import every_campaign
import program
import works
from campaign import CAMPAIGNS, run

from handover.archive import verify
from handover.cli import archive as archive_commands
from handover.service import drafts, publish, send_log
from handover.weather import download

if TYPE_CHECKING:
    from collections.abc import Callable

    Plant = Callable[[pytest.MonkeyPatch], None]

pytestmark = [
    pytest.mark.filterwarnings("ignore:This process .* is multi-threaded:DeprecationWarning"),
    pytest.mark.usefixtures("shared_schedules"),  # the plants are in what is done with them
]

SEED = 1
MOST = 400
"""Cases that are tried until the fault is found; most plants are found by the first few."""


def wrap(patch: pytest.MonkeyPatch, module: Any, name: str, change: Callable[[Any], Any]) -> None:
    """Have a function return something else."""
    real = getattr(module, name)
    patch.setattr(module, name, lambda *given, **more: change(real(*given, **more)))


def only(patch: pytest.MonkeyPatch, module: Any, calls: set[str]) -> None:
    """Have one writer at work, and draw among some of its calls: a case takes seconds."""
    patch.setattr(module, "WORKS", {"issue": works.WORKS["issue"]})
    draw = works.Outcome.draw_call

    def drawn(outcome: Any, random: Any) -> tuple[str, int]:
        chosen = {name: count for name, count in outcome.calls.items() if name in calls}
        return draw(replace(outcome, calls=chosen), random)

    patch.setattr(works.Outcome, "draw_call", drawn)


def ignore_errors_of_writing(patch: pytest.MonkeyPatch) -> None:
    only(patch, every_campaign.failing, {"open"})

    def write(files: Any, fresh: Path) -> None:
        for name, content in files.items():
            (fresh / name).parent.mkdir(parents=True, exist_ok=True)
            with suppress(OSError):
                publish.write_new_file(fresh / name, content)

    patch.setattr(publish, "_write", write)


def ignore_errors_of_flushing(patch: pytest.MonkeyPatch) -> None:
    only(patch, every_campaign.failing, {"fsync"})
    real = publish.flush

    def flush(path: Path) -> None:
        with suppress(OSError):
            real(path)

    patch.setattr(publish, "flush", flush)


def replace_in_two_steps(patch: pytest.MonkeyPatch) -> None:
    only(patch, every_campaign.kills, {"rename", "rmdir", "unlink", "rmtree"})

    def swap(fresh: Path, folder: Path) -> None:
        publish._carry_foreign_files(folder, fresh)
        shutil.rmtree(folder)
        fresh.rename(folder)

    patch.setattr(publish, "_swap", swap)


def stop_at_the_first(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(archive_commands._TroubleReport, "messages", lambda *_: nullcontext())


def find_all_bags_sound(patch: pytest.MonkeyPatch) -> None:
    wrap(patch, verify, "verify_archive", lambda report: replace(report, damaged=[]))


def add_a_reader(patch: pytest.MonkeyPatch) -> None:
    wrap(patch, every_campaign.mail, "compose_message", lambda mail: b"Bcc: x@example.org\r\n" + mail)


def take_any_address(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(send_log, "is_email_address", lambda _: True)


def write_elsewhere(patch: pytest.MonkeyPatch) -> None:
    real = drafts.Drafts.save

    def save(self: Any, name: str, *given: Any, **more: Any) -> Any:
        (self._folder.parent / "stray").write_bytes(b"")
        return real(self, name, *given, **more)

    patch.setattr(drafts.Drafts, "save", save)


def refuse_without_a_word(patch: pytest.MonkeyPatch) -> None:
    wrap(patch, every_campaign.records, "examine_source", lambda examined: replace(examined, findings=()))


def turn_the_tasks_round(patch: pytest.MonkeyPatch) -> None:
    wrap(
        patch,
        every_campaign.plans,
        "read_schedule",
        lambda found: replace(found, tasks=found.tasks[::-1]),
    )


def let_errors_of_the_connection_through(patch: pytest.MonkeyPatch) -> None:
    patch.setattr(download._Client, "_translate_errors", lambda _, ask: ask())


def say_nothing_of_weather(patch: pytest.MonkeyPatch) -> None:
    wrap(patch, every_campaign.weather_files, "examine_weather_bytes", lambda found: (found[0], []))


def say_nothing_of_a_log(patch: pytest.MonkeyPatch) -> None:
    wrap(patch, every_campaign.weather_files, "examine_log", lambda found: (found[0], []))


PLANTS: list[tuple[str, Plant]] = [
    ("bags", find_all_bags_sound),
    ("drafts", write_elsewhere),
    ("failing", ignore_errors_of_writing),
    ("failing", ignore_errors_of_flushing),
    ("kills", replace_in_two_steps),
    ("logger files", say_nothing_of_a_log),
    ("messages", add_a_reader),
    ("plans", turn_the_tasks_round),
    ("records", refuse_without_a_word),
    ("servers", let_errors_of_the_connection_through),
    ("sets", stop_at_the_first),
    ("spoilt messages", take_any_address),
    ("weather files", say_nothing_of_weather),
]


@pytest.fixture(autouse=True)
def _fresh_outcomes() -> Any:
    """Let no outcome of a work with a planted fault stay."""
    works.outcome.cache_clear()
    yield
    works.outcome.cache_clear()


@pytest.mark.parametrize(("name", "plant"), PLANTS, ids=[f"{name}-{each.__name__}" for name, each in PLANTS])
def test_a_planted_fault_is_found(
    name: str, plant: Plant, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    program.office(tmp_path / "before")  # issued without the fault
    plant(monkeypatch)
    found: list[object] = []

    def goes_on(tried: int) -> bool:
        return not any(tmp_path.glob("*/fault.txt")) and tried < MOST

    found = run([CAMPAIGNS[name]], SEED, tmp_path, goes_on)[name].faults
    assert len(found) == 1


def test_every_campaign_has_a_planted_fault() -> None:
    assert {name for name, _ in PLANTS} == {*CAMPAIGNS}
