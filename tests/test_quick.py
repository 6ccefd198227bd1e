"""What `make quick` runs for a change: no module without a test, no test twice."""

from __future__ import annotations

import shutil
import subprocess
import sys
from importlib.util import module_from_spec, spec_from_file_location
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from types import ModuleType

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def chooser() -> ModuleType:
    spec = spec_from_file_location("chooser", ROOT / ".ci" / "changed.py")
    assert spec is not None
    assert spec.loader is not None
    module = module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_every_package_has_tests_to_run(chooser: ModuleType) -> None:
    for file in (ROOT / "handover").glob("*/*.py"):
        path = file.relative_to(ROOT).as_posix()
        assert any((ROOT / each).exists() for each in chooser.tests_of(path)), path


def test_all_that_is_named_is_there(chooser: ModuleType) -> None:
    for start, tests in chooser.TESTS.items():
        assert list(ROOT.glob(f"{start}*")), start
        assert all((ROOT / each).exists() for each in tests), start
    assert {each.name for each in ROOT.glob("tests/*/test_*.py")} >= chooser.LONG
    assert all((ROOT / each).is_file() for each in chooser.ALWAYS)


@pytest.mark.parametrize(
    ("changed", "tests"),
    [
        (
            "handover/service/workers.py",
            {f"tests/test_{each}.py" for each in ("archiving", "publish", "batch", "workers")},
        ),
        ("handover/schedule/cylinders.py", {"tests/schedule", "tests/schedule/test_measurements.py"}),
        ("handover/documents/qr.py", {"tests/documents", "tests/documents/test_qr.py"}),
        ("handover/concrete/heat.py", {"tests/identities", "tests/identities/test_heat.py"}),
        ("handover/jobs/clock.py", {"tests/jobs", "tests/jobs/test_clock.py"}),
        ("tests/jobs/test_clock.py", {"tests/jobs/test_clock.py"}),
        ("tests/jobs/conftest.py", {"tests/jobs"}),
        ("tests/conftest.py", set()),
        ("README.md", {"tests/test_config.py"}),
        (
            "handover/service/worker_pool.py",
            {f"tests/test_{each}.py" for each in ("archiving", "publish", "workers", "batch")},
        ),
    ],
)
def test_a_change_calls_for_its_tests(chooser: ModuleType, changed: str, tests: set[str]) -> None:
    assert {each for each in chooser.tests_of(changed) if (ROOT / each).exists()} == tests


def test_what_is_changed_is_read_from_git(
    chooser: ModuleType, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    differ = ["handover/weather/gaps.py", "tests/weather/test_gaps.py", "tests/archive/conftest.py", ""]
    said = {"diff": "\0".join(differ)}
    monkeypatch.setattr(chooser, "git", lambda command, *_: said.get(command, ""))
    chooser.main("HEAD")
    printed = capsys.readouterr().out.splitlines()
    assert printed == [
        "tests/archive",
        "tests/test_architecture.py",
        "tests/test_vocabulary.py",
        "tests/weather",
        "--ignore=tests/archive/test_kill.py",
    ]


# ---- in a clone of its own


@pytest.fixture
def clone(tmp_path: Path) -> Path:
    """Return a clone with the script, and files with blanks and accents in their names."""
    if shutil.which("git") is None:
        pytest.skip("there is no git here")
    script = tmp_path / ".ci" / "changed.py"
    script.parent.mkdir()
    script.write_bytes((ROOT / ".ci" / "changed.py").read_bytes())
    for name in ("tests/a b/test_c d.py", "tests/á/test_é.py", "tests/x/test_plain.py"):
        (tmp_path / name).parent.mkdir(parents=True)
        (tmp_path / name).write_text("", encoding="utf-8")
    who = ["-c", "user.name=x", "-c", "user.email=x@example.com", "-c", "commit.gpgsign=false"]
    for command in (["init", "-q"], ["add", "tests/x", "tests/á"], [*who, "commit", "-q", "-m", "x"]):
        subprocess.run(["git", *command], cwd=tmp_path, check=True)
    (tmp_path / "tests/á/test_é.py").write_text("x = 1\n", encoding="utf-8")
    return tmp_path


def changed_in(clone: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, ".ci/changed.py", *arguments]
    return subprocess.run(command, cwd=clone, capture_output=True, text=True, check=False)


@pytest.mark.parametrize("arguments", [(), ("HEAD",)])
def test_names_with_blanks_and_accents_are_whole(clone: Path, arguments: tuple[str, ...]) -> None:
    done = changed_in(clone, *arguments)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.splitlines() == ["tests/a b/test_c d.py", "tests/á/test_é.py"]


@pytest.mark.parametrize("commit", ["HEDA", "--stat", "", "tests/x"])
def test_a_commit_that_is_none_is_refused(clone: Path, commit: str) -> None:
    done = changed_in(clone, commit)
    assert done.returncode == 1
    assert done.stdout == ""
    assert "cannot be told" in done.stderr


def test_where_there_is_no_clone_nothing_is_guessed(clone: Path) -> None:
    (clone / ".git").rename(clone / "elsewhere")
    done = changed_in(clone)
    assert done.returncode == 1
    assert "cannot be told" in done.stderr
