"""What the tests of whole runs share: invented records and weather, issued jobs, a way to run a command.

And a PostgreSQL of our own, for the catalog. What takes its time is made once for the whole session, by
whichever of its workers asks first, and nobody writes there.
"""

from __future__ import annotations

import gc
import json
import logging
import os
import pickle
import select
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
import tomllib
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import astuple
from datetime import datetime, timedelta
from functools import cache, lru_cache, partial
from hashlib import sha256
from math import cos, pi
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple, Self, TextIO

import pytest
from filelock import FileLock
from hypothesis import HealthCheck, settings

from handover.cli import main

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator, Sequence

    from handover.documents.pages import Paper
    from handover.documents.pdf import Attachment
    from handover.documents.quantity_format import Units
    from handover.schedule.model import CureSchedule
    from handover.schedule.simulation import Simulation
    from handover.service.job_inputs import JobInputs

ROOT = Path(__file__).parents[1]

LIMIT_S = 600.0
"""How long a test waits for anything before it fails: a busy machine may take its time."""

# One thread for linear algebra: the matrices are small, and the workers of the suite share the cores.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# A hundred processes begin: each would compile what it imports if none may keep the bytecode.
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)

# What a session keeps is searched for garbage less often: `handover` itself collects none.
gc.set_threshold(200_000, 20, 100)

# A test says how wide a line is: readline, which pytest loads, says 80 to all processes that it begins.
for each in ("COLUMNS", "LINES"):
    os.environ.pop(each, None)
    os.unsetenv(each)

# No settings but those of a test: neither the file nor the environment of whoever runs the suite.
os.environ["XDG_CONFIG_HOME"] = str(Path(os.devnull) / "no-settings")  # never a folder
os.environ["XDG_CACHE_HOME"] = str(Path(os.devnull) / "no-cache")  # nor what an earlier run has kept
for each in [name for name in os.environ if name.startswith("HANDOVER_")]:
    if each not in {"HANDOVER_WEATHER", "HANDOVER_CASES", "HANDOVER_ACCEPT_PICTURES"}:  # of the suite itself
        del os.environ[each]

# Property tests draw the same cases on every run and are not timed: the machine may be busy.
settings.register_profile(
    "suite", derandomize=True, deadline=None, database=None, suppress_health_check=[HealthCheck.too_slow]
)
settings.load_profile("suite")


# ---- the suite in several processes -----------------------------------------------------------------


@pytest.hookimpl(tryfirst=True)
def pytest_configure(config: pytest.Config) -> None:
    """Give the folders of a worker a short name: paths are printed in lines, and these are broken."""
    if hasattr(config, "workerinput") and config.option.basetemp:
        given = Path(config.option.basetemp)
        config.option.basetemp = str(given.with_name(given.name.removeprefix("popen-gw")))


