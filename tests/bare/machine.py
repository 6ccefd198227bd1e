"""A fresh Debian in a folder: made once, unpacked for each trial, entered through chroot.

A command runs in its own mount and process namespaces. When it ends, or is killed, the kernel ends all that
it started and takes every mount away: nothing can stay mounted below the folder.
"""

from __future__ import annotations

import fcntl
import os
import shutil
import subprocess
import time
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

PROJECT = Path(__file__).resolve().parents[2]
FRESH = "python3,make,ca-certificates"
PATHS = "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"

# How this computer reaches its package indexes, where it has a way of its own.
NETWORK = [
    *["http_proxy", "https_proxy", "no_proxy", "HTTP_PROXY", "HTTPS_PROXY", "NO_PROXY"],
    *["PIP_INDEX_URL", "UV_DEFAULT_INDEX", "UV_INDEX_URL", "NPM_CONFIG_REGISTRY"],
]
CERTIFICATES = ["SSL_CERT_FILE", "REQUESTS_CA_BUNDLE", "NODE_EXTRA_CA_CERTS"]
SETTINGS = ["etc/pip.conf", "etc/npmrc", "etc/uv/uv.toml", "usr/local/share/ca-certificates"]

ENTER = """
root=$1; shift
mount -t proc proc "$root/proc" || exit 125
mount -t tmpfs -o mode=1777 tmpfs "$root/dev/shm" || exit 125
mount -t devpts -o ptmxmode=0666 devpts "$root/dev/pts" || exit 125
chroot "$root" "$@"
exit $?
"""


class Failure(Exception):
    """What a trial expects does not hold."""


@dataclass(frozen=True)
class Run:
    """What a command came to: exit status, and all that it printed."""

    code: int
    output: str


@dataclass(frozen=True)
class Machine:
    """A Debian in a folder. All that its commands print goes into the log."""

    root: Path
    log: Path

    def run(self, command: str, folder: str = "/", user: str = "root") -> Run:
        """Run a shell command inside, as a user with nothing in the environment but what a login sets."""
        home = "/root" if user == "root" else f"/home/{user}"
        variables = [f"PATH={PATHS}", f"HOME={home}", f"USER={user}", "LANG=C.UTF-8", *self._network()]
        inside = [
            "runuser",
            "-u",
            user,
            "--",
            "env",
            "-i",
            f"--chdir={folder}",
            *variables,
            "sh",
            "-c",
            command,
        ]
        namespaces = ["unshare", "--mount", "--pid", "--fork", "--kill-child"]
        with self.log.open("ab") as log:
            log.write(f"\n=== {user} {folder}$ {command}\n".encode())
            log.flush()
            begin = log.tell()
            whole = [*namespaces, "sh", "-c", ENTER, "sh", str(self.root), *inside]
            code = subprocess.run(
                whole, stdin=subprocess.DEVNULL, stdout=log, stderr=log, check=False
            ).returncode
            log.write(f"=== exit status {code}\n".encode())
        printed = self.log.read_bytes()[begin:].decode(errors="replace")
        return Run(code, printed.rpartition("=== exit status")[0])

    def must(self, command: str, folder: str = "/", user: str = "root") -> str:
        """Run a command that has to succeed; return what it printed.

        Raises:
            Failure: It did not.
        """
        done = self.run(command, folder, user)
        if done.code:
            raise Failure(f"exit status {done.code} of: {command}")
        return done.output

    def path(self, inside: str) -> Path:
        """Return the path outside of a path inside."""
        return self.root / inside.lstrip("/")

    def clone(self, folder: str, user: str = "root") -> str:
        """Put a fresh clone of what is committed into a folder inside."""
        self.must(f"mkdir -p '{folder}'", user=user)
        subprocess.run(["git", "clone", "--quiet", "--no-hardlinks", PROJECT, self.path(folder)], check=True)
        self.must(f"chown -R {user}: '{folder}'")
        return folder

    def install(self, *packages: str) -> None:
        """Install packages of Debian."""
        apt = "DEBIAN_FRONTEND=noninteractive apt-get"
        self.must(f"{apt} update -qq && {apt} install -qq -y --no-install-recommends {' '.join(packages)}")

    def _network(self) -> list[str]:
        settings = {name: os.environ[name] for name in NETWORK if name in os.environ}
        files = {name: os.environ[name] for name in CERTIFICATES if name in os.environ}
        settings |= {name: file for name, file in files.items() if self.path(file).exists()}
        return [f"{name}={setting}" for name, setting in settings.items()]


