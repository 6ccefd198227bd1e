"""`.ci/environment` with stand-ins for what installs: what it asks of whom, and what it removes."""

from __future__ import annotations

import shutil
import subprocess
import sys
from pathlib import Path
from typing import TYPE_CHECKING

import pytest

if TYPE_CHECKING:
    from collections.abc import Callable

ROOT = Path(__file__).parents[1]
PLAIN = ("cat", "cmp", "cp", "dirname", "grep", "ls", "rm", "sed", "sha256sum")


class Clone:
    """A folder with the script and locks of a few packages, and a PATH of its own."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.log = folder / "log"
        for name in (".ci/environment", ".ci/unlocked.py", "pyproject.toml"):
            (folder / name).parent.mkdir(exist_ok=True)
            shutil.copy(ROOT / name, folder / name)
        self.write("requirements.lock", "kept==1.0 \\\n    --hash=sha256:0\n")
        self.write("requirements-desk.lock", "kept==1.0 \\\n    --hash=sha256:0\ndesk-only==2.0 \\\n")
        self.write(
            "requirements-dev.lock",
            "kept==1.0 \\\n    --hash=sha256:0\ndesk-only==2.0 \\\ntests-only==2.0 \\\n",
        )
        self.write("handover/documents/engine.py", "")
        self.write("tests/node/package-lock.json", "{}")
        self.write("tests/node/node_modules/made-for", "{}")
        for each in PLAIN:
            found = shutil.which(each)
            assert found
            self._place(each).symlink_to(found)
        self.command("pdftotext")
        self.command("python3", f'exec "{sys.executable}" "$@"')

    def write(self, name: str, text: str) -> None:
        file = self.folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, encoding="utf-8")

    def command(self, name: str, code: str = "") -> None:
        """Put a command into the PATH that writes how it was called into the log."""
        file = self._place(name)
        file.write_text(f'#!/bin/sh\necho "{name} $*" >>"{self.log}"\n{code}\n', encoding="utf-8")
        file.chmod(0o755)

    def _place(self, name: str) -> Path:
        folder = self.folder / "bin"
        folder.mkdir(exist_ok=True)
        return folder / name

    def virtual_environment(self, *packages: str) -> None:
        """Make the environment, with packages installed that have nothing inside."""
        subprocess.run([sys.executable, "-m", "venv", "--without-pip", self.folder / ".venv"], check=True)
        self.write(".venv/place", f"{self.folder} \n")
        (site,) = self.folder.glob(".venv/lib/python*/site-packages")
        for each in packages:
            self.write(
                f"{site.relative_to(self.folder)}/{each}-1.0.dist-info/METADATA",
                f"Metadata-Version: 2.1\nName: {each}\nVersion: 1.0\n",
            )

    def run(self, *arguments: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            ["/bin/sh", self.folder / ".ci" / "environment", *arguments],
            capture_output=True,
            text=True,
            check=False,
            env={"PATH": str(self.folder / "bin")},
        )

    def calls(self, command: str) -> list[str]:
        """Return the arguments of each call of a command."""
        lines = self.log.read_text(encoding="utf-8").splitlines() if self.log.exists() else []
        return [line.removeprefix(f"{command} ") for line in lines if line.startswith(f"{command} ")]


@pytest.fixture
def clone(tmp_path: Path) -> Clone:
    folder = tmp_path / "a clone"
    folder.mkdir()
    return Clone(folder)


def as_root(clone: Clone) -> None:
    clone.command("id", "echo 0")


def as_user(clone: Clone) -> None:
    clone.command("id", "echo 1000")


# ---- what no lock names


@pytest.mark.parametrize(
    ("arguments", "removed"),
    [
        ((), ["desk-only", "gone", "tests-only"]),
        (("--desk",), ["gone", "tests-only"]),
        (("--tests",), ["gone"]),
    ],
    ids=["run time", "desk", "tests"],
)
def test_what_the_lock_no_longer_names_is_removed(
    clone: Clone, arguments: tuple[str, ...], removed: list[str]
) -> None:
    as_user(clone)
    clone.command("uv")
    clone.virtual_environment("kept", "Gone", "tests_only", "desk_only", "pip", "handover")
    done = clone.run(*arguments)
    assert done.returncode == 0, done.stderr
    calls = [each.split() for each in clone.calls("uv")]
    assert [each[:2] for each in calls] == [["pip", "install"], ["pip", "uninstall"], ["pip", "install"]]
    assert [
        each
        for each in calls[1][2:]
        if each in {"kept", "gone", "tests-only", "desk-only", "pip", "handover"}
    ] == removed


def test_an_environment_of_the_tests_remains_one_after_a_change_of_the_locks(clone: Clone) -> None:
    as_user(clone)
    clone.command("uv")
    clone.virtual_environment("kept", "tests_only")
    assert clone.run("--tests").returncode == 0
    clone.log.unlink()
    for arguments in ((), ("--tests",)):
        assert clone.run(*arguments).stdout == ""
    clone.write("requirements-dev.lock", "kept==1.1 \\\n    --hash=sha256:0\ntests-only==2.0 \\\n")
    done = clone.run()
    assert done.returncode == 0, done.stderr
    assert ["requirements-dev.lock" in each for each in clone.calls("uv")] == [True, False]
    assert not [each for each in clone.calls("uv") if "uninstall" in each]


def test_an_environment_of_the_desk_remains_one_until_the_tests_need_theirs(clone: Clone) -> None:
    as_user(clone)
    clone.command("uv")
    clone.virtual_environment("kept")
    for arguments, lock in (
        (("--desk",), "requirements-desk.lock"),
        ((), "requirements-desk.lock"),
        (("--tests",), "requirements-dev.lock"),
        (("--desk",), "requirements-dev.lock"),
    ):
        assert clone.run(*arguments).returncode == 0
        assert (clone.folder / ".venv/lock").read_text().strip() == lock


# ---- what the system has


def ready(clone: Clone) -> None:
    """Make an environment that lacks nothing of Python's."""
    clone.command("uv")
    clone.virtual_environment("kept")


@pytest.mark.parametrize("who", [as_root, as_user])
def test_without_apt_nobody_is_asked_for_tools_that_tests_can_do_without(
    clone: Clone, who: Callable[[Clone], None]
) -> None:
    who(clone)
    ready(clone)
    done = clone.run("--tests")
    assert done.returncode == 0, done.stderr
    assert "sudo" not in done.stdout + done.stderr


def test_root_of_debian_gets_them_installed(clone: Clone) -> None:
    as_root(clone)
    ready(clone)
    clone.command("apt-get")
    done = clone.run("--tests")
    assert done.returncode == 0, done.stderr
    installed = " ".join(each for each in clone.calls("apt-get") if each.startswith("install"))
    assert "chromium" in installed
    assert "nodejs npm" in installed


@pytest.mark.parametrize("has_apt", [True, False])
@pytest.mark.parametrize("who", [as_root, as_user])
def test_what_the_tests_need_is_asked_for_in_words_of_the_system(
    clone: Clone, has_apt: bool, who: Callable[[Clone], None]
) -> None:
    who(clone)
    ready(clone)
    (clone.folder / "bin" / "pdftotext").unlink()
    if has_apt:
        clone.command("apt-get")
    done = clone.run("--tests")
    installs = has_apt and who is as_root
    assert (done.returncode == 0) is installs, done.stderr
    assert ("poppler-utils" in done.stderr) is not installs
    assert ("sudo apt-get" in done.stderr) is (has_apt and who is as_user)
    assert bool(clone.calls("apt-get")) is installs
