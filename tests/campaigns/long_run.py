"""A long run: writers at work on one office at once, killed at random; nothing is lost, nothing sent twice.

    python tests/campaigns --long --minutes 10 --database postgresql

The office is a folder of issued sets, an archive and its catalog. Each writer is a process that runs one
command. It starts from this one, in which the program is loaded. A fault leaves the office in
`out/campaigns/SEED`.
"""

from __future__ import annotations

import json
import os
import re
import signal
import sys
import time
import traceback
from collections import Counter
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from email import message_from_bytes
from hashlib import sha256
from math import inf
from random import Random
from statistics import median
from typing import TYPE_CHECKING, Any, NamedTuple
from unittest.mock import patch

from program import command, contents, quick, suite

from handover.archive.deposit import recover
from handover.archive.store import Archive
from handover.archive.verify import verify_archive
from handover.base.atomic import write_file
from handover.cli import main
from handover.documents.schedule_json import read_schedule
from handover.service import sending
from handover.service.publish import check_folder
from handover.weather.download import Download

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

PROCESSES = 8
JOBS = 3
START = datetime.fromisoformat("2026-07-14T12:30:00-04:00")
PACE = 120.0
"""At most so many seconds of the office's time for each second of ours: new issues are later."""

SPAN = timedelta(days=5)
"""How much of the office's time a run takes at most: its jobs still cure."""

BESIDE = {"photos/edge.jpg": b"edge" * 900, "signed.jpg": b"scan" * 9000}
FIRST_LIFE_S = 6.0
"""How long a command is thought to take before one has ended."""

KILLED = 0.4
"""Share of processes that are to be killed."""

WAITS = ("another process is working on", "another run", "is before the last issue", "while it was read")
"""Words of a command that gave way to another writer."""


@dataclass(frozen=True)
class Office:
    """An office: its folder, and the URL of its catalog, if that is in PostgreSQL."""

    root: Path
    catalog: str | None = None
    pace: float = PACE
    began: float = field(default_factory=time.monotonic)

    @property
    def out(self) -> Path:
        """The folder of the issued sets, each under the id of its job."""
        return self.root / "out"

    @property
    def jobs(self) -> list[str]:
        """The ids of the jobs."""
        return [f"2026-07-14-slab-{number}" for number in range(JOBS)]

    @property
    def server(self) -> Path:
        """What the mail server took: a line for each message."""
        return self.root / "server"

    def now(self) -> datetime:
        """Return the time in the office."""
        return START + timedelta(seconds=int(self.pace * (time.monotonic() - self.began)) + 60)

    def archive(self) -> Archive:
        """Return the archive."""
        return Archive(self.root / "archive", self.catalog, timeout_s=600.0)

    def options(self) -> list[object]:
        """Return the options that name the archive."""
        return ["--in", self.root / "archive", *(["--catalog", self.catalog] if self.catalog else [])]


def _hourly(change: float) -> bytes:
    """Return invented weather, warmer or colder by some kelvins."""
    made = suite("conftest.py").hourly_answer()
    made["hourly"]["temperature_2m"] = [each + change for each in made["hourly"]["temperature_2m"]]
    return json.dumps(made).encode()


def found_office(root: Path, catalog: str | None = None, minutes: float = 1.0) -> Office:
    """Issue the jobs, lay files beside them, and archive all of it; the run is to take so many minutes."""
    office = Office(root, catalog, min(PACE, SPAN / timedelta(minutes=minutes)))
    office.out.mkdir(parents=True)
    (root / "weather.json").write_bytes(_hourly(0.0))
    (root / "settings.toml").write_text('[mail]\nhost = "mail.example.com"\n', "utf-8")
    office.server.touch()
    for job in office.jobs:
        record = suite("conftest.py").RECORD.replace("2026-07-14-test-slab", job)
        (root / f"{job}.toml").write_text(record, "utf-8")
        issue = ["issue", root / f"{job}.toml", "-w", root / "weather.json", "-o", office.out / job]
        assert command(*issue, "--as-of", START.isoformat()).status == 0
        for name, data in BESIDE.items():
            (office.out / job / name).parent.mkdir(exist_ok=True)
            (office.out / job / name).write_bytes(data)
    assert command(*_archive(NO_DRAWS, office)).status == 0
    return office


