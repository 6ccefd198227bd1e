"""What a fresh Debian must do for whoever comes with a clone, or with the wheel."""

from __future__ import annotations

import time
from dataclasses import dataclass, field
from functools import partial
from typing import TYPE_CHECKING

from machine import Failure, Machine, seconds_since

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

DOCUMENTS = [
    "care-sheet.pdf",
    "crew-sheet.pdf",
    "data-sheet.pdf",
    "care-page.html",
    "owner.ics",
    "crew.ics",
    "message.eml",
    "schedule.json",
]
ISSUE = "issue job.toml --weather weather.csv --as-of 2026-07-14T12:30:00-04:00 -o out"

# The names that the PDF engine asks the system for, and the files that it gets.
OPENED = """
import cffi, os
opened, original = [], cffi.FFI.dlopen
def dlopen(self, name, *flags):
    library = original(self, name, *flags)
    opened.append(name)
    return library
cffi.FFI.dlopen = dlopen
import weasyprint
for name in opened:
    print("opened", name)
"""


@dataclass
class Steps:
    """The steps of the trials of one Debian, each printed when it is done."""

    release: str
    failed: list[str] = field(default_factory=list)

    def step(self, name: str, check: Callable[[], object]) -> bool:
        """Make one step; return whether it went well."""
        begin, fault = time.monotonic(), ""
        try:
            check()
        except Failure as failure:
            fault = str(failure)
            self.failed.append(name)
        state = "failed" if fault else "ok"
        print(f"{self.release:<9} {name:<56} {seconds_since(begin)}  {state:<6}", fault, flush=True)
        return not fault


def sample(machine: Machine, steps: Steps) -> None:
    """Root, with nothing but python3 and make; then once more."""
    clone = machine.clone("/root/handover")
    if steps.step("root: make sample from nothing", lambda: _sample(machine, clone)):
        steps.step("root: make sample again, nothing is installed", lambda: _again(machine, clone))


def missing(machine: Machine, steps: Steps) -> None:
    """Root, with Pango, and each library that the engine opens missing once."""
    clone = machine.clone("/root/handover")
    machine.install("libpango-1.0-0", "libpangoft2-1.0-0")
    if not steps.step("root: make sample with Pango alone", lambda: _sample(machine, clone)):
        machine.install("libharfbuzz-subset0")
    packages = _engine_packages(machine, clone)
    for package in packages:
        steps.step(f"root: make sample without {package}", partial(_without, machine, clone, package))
        machine.install(*packages)


def user(machine: Machine, steps: Steps) -> None:
    """A plain user, in a folder whose path has a blank."""
    machine.must("useradd --create-home mason")
    clone = machine.clone("/home/mason/slab work/handover", "mason")
    commands: list[str] = []
    steps.step("user: one command is printed", lambda: commands.append(_command(machine, clone)))
    if commands and steps.step("user: root runs this command", lambda: machine.must(_as_root(commands[0]))):
        steps.step("user: make sample, blank in the path", lambda: _sample(machine, clone, "mason"))


def wheel(machine: Machine, steps: Steps) -> None:
    """The wheel in an environment of its own, without the engine's libraries."""
    clone, tool = machine.clone("/root/handover"), "/opt/handover/bin"
    machine.install("python3-venv")
    machine.must(f"cp -r {clone}/sample_jobs/summer-garage /root/job")
    machine.must(f"python3 -m venv /opt/handover && {tool}/pip wheel --quiet --no-deps -w /root/dist {clone}")
    machine.must(f"{tool}/pip install --quiet /root/dist/*.whl && rm -rf {clone}")
    commands: list[str] = []
    steps.step(
        "wheel: one message, before anything is done", lambda: commands.append(_message(machine, tool))
    )
    if commands and steps.step("wheel: root runs its command", lambda: machine.must(_as_root(commands[0]))):
        steps.step("wheel: handover issue", lambda: _issue(machine, tool))


def tests(machine: Machine, steps: Steps) -> None:
    """Root, the whole suite."""
    clone = machine.clone("/root/handover")
    steps.step("root: make test from nothing", lambda: machine.must("make test", clone))


TRIALS: dict[str, Callable[[Machine, Steps], None]] = {
    trial.__name__: trial for trial in [sample, missing, user, wheel, tests]
}


# --- Steps ---------------------------------------------------------------------------------------------


def _sample(machine: Machine, clone: str, user: str = "root") -> None:
    machine.must("rm -rf out", clone, user)
    machine.must("make sample", clone, user)
    complete(machine.path(clone) / "out" / "summer-garage")


def complete(folder: Path) -> None:
    """Check that a folder holds every document.

    Raises:
        Failure: One is missing, or is not what its name says.
    """
    lacking = [name for name in DOCUMENTS if not (folder / name).is_file()]
    if lacking:
        raise Failure(f"not made: {', '.join(lacking)}")
    if not (folder / "care-sheet.pdf").read_bytes().startswith(b"%PDF-"):
        raise Failure("care-sheet.pdf is no PDF")


def _again(machine: Machine, clone: str) -> None:
    machine.must("touch /root/before && sleep 1.1")
    _sample(machine, clone)
    places = f"{clone}/.venv /usr /etc /var/lib/dpkg /var/lib/apt"
    changed = machine.must(f"find {places} -cnewer /root/before -not -path '*/__pycache__*' -type f").split()
    if changed:
        raise Failure(f"{len(changed)} files were written, among them {changed[0]}")


def _engine_packages(machine: Machine, clone: str) -> list[str]:
    """Return the packages of the libraries that the engine opens, asked of the engine and of the system."""
    lines = machine.must(f".venv/bin/python -c '{OPENED}'", clone).splitlines()
    names = [line.split()[1] for line in lines if line.startswith("opened ")]
    files = sorted({name if ".so" in name else f"lib{name}.so.[0-9]" for name in names})
    owners = [machine.must(f"dpkg -S '*/{file}'").split(":")[0] for file in files]
    if not owners:
        raise Failure("the engine opened no library")
    return sorted(set(owners))


def _without(machine: Machine, clone: str, package: str) -> None:
    machine.must(f"dpkg --remove --force-depends {package}")
    _sample(machine, clone)
    machine.must(f"dpkg --verify {package}")


def _command(machine: Machine, clone: str) -> str:
    refused = machine.run("make sample", clone, "mason")
    if not refused.code:
        raise Failure("it went through: no library was missing")
    return _only_command(refused.output)


def _only_command(output: str) -> str:
    if "Traceback" in output:
        raise Failure("a traceback was printed")
    commands = [
        line.strip() for line in output.splitlines() if "apt-get install" in line or "apt install" in line
    ]
    if len(commands) != 1:
        raise Failure(f"{len(commands)} commands were printed")
    return commands[0]


def _as_root(command: str) -> str:
    """Return a command for a shell of root: a bare machine has no sudo."""
    return command.replace("sudo ", "")


def _message(machine: Machine, tool: str) -> str:
    refused = machine.run(f"{tool}/handover {ISSUE}", "/root/job")
    if not refused.code:
        raise Failure("it went through: no library was missing")
    if machine.path("/root/job/out").exists():
        raise Failure("a folder was left behind")
    return _only_command(refused.output)


def _issue(machine: Machine, tool: str) -> None:
    machine.must(f"{tool}/handover {ISSUE}", "/root/job")
    complete(machine.path("/root/job/out"))
