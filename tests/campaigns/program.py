"""The program in this process, without the PDF engine and with few members, and what the suite has for it."""

from __future__ import annotations

import atexit
import importlib.util
import io
import shutil
import sys
import tempfile
from contextlib import contextmanager, redirect_stderr, redirect_stdout
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING
from unittest.mock import patch

from handover.cli import main
from handover.cli.output import print_error_of
from handover.errors import HandoverError, is_hidden

if TYPE_CHECKING:
    from collections.abc import Iterator
    from types import ModuleType

TESTS = Path(__file__).parents[1]
SAMPLES = sorted((TESTS.parent / "sample_jobs").glob("*/job.toml"))
GARAGE = TESTS.parent / "sample_jobs" / "summer-garage"
FIRST, LATER = "2026-07-14T12:30:00-04:00", "2026-07-14T15:30:00-04:00"


@cache
def suite(name: str) -> ModuleType:
    """Return a module of the suite, by its path below tests/."""
    found = importlib.util.spec_from_file_location(f"suite_{name.replace('/', '_')[:-3]}", TESTS / name)
    assert found is not None
    assert found.loader is not None
    module = importlib.util.module_from_spec(found)
    sys.modules[found.name] = module
    sys.path.insert(0, str((TESTS / name).parent))
    try:
        found.loader.exec_module(module)
    finally:
        sys.path.pop(0)
    return module


@contextmanager
def quick() -> Iterator[None]:
    """Have no PDF engine, and few members."""
    shared = suite("conftest.py")
    with shared.no_pdf_engine(), shared.plan_with_few_members():
        yield


@dataclass(frozen=True)
class Said:
    """What a command said, and its exit status."""

    status: int
    text: str


def _expected_only(fault: Exception, *, writes: bool = True) -> int:
    if not isinstance(fault, HandoverError | OSError):
        raise fault
    return print_error_of(fault, writes=writes)


def command(*arguments: object) -> Said:
    """Run a command line; raise what it did not expect, and where it prints what a terminal would obey."""
    out = io.StringIO()
    with (
        redirect_stdout(out),
        redirect_stderr(out),
        patch("handover.cli.print_error_of", _expected_only),
        patch("handover.cli.archive.now", lambda: datetime.fromisoformat(LATER)),
        quick(),
    ):
        status = main([str(each) for each in arguments])
    text = out.getvalue()
    assert status in {0, 1, 2}, status
    assert "error in the program itself" not in text, text
    assert_clean(text)
    return Said(status, text)


def assert_clean(text: str) -> None:
    """Raise if a text has hidden characters beside breaks of lines."""
    hidden = {each for each in text if is_hidden(each) and each != "\n"}
    assert not hidden, (hidden, text)


def contents(folder: Path) -> dict[str, bytes]:
    """Return every file below a folder, hidden ones too."""
    files = (each for each in sorted(folder.rglob("*")) if each.is_file())
    return {each.relative_to(folder).as_posix(): each.read_bytes() for each in files}


def issue_command(record: Path, weather: Path, folder: Path, at: str) -> list[object]:
    """Return the command that issues a record."""
    return ["issue", record, "-w", weather, "-o", folder, "--as-of", at]


@cache
def _issued() -> Path:
    """Issue the summer sample as two jobs, and archive both; return their folder."""
    root = Path(tempfile.mkdtemp(prefix="campaign-"))
    atexit.register(shutil.rmtree, root, ignore_errors=True)
    for name in ("one", "two"):
        record = (GARAGE / "job.toml").read_text("utf-8").replace('id = "', f'id = "{name}-', 1)
        (root / f"{name}.toml").write_text(record, "utf-8")
        assert (
            command(*issue_command(root / f"{name}.toml", GARAGE / "weather.csv", root / name, FIRST)).status
            == 0
        )
    assert command("archive", root / "one", root / "two", "--to", root / "archive").status == 0
    return root


def office(folder: Path) -> Path:
    """Return a copy of two issued jobs, `one` and `two`, with their records and `archive`."""
    return shutil.copytree(_issued(), folder / "office")