# ---- writers

NO_DRAWS = Random(0)  # noqa: S311 - no secret


def _watch(_: Random, office: Office) -> list[object]:
    return ["watch", "-o", office.out, *office.options(), "--as-of", office.now().isoformat()]


def _reissue(random: Random, office: Office) -> list[object]:
    job = random.choice(office.jobs)
    weather = random.choice(sorted(office.root.glob("weather*.json")))
    folder = ["-o", office.out / job, *office.options(), "--as-of", office.now().isoformat()]
    return ["reissue", job, "-w", weather, *folder, *random.choice([["--anyway"], []])]


def _archive(_: Random, office: Office) -> list[object]:
    return ["archive", office.out, "--to", *office.options()[1:]]


def _send(random: Random, office: Office) -> list[object]:
    jobs = random.sample(office.jobs, 2)
    return ["--settings", office.root / "settings.toml", "send", *(office.out / each for each in jobs)]


WRITERS: dict[str, Callable[[Random, Office], list[object]]] = {
    "watch": _watch,
    "reissue": _reissue,
    "archive": _archive,
    "send": _send,
}


class _MailServer:
    """Takes every message, and notes it before it says so."""

    def __init__(self, file: Path) -> None:
        self._file = file

    def mail(self, _: str) -> tuple[int, bytes]:
        return 250, b"ok"

    rcpt = mail

    def data(self, content: bytes) -> tuple[int, bytes]:
        line = f"{message_from_bytes(content)['Message-ID']}\n".encode()
        handle = os.open(self._file, os.O_WRONLY | os.O_APPEND)
        os.write(handle, line)
        os.close(handle)
        return 250, b"taken"


@contextmanager
def _surroundings(random: Random, office: Office) -> Iterator[None]:
    """Have a weather service and a mail server that answer at once."""

    def forecast(*_: object, now: datetime, **__: object) -> Download:
        return Download(_hourly(round(random.uniform(-8, 8), 1)), "open-meteo", "https://example.org", now)

    @contextmanager
    def connection(*_: object) -> Iterator[Any]:
        yield _MailServer(office.server)

    with ExitStack() as patched:
        patched.enter_context(patch("handover.weather.download.download_forecast", forecast))
        patched.enter_context(patch.object(sending, "_connection", connection))
        patched.enter_context(patch("handover.cli.archive.now", office.now))
        patched.enter_context(quick())
        yield


def _write(name: str, seed: str, office: Office, said: Path) -> int:
    """Run one command in this process, its words to a file; return its exit status."""
    random = Random(seed)  # noqa: S311 - no secret
    arguments = [str(each) for each in WRITERS[name](random, office)]
    handle = os.open(said, os.O_WRONLY | os.O_CREAT)
    os.dup2(handle, 1)
    os.dup2(handle, 2)
    sys.stdout = sys.stderr = open(1, "w", encoding="utf-8", closefd=False, buffering=1)  # noqa: SIM115
    with _surroundings(random, office):
        status = main(arguments)
    sys.stdout.flush()
    return status


# ---- what holds


class Issues:
    """Every issue that was seen in the archive: none is ever lost or changed."""

    def __init__(self) -> None:
        self.seen: dict[tuple[str, int], str] = {}

    def check(self, archive: Archive, job: str) -> list[str]:
        """Return what is wrong with the bag of a job, which is locked meanwhile."""
        faults = []
        with archive.lock(job):
            bag = archive.bag(job)
            found = {
                (job, each): sha256(bag.issue(each)["schedule.json"]).hexdigest() for each in bag.revisions
            }
        if list(bag.revisions) != list(range(1, len(bag.revisions) + 1)):
            faults.append(f"{job}: revisions {bag.revisions}")
        for key, digest in self.seen.items():
            if key[0] == job and found.get(key) != digest:
                faults.append(f"{job}: revision {key[1]} is {'changed' if key in found else 'lost'}")
        self.seen |= found
        return faults