@contextmanager
def alone(folder: Path) -> Iterator[None]:
    """Keep a folder of machines to one run at a time; a second one ends at once."""
    folder.mkdir(parents=True, exist_ok=True)
    with (folder / "lock").open("w") as lock:
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            raise SystemExit(f"Another run is using {folder}.") from None
        yield


# --- Making one --------------------------------------------------------------------------------------


def pristine(release: str, cache: Path) -> Path:
    """Return the archive of a fresh Debian, made where it is not in the cache yet."""
    archive = cache / f"{release}.tar"
    if archive.exists():
        return archive
    cache.mkdir(parents=True, exist_ok=True)
    folder, log = cache / f"{release}.new", cache / f"{release}.log"
    remove(folder)
    with log.open("wb") as printed:
        mirror = [os.environ["DEBIAN_MIRROR"]] if "DEBIAN_MIRROR" in os.environ else []
        wanted = ["debootstrap", "--variant=minbase", f"--include={FRESH}", release, str(folder), *mirror]
        if subprocess.run(wanted, stdout=printed, stderr=printed, check=False).returncode:
            raise SystemExit(f"debootstrap could not make {release}; see {log}")
    _reach_indexes(Machine(folder, log))
    partial = archive.with_suffix(".part")
    subprocess.run(["tar", "--numeric-owner", "-C", folder, "-cf", partial, "."], check=True)
    partial.chmod(0o600)  # it may hold how this machine reaches its registries
    partial.rename(archive)
    remove(folder)
    return archive


def unpack(archive: Path, folder: Path, log: Path) -> Machine:
    """Return a fresh machine in a folder; what was there is removed."""
    remove(folder)
    folder.mkdir(parents=True)
    subprocess.run(["tar", "--numeric-owner", "-C", folder, "-xpf", archive], check=True)
    log.parent.mkdir(parents=True, exist_ok=True)
    log.unlink(missing_ok=True)
    shutil.copyfile("/etc/resolv.conf", folder / "etc/resolv.conf")
    return Machine(folder, log)


def remove(folder: Path) -> None:
    """Remove a folder, and nothing that may be mounted below it."""
    if folder.exists():
        subprocess.run(["rm", "-rf", "--one-file-system", folder], check=True)


def _reach_indexes(machine: Machine) -> None:
    """Let a machine reach the package indexes in the way in which this computer does."""
    for each in SETTINGS:
        here, there = Path("/") / each, machine.root / each
        if here.is_dir():
            shutil.copytree(here, there, dirs_exist_ok=True)
        elif here.exists():
            there.parent.mkdir(parents=True, exist_ok=True)
            shutil.copyfile(here, there)
    machine.path("etc/apt/apt.conf.d/90this-computer").write_text(_apt_settings())
    # No service is to start: they would share ports with this computer.
    no_services = machine.path("usr/sbin/policy-rc.d")
    no_services.write_text("#!/bin/sh\nexit 101\n")
    no_services.chmod(0o755)
    machine.must("update-ca-certificates && apt-get clean")


def _apt_settings() -> str:
    """Return the settings of this computer's apt for fetching: proxies, certificates, dates."""
    if not shutil.which("apt-config"):
        return ""
    dump = subprocess.run(
        ["apt-config", "dump", "Acquire"], check=True, capture_output=True, text=True
    ).stdout
    kept = [line for line in dump.splitlines() if "::IndexTargets" not in line and not line.endswith('"";')]
    return "\n".join(kept) + "\n"


def seconds_since(begin: float) -> str:
    """Return the time since a reading of the monotonic clock, for a table."""
    return f"{time.monotonic() - begin:6.0f} s"