@pytest.fixture
def wide(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have lines into which the longest path fits."""
    monkeypatch.setenv("COLUMNS", "1000")
    monkeypatch.setattr("handover.cli.output.MAX_WIDTH", 1000)


LONGEST = (
    *("schedule/test_backtest.py", "schedule/test_order.py", "test_workers.py", "documents/test_pages.py"),
    *("documents/test_layout.py", "schedule/test_rule_selection.py", "archive/test_kill.py"),
    *("schedule/test_measurements.py", "schedule/test_joints.py", "schedule/test_plan.py", "test_batch.py"),
)
"""Files that begin first: what takes long at the end of the suite leaves the other workers idle."""


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Keep the tests of a file in one worker, for what they share, unless the file says `spread`.

    The longest files begin first.
    """
    for item in items:
        if not any(item.iter_markers("spread")) and not any(item.iter_markers("xdist_group")):
            item.add_marker(pytest.mark.xdist_group(item.location[0]))
    items.sort(key=lambda item: not item.location[0].removeprefix("tests/").startswith(LONGEST))


@pytest.hookimpl(tryfirst=True)
def pytest_collection_finish(session: pytest.Session) -> None:
    """Name each test with its group, by which pytest-xdist keeps tests in one worker.

    pytest-xdist 3.8 writes that name into an attribute that pytest reads no longer since 9.2.
    """
    for item in session.items:
        name = vars(item).get("_nodeid", item.nodeid)
        if name != item.nodeid:
            item._id = type(item._id).parse(name)  # type: ignore[attr-defined]


@pytest.fixture(scope="session")
def once(tmp_path_factory: pytest.TempPathFactory, worker_id: str) -> Callable[..., Path]:
    """Give the maker of folders that all workers of the session share; the first who asks fills one.

    A folder that a failure left half filled is filled anew by the next who asks.
    """
    folder = tmp_path_factory.getbasetemp()
    shared = folder if worker_id == "master" else folder.parent

    def folder_of(name: str, fill: Callable[[Path], None]) -> Path:
        whole = shared / f"{name}-shared"
        with FileLock(shared / f"{name}.lock"):
            if not whole.exists():
                half = shared / f"{name}-half"
                shutil.rmtree(half, ignore_errors=True)
                half.mkdir()
                fill(half)
                half.rename(whole)
        return whole

    return folder_of


@pytest.fixture(scope="session")
def until() -> Callable[..., None]:
    """Give the waiting for a condition."""

    def wait_until(condition: Callable[[], object], otherwise: str) -> None:
        end = time.monotonic() + LIMIT_S
        while not condition():
            assert time.monotonic() < end, otherwise
            time.sleep(0.01)

    return wait_until


@pytest.fixture
def our_log(caplog: pytest.LogCaptureFixture, monkeypatch: pytest.MonkeyPatch) -> pytest.LogCaptureFixture:
    """Return what the program logs, though a library of another test switched all logs off."""
    monkeypatch.setattr(logging.getLogger("handover"), "disabled", False)
    return caplog


# ---- processes that begin with everything imported ------------------------------------------------------


class WarmRun:
    """A run in a copy of `warm_process.py`: the part of `subprocess.Popen` that tests of processes use."""

    def __init__(self, orders: socket.socket, code: str, arguments: Sequence[object], **more: Any) -> None:
        order = {
            "code": code,
            "arguments": [*map(str, arguments)],
            "env": dict(os.environ),
            "cwd": str(Path.cwd()),
        }
        out, self.stdout = _reader(more.pop("stdout", None), 1)
        err, self.stderr = _reader(more.pop("stderr", None), 2)
        ends, end = os.pipe()
        socket.send_fds(orders, [json.dumps(order | more).encode()], [out, err, end])
        for each, wanted in ((out, self.stdout), (err, self.stderr), (end, True)):
            if wanted:
                os.close(each)
        self._ends = os.fdopen(ends, encoding="ascii")
        self.pid = int(self._ends.readline())
        self.returncode: int | None = None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.wait()
        self._close()

    def poll(self) -> int | None:
        """Return the exit status, or None while it runs."""
        return self.wait(0.0)

    def kill(self) -> None:
        """End it at once, if it runs."""
        if self.poll() is None:
            os.kill(self.pid, signal.SIGKILL)

    def wait(self, timeout_s: float | None = None) -> int | None:
        """Wait for the end, or so long; return the exit status, or None while it runs."""
        if self.returncode is None and select.select([self._ends], [], [], timeout_s)[0]:
            self.returncode = int(self._ends.readline())
            self._ends.close()
        return self.returncode

    def communicate(self) -> tuple[str | None, str | None]:
        """Return what it printed, and its errors, where these were asked for; wait for its end."""
        with ThreadPoolExecutor(2) as both:
            out, err = both.map(lambda each: each and each.read(), (self.stdout, self.stderr))
        self.wait()
        self._close()
        return out, err

    def _close(self) -> None:
        for each in (self.stdout, self.stderr):
            if each is not None:
                each.close()


def _reader(wanted: int | None, ours: int) -> tuple[int, TextIO | None]:
    """Return the file for an output of a run, and the end to read from if that is a new pipe."""
    if wanted == subprocess.PIPE:
        reading, writing = os.pipe()
        return writing, os.fdopen(reading, encoding="utf-8")
    return (ours if wanted is None else wanted), None


@pytest.fixture(scope="session")
def warm() -> Iterator[Callable[..., WarmRun]]:
    """Give the beginning of runs in copies of one process that has imported the program.

    Its arguments are the code, as of `python -c`, and its arguments; by name `stdout` and `stderr` as of
    `subprocess.Popen`, `env` and `cwd`. Not for tests of what happens while Python starts.
    """
    ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    command = [sys.executable, str(ROOT / "tests" / "warm_process.py"), str(theirs.fileno())]
    with subprocess.Popen(command, pass_fds=[theirs.fileno()]), ours:
        theirs.close()
        yield partial(WarmRun, ours)


# ---- a replacement of the PDF engine ------------------------------------------------------------------


@contextmanager
def no_pdf_engine() -> Iterator[None]:
    """Replace each PDF by bytes that follow from page and attachments: the engine takes most of an issue."""

    def render_pdf(html: str, attachments: Sequence[Attachment] = ()) -> bytes:
        parts = (html.encode(), *(each.content for each in attachments))
        return b"%PDF-1.7\n% stand-in " + b" ".join(sha256(each).hexdigest().encode() for each in parts)

    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("handover.documents.pages.render_pdf", render_pdf)
        patched.setattr("handover.service.pdf_workers.core_count", lambda: 1)  # no process has the stand-in
        yield


@pytest.fixture(scope="session")
def without_pdf_engine() -> Callable[..., Any]:
    """Give the stand-in to fixtures that outlive a test, as a context."""
    return no_pdf_engine


def shared_render(once: Callable[..., Path], html: str, attachments: Sequence[Attachment] = ()) -> bytes:
    """Return a document as PDF, of which equal ones are rendered once a session, for all of its workers."""
    from handover.documents import pdf  # noqa: PLC0415 - heavy

    def fill(folder: Path) -> None:
        (folder / "pdf").write_bytes(pdf.render_pdf(html, attachments))

    digest = sha256(repr((html, [astuple(each) for each in attachments])).encode()).hexdigest()
    return (once(f"pdf-{digest}", fill) / "pdf").read_bytes()


@pytest.fixture(scope="session")
def render_once(once: Callable[..., Path]) -> Callable[..., bytes]:
    """Give `shared_render` to fixtures that outlive a test."""
    return partial(shared_render, once)


@contextmanager
def rendered_once(once: Callable[..., Path]) -> Iterator[None]:
    """Have the engine render equal pages with equal files inside once a session."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr("handover.documents.pages.render_pdf", partial(shared_render, once))
        patched.setattr("handover.service.pdf_workers.core_count", lambda: 1)  # no process shares them
        yield


@pytest.fixture
def shared_pdf(once: Callable[..., Path]) -> Iterator[None]:
    """Have the engine render equal pages with equal files inside once a session, for all of its workers.

    Not for tests that compare two runs of the engine, unless one of the two is in another process.
    """
    with rendered_once(once):
        yield


@lru_cache(maxsize=12)
def simulate_pickled(inputs: bytes) -> Simulation:
    """Return the simulation of a job, its weather and what else `simulate` takes."""
    from handover.schedule.simulation import simulate  # noqa: PLC0415 - heavy

    arguments, options = pickle.loads(inputs)  # noqa: S301 - our own
    return simulate(*arguments, **options)


@pytest.fixture
def shared_simulations(monkeypatch: pytest.MonkeyPatch) -> Callable[[], None]:
    """Have `plan_cure` use a simulation again that was made of equal inputs: it is a value.

    Return the function after which all are made again, for tests that compare two runs.
    """
    from handover.schedule import plan  # noqa: PLC0415 - heavy

    def simulate_once(*arguments: object, **options: object) -> Simulation:
        return simulate_pickled(pickle.dumps((arguments, options)))

    def forget() -> None:
        simulate_pickled.cache_clear()
        plan_pickled.cache_clear()

    monkeypatch.setattr(plan, "simulate", simulate_once)
    return forget


@lru_cache(maxsize=64)
def plan_pickled(inputs: bytes) -> bytes:
    """Return the schedule of what `plan_cure` takes; both pickled, so that nobody changes the one kept."""
    from handover.schedule.plan import plan_cure  # noqa: PLC0415 - heavy

    arguments, options = pickle.loads(inputs)  # noqa: S301 - our own
    return pickle.dumps(plan_cure(*arguments, **options))


@pytest.fixture(scope="session")
def plan_once() -> Callable[..., CureSchedule]:
    """Give `plan_cure` that uses a schedule again that was computed from equal inputs in this process."""

    def plan(*arguments: object, **options: object) -> CureSchedule:
        schedule: CureSchedule = pickle.loads(plan_pickled(pickle.dumps((arguments, options))))  # noqa: S301
        return schedule

    return plan


@pytest.fixture
def shared_schedules(monkeypatch: pytest.MonkeyPatch, plan_once: Callable[..., CureSchedule]) -> None:
    """Have the services use a schedule again that was computed from equal inputs in this process.

    So do the reasons of its changes. Not for tests that compare two runs, unless one of the two is in another
    process.
    """
    from handover.schedule import reasons  # noqa: PLC0415 - heavy
    from handover.service import inputs  # noqa: PLC0415 - heavy

    for module in (inputs, reasons):
        monkeypatch.setattr(module, "plan_cure", plan_once)


FEW = 8
"""Members of an ensemble whose quantiles are no test's subject."""


@contextmanager
def plan_with_few_members() -> Iterator[None]:
    """Have the services compute a schedule, and the reasons of its changes, with few members."""
    from handover.schedule import reasons  # noqa: PLC0415 - heavy
    from handover.service import inputs  # noqa: PLC0415 - heavy

    with pytest.MonkeyPatch.context() as patched:
        for module in (inputs, reasons):
            patched.setattr(module, "plan_cure", partial(module.plan_cure, members=FEW))
        yield


@pytest.fixture
def few_members(request: pytest.FixtureRequest) -> Iterator[None]:
    """Have the services compute a schedule with few members: for tests of what is done with schedules.

    Not for tests that compare a run in another process.
    """
    if "shared_schedules" in request.fixturenames:  # first, because it replaces the same function
        request.getfixturevalue("shared_schedules")
    with plan_with_few_members():
        yield


@pytest.fixture(scope="session")
def with_few_members() -> Callable[..., Any]:
    """Give the same to fixtures that outlive a test, as a context."""
    return plan_with_few_members


@pytest.fixture
def short_sheets(monkeypatch: pytest.MonkeyPatch) -> None:
    """Have sheets of one line, with head, style and files inside as ever: for tests of no other contents."""
    from handover.documents import pages  # noqa: PLC0415 - heavy

    def shorten(make: Callable[..., str]) -> Callable[..., str]:
        def shortened(*arguments: Any, **options: Any) -> str:
            head, _, body = make(*arguments, **options).partition("<body")
            return f"{head}<body{body.partition('>')[0]}><p>{len(body)}</p></body></html>"

        return shortened

    for name in ("care_sheet_html", "crew_sheet_html", "data_sheet_html"):
        shortened = shorten(getattr(pages, name))
        for module in ("handover.documents.pages", "handover.service.render"):
            monkeypatch.setattr(f"{module}.{name}", shortened, raising=False)


@pytest.fixture
def stand_in_pdf(request: pytest.FixtureRequest) -> Iterator[None]:
    """Replace PDFs where no test reads one; the mark `pdf_engine` excludes a test of a file."""
    if request.node.get_closest_marker("pdf_engine"):
        yield
        return
    with no_pdf_engine():
        yield


RECORD = """\
id = "2026-07-14-test-slab"

[site]
name = "Test slab"
latitude = 36.10
longitude = -79.95
timezone = "America/New_York"

[owner]
name = "Ana Prueba"
email = "ana@example.org"

[contractor]
name = "Example Flatwork"
phone = "555-0142"
email = "office@example.com"

[slab]
use = "garage floor"
length = "34 ft"
width = "26 ft"
thickness = "5 in"
on = "gravel"

[placement]
start = 2026-07-14T06:40:00
end = 2026-07-14T08:05:00
finished = 2026-07-14T12:10:00
concrete_temperature = "84 degF"

[mix]
specified_strength = "3000 psi"
cement = "I"
cementitious = "564 lb/yd3"
water_cementitious = 0.50

[curing]
method = "sprinkler"
"""


class CommandResult(NamedTuple):
    """The result of a command."""

    status: int
    out: str
    err: str


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Callable[..., CommandResult]:
    """Run a command line in this process, the PDF engine as well: each set would load it in two more."""
    monkeypatch.setattr("handover.service.pdf_workers.core_count", lambda: 1)

    def run_command(*arguments: object) -> CommandResult:
        status = main([str(each) for each in arguments])
        return CommandResult(status, *capsys.readouterr())

    return run_command


def hourly_answer(first: str = "2026-07-14T00:00", days: int = 10, **changes: object) -> dict[str, object]:
    """Return invented summer weather in the shape of an Open-Meteo answer: days of 18 to 32 degC, no rain."""
    start = datetime.fromisoformat(first)
    hours = range(24 * days)
    sun = [max(0.0, -cos(2 * pi * ((hour - 4) % 24) / 24)) for hour in hours]
    answer: dict[str, object] = {
        "latitude": 36.1,
        "longitude": -79.95,
        "utc_offset_seconds": 0,
        "timezone": "GMT",
        "elevation": 270.0,
        "hourly_units": {
            "time": "iso8601",
            "temperature_2m": "°C",
            "relative_humidity_2m": "%",
            "wind_speed_10m": "km/h",
            "cloud_cover": "%",
            "shortwave_radiation": "W/m²",
            "precipitation": "mm",
            "precipitation_probability": "%",
        },
        "hourly": {
            "time": [(start + timedelta(hours=hour)).isoformat(timespec="minutes") for hour in hours],
            "temperature_2m": [round(25 - 7 * cos(2 * pi * ((hour - 8) % 24) / 24), 1) for hour in hours],
            "relative_humidity_2m": [round(65 + 20 * cos(2 * pi * ((hour - 8) % 24) / 24)) for hour in hours],
            "wind_speed_10m": [10.0 for _ in hours],
            "cloud_cover": [20 for _ in hours],
            "shortwave_radiation": [round(850 * share) for share in sun],
            "precipitation": [0.0 for _ in hours],
            "precipitation_probability": [5 for _ in hours],
        },
    }
    return answer | changes


@pytest.fixture(scope="session")
def hourly() -> Callable[..., dict[str, object]]:
    """Give the maker of invented weather."""
    return hourly_answer


@pytest.fixture(scope="session")
def record_text() -> str:
    """Return the text of an invented record that can be used."""
    return RECORD


@pytest.fixture(scope="session")
def issue_into(
    without_pdf_engine: Callable[..., Any], with_few_members: Callable[..., Any]
) -> Callable[[Path, datetime], None]:
    """Give the issue of the invented job into a folder: its record, its weather, and its set in `out`."""
    from handover.service.issuing import issue  # noqa: PLC0415 - heavy

    def issue_job(folder: Path, as_of: datetime) -> None:
        (folder / "job.toml").write_text(RECORD, encoding="utf-8")
        (folder / "weather.json").write_text(json.dumps(hourly_answer()), encoding="utf-8")
        with without_pdf_engine(), with_few_members():
            issue(folder / "job.toml", folder / "weather.json", as_of=as_of).write(folder / "out")

    return issue_job


@pytest.fixture
def record(tmp_path: Path, record_text: str) -> Path:
    """Write the record to a file."""
    file = tmp_path / "job.toml"
    file.write_text(record_text, encoding="utf-8")
    return file


@pytest.fixture
def weather(tmp_path: Path) -> Path:
    """Write weather that fits the record to a file."""
    file = tmp_path / "weather.json"
    file.write_text(json.dumps(hourly_answer()), encoding="utf-8")
    return file


@pytest.fixture(scope="session")
def as_of() -> str:
    """Return a time of issue that fits record and weather."""
    return "2026-07-14T12:30:00-04:00"


@pytest.fixture
def shared_weather() -> Path:
    """Return the folder of real weather, or skip."""
    folder = Path(os.environ.get("HANDOVER_WEATHER") or ROOT.parent / "shared" / "weather")
    if not folder.is_dir():
        pytest.skip("the folder of real weather is not here (HANDOVER_WEATHER)")
    return folder


# ---- issued jobs ------------------------------------------------------------------------------------

GARAGE = """
[[walkthrough]]
item = "Edge by the water line"
ok = false
note = "Honeycomb; Prueba asked to have it rubbed."
"""

PATIO = """
[acknowledgement]
name = "=cmd|' /C calc'!A0"
time = 2026-07-15T09:00:00
remarks = "Beautiful broom finish"

[[cylinder]]
tested = 2026-08-11T06:40:00
strength = "2500 psi"
"""


@pytest.fixture(scope="session")
def issued(once: Callable[..., Path]) -> Path:
    """Issue three invented jobs; return the folder in which each has a folder. Nothing is written there.

    Tests that archive, find or send a set read no PDF, so these are replaced.

    garage: summer, joints to saw, forms to strip, something of the walk-through to mend.
    shop: November, frost in the week.
    patio: summer, four weeks old, a cylinder that broke low; acknowledged by an owner whose name a
        spreadsheet or a terminal might obey.
    """

    def issue_three_quickly(folder: Path) -> None:
        with no_pdf_engine():
            issue_three(folder)

    return once("issued", issue_three_quickly)


@pytest.fixture(scope="session")
def sample_arguments() -> Callable[[str], list[object]]:
    """Give the arguments that issue a sample offline, an hour after its finishing or its last concrete."""
    from handover import read_job  # noqa: PLC0415 - heavy

    def arguments(name: str) -> list[object]:
        sample = ROOT / "sample_jobs" / name
        placement = tomllib.loads((sample / "job.toml").read_text(encoding="utf-8"))["placement"]
        done = placement.get("finished", placement["end"]) + timedelta(hours=1)
        at = done.replace(tzinfo=read_job(sample / "job.toml").zone).isoformat()
        (weather,) = (each for each in sample.iterdir() if each.stem == "weather")
        return ["issue", sample / "job.toml", "-w", weather, "--as-of", at]

    return arguments


@pytest.fixture(scope="session")
def issue_sample(
    once: Callable[..., Path], sample_arguments: Callable[[str], list[object]]
) -> Callable[[str], Path]:
    """Give the issue of a sample in this process, made once a session; nothing is written to its folder."""

    def issue(name: str) -> Path:
        def fill(folder: Path) -> None:
            with rendered_once(once):
                assert main([*map(str, sample_arguments(name)), "-o", str(folder / "set")]) == 0, name

        return once(f"sample-{name}", fill) / "set"

    return issue


@pytest.fixture(scope="session")
def sample_inputs(
    once: Callable[..., Path], sample_arguments: Callable[[str], list[object]]
) -> Callable[[str], tuple[JobInputs, CureSchedule]]:
    """Give what is received of a sample, and its schedule at the same time of issue, computed once."""
    from handover.service.inputs import compute  # noqa: PLC0415 - heavy
    from handover.service.issuing import check_request, read_request  # noqa: PLC0415 - heavy

    @cache
    def inputs(name: str) -> tuple[JobInputs, CureSchedule]:
        _, record, _, weather, _, at = sample_arguments(name)
        as_of = datetime.fromisoformat(str(at))

        def fill(folder: Path) -> None:
            received = check_request(read_request(Path(str(record)), Path(str(weather)), as_of))
            (folder / "inputs").write_bytes(pickle.dumps((received, compute(received, as_of))))

        kept = (once(f"inputs-{name}", fill) / "inputs").read_bytes()
        found: tuple[JobInputs, CureSchedule] = pickle.loads(kept)  # noqa: S301 - our own
        return found

    return inputs


EDITIONS: dict[str, tuple[str, Paper, Units]] = {
    "en-letter": ("en", "letter", "us"),
    "en-a4": ("en", "a4", "si"),
    "es-letter": ("es", "letter", "us"),
    "es-a4": ("es", "a4", "si"),
}
"""The readers for whom `sample_sheet` renders."""


@pytest.fixture(scope="session")
def sample_sheet(
    once: Callable[..., Path], sample_inputs: Callable[[str], tuple[JobInputs, CureSchedule]]
) -> Callable[[str, str, str], bytes]:
    """Give a sheet of an edition of a sample, as it is issued, by its kind; rendered once."""
    from handover.documents import pages  # noqa: PLC0415 - heavy
    from handover.documents.calendars import owner_calendar  # noqa: PLC0415 - heavy
    from handover.documents.schedule_json import schedule_json  # noqa: PLC0415 - heavy
    from handover.documents.wording import Wording  # noqa: PLC0415 - heavy
    from handover.service.job_inputs import unique_names  # noqa: PLC0415 - heavy

    def render(kind: str, sample: str, edition: str) -> bytes:
        language, paper, units = EDITIONS[edition]
        received, schedule = sample_inputs(sample)
        words = Wording(received.job, schedule, language=language, units=units)
        inside = pages.embedded_files(
            words,
            schedule=schedule_json(schedule),
            calendar=owner_calendar(words),
            record=next(iter(unique_names(received.files.items()).items())),
        )
        if kind == "care":
            return shared_render(
                once, pages.care_sheet_html(words, paper=paper, pictures=received.pictures), inside
            )
        if kind == "crew":
            return shared_render(once, pages.crew_sheet_html(words, paper=paper), ())
        return shared_render(once, pages.data_sheet_html(words, paper=paper), inside)

    return cache(render)


def issue_three(folder: Path) -> None:
    """Issue the three jobs into a folder."""
    summer, cold = hourly_answer(), hourly_answer("2026-11-10T00:00")
    for hour, each in enumerate(cold["hourly"]["temperature_2m"]):
        cold["hourly"]["temperature_2m"][hour] = round(each - (20 if hour < 60 else 28), 1)
    site = 'name = "Test slab"'
    garage = RECORD.replace(site, f'{site}\naddress = "118 Alder Lane, Greensboro"') + GARAGE
    shop = (
        RECORD.replace("2026-07-14", "2026-11-10").replace("test-slab", "shop").replace(site, 'name = "Mill"')
    )
    patio = (
        RECORD.replace("test-slab", "patio")
        .replace("Ana Prueba", "=cmd|' /C calc'!A0 [red]")
        .replace(site, 'name = "Patio"')
    )
    patio = patio.replace("[mix]", '[mix]\nsupplier = "Copper Kettle Ready Mix"') + PATIO
    for name, record, weather, at in (
        ("garage", garage, summer, "2026-07-14T12:30:00-04:00"),
        ("shop", shop, cold, "2026-11-10T12:30:00-05:00"),
        ("patio", patio, summer, "2026-08-11T09:30:00-04:00"),
    ):
        job, hours = folder / f"{name}.toml", folder / f"{name}.json"
        job.write_text(record, encoding="utf-8")
        hours.write_text(json.dumps(weather), encoding="utf-8")
        command = ["issue", job, "-w", hours, "-o", folder / name, "--as-of", at]
        assert main([str(each) for each in command]) == 0, name


# ---- PostgreSQL -------------------------------------------------------------------------------------


@contextmanager
def run_postgresql() -> Iterator[Path]:
    """Start a PostgreSQL of our own; give the folder of its socket. It listens nowhere else."""
    programs = _postgresql_programs()
    folder = Path(tempfile.mkdtemp(prefix="pg-", dir="/tmp"))  # a socket's path must be short
    as_user: list[str] = []
    if os.getuid() == 0:  # PostgreSQL refuses to run as root
        shutil.chown(folder, "postgres")
        as_user = ["runuser", "-u", "postgres", "--"]
    data = folder / "data"
    options = f"-k {folder} -c listen_addresses= -c fsync=off -c shared_buffers=16MB -c autovacuum=off"

    def call(program: str, *arguments: str) -> None:
        command = [*as_user, str(programs / program), "-D", str(data), *arguments]
        subprocess.run(command, check=True, cwd=folder, stdout=subprocess.DEVNULL)

    try:
        call("initdb", "-U", "office", "-A", "trust", "-E", "UTF8", "--locale=C", "--no-sync")
        call("pg_ctl", "-w", "-t", f"{LIMIT_S:.0f}", "-l", str(folder / "log"), "-o", options, "start")
        try:
            yield folder
        finally:
            call("pg_ctl", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(folder)


@pytest.fixture(scope="session")
def postgresql() -> Iterator[Path]:
    """Give the folder of the socket of a PostgreSQL of our own."""
    with run_postgresql() as folder:
        yield folder


@pytest.fixture
def empty_database(postgresql: Path) -> str:
    """Empty the server's one database; return its URL."""
    return empty_database_of(postgresql)


def empty_database_of(postgresql: Path) -> str:
    """Empty the one database of a server; return its URL."""
    import psycopg  # noqa: PLC0415 - only where there is a server

    with psycopg.connect(f"host={postgresql} user=office dbname=postgres", autocommit=True) as server:
        server.execute("DROP SCHEMA public CASCADE")
        server.execute("CREATE SCHEMA public")
    return f"postgresql://office@/postgres?host={postgresql}"


def _postgresql_programs() -> Path:
    """Return the folder of PostgreSQL's programs, or skip loudly."""
    folders = [
        *(Path(each).parent for each in [shutil.which("initdb")] if each),
        *sorted(Path("/usr/lib/postgresql").glob("*/bin"), reverse=True),
    ]
    for folder in folders:
        if (folder / "initdb").exists():
            return folder
    pytest.skip("NO POSTGRESQL HERE: half of the catalog goes untested. apt-get install postgresql")