def check_open(office: Office, issues: Issues) -> list[str]:
    """Return what does not open while others write: sets, bags, the catalog."""
    faults = []
    for job in office.jobs:
        earlier = check_folder(office.out / job, job)
        faults += [] if earlier else [f"{job}: the set is lost"]
    with office.archive() as archive:
        known = {each.job for each in archive.catalog.entries()}
        faults += [f"{job}: not in the catalog" for job in sorted({*office.jobs} - known)]
        for job in office.jobs:
            faults += issues.check(archive, job)
    return faults


def check_end(office: Office, issues: Issues) -> list[str]:
    """Return what is wrong once every writer has ended and all of it is archived once more."""
    faults = []
    for expected in ("", "already archived"):
        with _surroundings(NO_DRAWS, office):
            said = command(*_archive(NO_DRAWS, office))
        if said.status or (expected and f"{JOBS} {expected}" not in said.text):
            faults.append(f"archive: {said.text}")
    faults += check_open(office, issues)
    with office.archive() as archive:
        recover(archive)
        report = verify_archive(archive)
        faults += [] if report.sound else [f"verify: {report}"]
        entries = sorted((archive.bag(each).entry for each in office.jobs), key=lambda each: each.job)
        in_catalog = sorted(archive.catalog.entries(), key=lambda each: each.job)
        faults += [] if in_catalog == entries else ["the catalog differs from the bags"]
        faults += [f"{each} is left in the archive" for each in [*archive.pending(), *archive.strays()]]
        for job in office.jobs:
            faults += _faults_of_job(office, archive, job)
    twice = [each for each, count in Counter(office.server.read_text().split()).items() if count > 1]
    return [*faults, *(f"{each} was sent twice" for each in twice)]


def _faults_of_job(office: Office, archive: Archive, job: str) -> list[str]:
    """Return what is wrong with a set in its folder, with what lies beside it, and with its bag."""
    folder, faults = contents(office.out / job), []
    if "schedule.json" not in folder:
        return [f"{job}: the set is lost"]
    bag = archive.bag(job)
    read_schedule(folder["schedule.json"])
    last = bag.issue(bag.revisions[-1])
    if any(folder.get(name) != data for name, data in last.items()):
        faults.append(f"{job}: the set in the folder is not the last one of the bag")
    laid = {name: data for name, data in _laid(office, job).items() if folder.get(name) != data}
    faults += [f"{job}: {name} is lost from the folder" for name in laid]
    kept = {sha256(bag.read(each)).hexdigest() for each in bag.payload if "/beside/" in each}
    for name, data in _laid(office, job).items():
        if sha256(data).hexdigest() not in kept:
            faults.append(f"{job}: {name} is not in the bag")
    if f"slab-{job[-1]}" in office.server.read_text() and "sent.json" not in folder:
        faults.append(f"{job}: sent.json is lost")
    left = [each.name for each in office.out.iterdir() if re.search(r"issuing|earlier", each.name)]
    return [*faults, *(f"{each} is left over" for each in left)]


def _laid(office: Office, job: str) -> dict[str, bytes]:
    """Return what somebody laid beside a set."""
    more = (each for each in (office.root / "laid").glob(f"{job}-*"))
    return BESIDE | {f"photos/{each.name}": each.read_bytes() for each in more}


# ---- the run


class Running(NamedTuple):
    """A process at work: its writer, the file of its words, when it began, and when it is killed."""

    writer: str
    said: Path
    began: float
    until: float


@dataclass
class Tally:
    """What came of a writer."""

    runs: int = 0
    seconds: list[float] = field(default_factory=lambda: [FIRST_LIFE_S])
    kills: int = 0
    gave_way: int = 0
    refused: int = 0
    faults: list[str] = field(default_factory=list)


