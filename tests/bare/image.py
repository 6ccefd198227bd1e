"""`python3 tests/bare/image.py`: the image of the Containerfile, built with buildah and run once, as root.

Its base is a Debian that debootstrap makes: no registry of images is asked. The base reaches the package
registries in the way of this machine, so the image is for this trial alone and is not kept.
"""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from dataclasses import dataclass
from typing import TYPE_CHECKING

from machine import PROJECT, Failure, alone, pristine, remove
from trials import ISSUE, Steps, complete

if TYPE_CHECKING:
    from pathlib import Path

BASE, IMAGE = "localhost/debian:trixie-slim", "localhost/handover:latest"
OWNER = 1000
FOLDER = PROJECT / "out" / "image"

INSTALLED = """
import re
from importlib.metadata import distributions
for each in distributions():
    print(re.sub("[-_.]+", "-", each.metadata["Name"]).lower() + "==" + each.version)
"""


@dataclass(frozen=True)
class Buildah:
    """Buildah, with a storage of its own. All that it prints goes into the log."""

    storage: Path
    log: Path

    def __call__(self, *arguments: str | Path) -> str:
        """Run one command of buildah; return its standard output.

        Raises:
            Failure: The command failed.
        """
        places = [
            "--root",
            self.storage / "root",
            "--runroot",
            self.storage / "run",
            "--storage-driver",
            "vfs",
        ]
        with self.log.open("a") as log:
            log.write(f"\n=== buildah {' '.join(map(str, arguments))}\n")
            log.flush()
            whole = ["buildah", *map(str, [*places, *arguments])]
            done = subprocess.run(whole, stdout=subprocess.PIPE, stderr=log, text=True, check=False)
            log.write(done.stdout)
        if done.returncode:
            raise Failure(f"exit status {done.returncode} of buildah {arguments[0]}; see {self.log}")
        return done.stdout.strip()

    def inside(self, container: str, *command: str | Path, volume: Path | None = None) -> str:
        """Run a command in a container, as the image's user."""
        mount = ["--volume", f"{volume}:/work:rw"] if volume else []
        return self("run", "--isolation", "chroot", *mount, container, "--", *command)


def main() -> int:
    """Build and run; return the exit status."""
    if os.geteuid() or not shutil.which("debootstrap") or not shutil.which("buildah"):
        print("This needs root: sudo apt-get install -y debootstrap buildah", file=sys.stderr)
        return 1
    with alone(PROJECT / "out" / "bare"):
        return _image()


def _image() -> int:
    remove(FOLDER)
    FOLDER.mkdir(parents=True)
    buildah, steps = Buildah(FOLDER / "storage", FOLDER / "log"), Steps("image")
    try:
        made = steps.step("base from debootstrap", lambda: _base(buildah))
        made = made and steps.step("built from the Containerfile", lambda: _build(buildah))
        made = made and steps.step("a sample issued by its user", lambda: _run(buildah))
    finally:
        remove(FOLDER / "storage")
    return 0 if made else 1


def _base(buildah: Buildah) -> None:
    archive = pristine("trixie", PROJECT / "out" / "bare")
    container = buildah("from", "scratch")
    buildah("add", container, archive, "/")
    buildah("commit", "--rm", container, BASE)


def _build(buildah: Buildah) -> None:
    context = FOLDER / "storage" / "context"
    subprocess.run(["git", "clone", "--quiet", "--no-hardlinks", PROJECT, context], check=True)
    local = ["--isolation", "chroot", "--pull-never", "--build-arg", f"BASE={BASE}"]
    buildah("build", *local, "--tag", IMAGE, context)


def _run(buildah: Buildah) -> None:
    work = FOLDER / "work"
    shutil.copytree(PROJECT / "sample_jobs" / "summer-garage", work)
    for path in [work, *work.iterdir()]:
        os.chown(path, OWNER, OWNER)
    container = buildah("from", "--pull-never", IMAGE)
    entry = json.loads(buildah("inspect", container))["OCIv1"]["config"]["Entrypoint"]
    buildah.inside(container, *entry, *ISSUE.split(), volume=work)
    complete(work / "out")
    if (work / "out" / "care-sheet.pdf").stat().st_uid != OWNER:
        raise Failure("the documents do not belong to the plain user")
    _packages(buildah.inside(container, "/opt/handover/bin/python", "-c", INSTALLED).split())
    buildah("rm", container)


def _packages(installed: list[str]) -> None:
    """Make sure that nothing is installed but what the program needs when it runs, as its lock names it.

    Raises:
        Failure: Something else is.
    """
    lock = PROJECT / "requirements.lock"
    command = [sys.executable, PROJECT / ".ci" / "lock_part.py", "run-time", lock]
    pinned = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True).stdout
    known = re.findall(r"^([a-z0-9-]+)(?:\[[a-z,]+\])?(==[^ ;\\]+)", pinned, re.MULTILINE)
    plain = {re.sub(r"\b0+(?=\d)", "", each) for each in installed}  # 1.006 is 1.6
    unknown = plain - {name + version for name, version in known}
    if {each.partition("==")[0] for each in unknown} != {"handover"}:
        raise Failure(f"the image has what its lock does not name: {', '.join(sorted(unknown))}")


if __name__ == "__main__":
    sys.exit(main())