class LongRun:
    """Keeps processes at work on an office, kills some, and checks after each kill."""

    def __init__(self, office: Office, seed: int) -> None:
        self.office = office
        self.issues = Issues()
        self.tallies = {each: Tally() for each in WRITERS}
        self.words: Counter[str] = Counter()
        self._random = Random(seed)  # noqa: S311 - no secret
        self._running: dict[int, Running] = {}
        self._count = 0
        (office.root / "said").mkdir()
        (office.root / "laid").mkdir()

    @property
    def faults(self) -> list[str]:
        """All faults."""
        return [each for tally in self.tallies.values() for each in tally.faults]

    def run(self, goes_on: Callable[[], bool], processes: int = PROCESSES) -> None:
        """Write while that goes on; end with all checks."""
        while goes_on():
            while len(self._running) < processes:
                self._begin()
            self._lay_photo()
            time.sleep(0.02)
            self._kill_late()
            self._reap()
        while self._running:
            time.sleep(0.02)
            self._kill_late()
            self._reap()
        self._check("archive", check_end)

    def _begin(self) -> None:
        random, self._count = self._random, self._count + 1
        name, seed = random.choice(list(WRITERS)), str(random.random())
        said = self.office.root / "said" / f"{self._count}-{name}"
        took = self.tallies[name].seconds
        life = random.uniform(0, median(took[-9:])) if random.random() < KILLED else inf
        write_file(self.office.root / f"weather-{self._count % 9}.json", _hourly(random.uniform(-8, 8)))
        child = self._fork(lambda: _write(name, seed, self.office, said))
        began = time.monotonic()
        self._running[child] = Running(name, said, began, began + life)

    @staticmethod
    def _fork(work: Callable[[], int]) -> int:
        if child := os.fork():
            return child
        status = 99
        try:
            status = work()
        except BaseException:  # noqa: BLE001 - whatever it is, the file of words has it
            os.write(2, traceback.format_exc().encode())
        finally:
            os._exit(status)

    def _lay_photo(self) -> None:
        """Lay a photo beside a set, as a person does at any time."""
        if self._random.random() > 0.02:  # one in a second
            return
        job, number = self._random.choice(self.office.jobs), self._count
        data = f"photo {number} of {job}".encode() * 50
        with (self.office.root / "laid" / f"{job}-{number}.jpg").open("wb") as kept:
            kept.write(data)
        (self.office.out / job / "photos" / f"{job}-{number}.jpg").write_bytes(data)

    def _kill_late(self) -> None:
        for child, each in self._running.items():
            if time.monotonic() > each.until:
                os.kill(child, signal.SIGKILL)

    def _reap(self) -> None:
        for child in [*self._running]:
            ended, status = os.waitpid(child, os.WNOHANG)
            if ended:
                self._end(self._running.pop(child), os.waitstatus_to_exitcode(status))

    def _end(self, was: Running, code: int) -> None:
        tally = self.tallies[was.writer]
        tally.runs += 1
        if code == -signal.SIGKILL:
            tally.kills += 1
            self._check(was.writer, check_open)
            return
        tally.seconds.append(time.monotonic() - was.began)
        text = was.said.read_text("utf-8", "replace")
        gave_way = any(each in text for each in WAITS)
        if code not in {0, 1, 2} or "error in the program itself" in text or "Traceback" in text:
            tally.faults.append(f"exit {code}: {text}")
        elif code:
            tally.gave_way += gave_way
            tally.refused += not gave_way
            self.words[f"{was.writer}, exit {code}: {re.sub(r'[0-9]+', '0', text)[-400:]}"] += not gave_way

    def _check(self, writer: str, check: Callable[[Office, Issues], list[str]]) -> None:
        try:
            found = check(self.office, self.issues)
        except Exception:  # noqa: BLE001 - whatever it is, it is a fault
            found = [traceback.format_exc()]
        self.tallies[writer].faults += found

    def report(self) -> Iterator[str]:
        """Yield the lines of the table, then each fault."""
        yield f"{'writer':<10}{'runs':>8}{'kills':>8}{'gave way':>10}{'refused':>9}{'faults':>8}"
        for name, each in self.tallies.items():
            waits = f"{each.gave_way:>10}{each.refused:>9}"
            yield f"{name:<10}{each.runs:>8}{each.kills:>8}{waits}{len(each.faults):>8}"
        issues = len(self.issues.seen)
        sent = len(self.office.server.read_text().split())
        yield f"{issues} issues of {JOBS} jobs archived, {sent} messages sent"
        yield from (f"{count} times {words}" for words, count in self.words.most_common(5) if count)
        yield from self.faults


@contextmanager
def database(name: str) -> Iterator[str | None]:
    """Give the URL of an empty PostgreSQL of our own; None for SQLite."""
    if name == "sqlite":
        yield None
        return
    shared = suite("conftest.py")
    with shared.run_postgresql() as server:
        yield shared.empty_database_of(server)
