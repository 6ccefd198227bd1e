"""Many jobs at once: each done once, whatever happens to its neighbours, its worker or the run."""

from __future__ import annotations

import csv
import errno
import importlib
import json
import os
import signal
import subprocess
import sys
from datetime import UTC, datetime
from functools import partial
from typing import TYPE_CHECKING, Any, cast

import psutil
import pytest

from handover.archive.store import Archive
from handover.cli.batch import _print_doubts
from handover.errors import DownloadFailed, Finding, HandoverError, RenderingFailed, UnusableInput
from handover.service import batch as batches
from handover.service import forecasts, worker_pool, workers
from handover.service.batch import Batch, BatchOutcome, find_records, run_batch
from handover.service.settings import Settings
from handover.service.worker_limits import OutOfMemory
from handover.service.workers import RenderResult, RenderTask, make_documents, run_in_processes, run_on_dask
from handover.weather.download import Download

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    Run = Callable[..., Any]

pytestmark = pytest.mark.spread
processes = pytest.mark.xdist_group("processes")
"""Not two at a time of those that begin many processes."""

JOBS = 6


def plain_documents(order: RenderTask) -> RenderResult:
    """Stand in for a worker: a set that is made at once."""
    said = {
        "job": order.inputs.job.id,
        "revision": order.revision,
        "issued_at": order.as_of.isoformat(),
        "weather": order.inputs.weather.source,
    }
    return RenderResult({"schedule.json": json.dumps(said).encode()})


WHO_WORKS = """\
import os
from handover.service.workers import RenderResult

def who_works(order):
    return RenderResult(failure=str(os.getpid()))
"""

STAND_IN = """
import json, os, signal
from pathlib import Path
from handover.service.workers import RenderResult

DIED = Path(__file__).with_name("died")

def deadly(order):
    again = DIED.exists()
    if order.name == "job-1.toml" or (order.name == "job-2.toml" and not again):
        if order.name == "job-2.toml":
            DIED.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    said = {"job": order.inputs.job.id, "revision": 1, "issued_at": order.as_of.isoformat()}
    return RenderResult({"schedule.json": json.dumps(said).encode()})
"""
"""A worker that is killed over one job always, and over another the first time."""


def here(orders: Iterator[RenderTask]) -> Iterator[tuple[RenderTask, RenderResult]]:
    """Run the tasks of stand-ins in this process."""
    return ((each, plain_documents(each)) for each in orders)


@pytest.fixture
def folder(tmp_path: Path, record_text: str) -> Path:
    """Write records that differ in their ids."""
    folder = tmp_path / "records"
    folder.mkdir()
    for number in range(JOBS):
        text = record_text.replace("2026-07-14-test-slab", f"job-{number}")
        (folder / f"job-{number}.toml").write_text(text, encoding="utf-8")
    return folder


@pytest.fixture
def made(folder: Path, weather: Path, as_of: str, tmp_path: Path) -> Callable[..., tuple[BatchOutcome, ...]]:
    """Give a function that runs a batch."""

    def run_it(with_hands: Any = here, **more: Any) -> tuple[BatchOutcome, ...]:
        what = Batch(folder, tmp_path / "out", datetime.fromisoformat(as_of), **({"weather": weather} | more))
        return run_batch(what, find_records(folder, tmp_path / "out"), with_hands)

    return run_it


def one_job(folder: Path) -> None:
    for number in range(1, JOBS):
        (folder / f"job-{number}.toml").unlink()


def states(outcomes: tuple[BatchOutcome, ...]) -> dict[str, str]:
    return {each.record: each.state for each in outcomes}


def all_of(state: str) -> dict[str, str]:
    return {f"job-{number}.toml": state for number in range(JOBS)}


def contents(folder: Path) -> dict[str, bytes]:
    files = (each for each in folder.rglob("*") if each.is_file())
    return {each.relative_to(folder).as_posix(): each.read_bytes() for each in files}


def report(folder: Path) -> list[dict[str, str]]:
    with (folder / "report.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# ---- the command


def test_the_command_makes_the_sets_that_issue_makes(
    run: Run, folder: Path, weather: Path, as_of: str, tmp_path: Path
) -> None:
    for number in range(2, JOBS):
        (folder / f"job-{number}.toml").unlink()
    (folder / "bad.toml").write_text("id = '=bad'\n", encoding="utf-8")
    arguments = ["batch", folder, "-o", tmp_path / "out", "-w", weather, "--as-of", as_of, "--workers", 1]
    result = run(*arguments)
    assert result.status == 1, result.err
    assert "bad.toml: refused" in result.err
    lines = {each["record"]: each for each in report(tmp_path / "out")}
    assert {name: each["state"] for name, each in lines.items()} == {
        "job-0.toml": "done",
        "job-1.toml": "done",
        "bad.toml": "refused",
    }
    assert "mix: is missing" in lines["bad.toml"]["remarks"]
    assert "the weather ends at" in lines["job-0.toml"]["remarks"], (
        "what is doubtful, though it stops nothing"
    )
    assert lines["bad.toml"]["job"] == "'=bad", "no spreadsheet takes it for a formula"
    alone = run("issue", folder / "job-0.toml", "-w", weather, "--as-of", as_of, "-o", tmp_path / "one")
    assert alone.status == 0
    issued, batched = contents(tmp_path / "one"), contents(tmp_path / "out" / "job-0")
    assert batched.keys() - issued.keys() == {batches.MARK_FILE}
    assert {name: batched[name] for name in issued} == issued
    assert "Caution for 2 jobs: the weather ends at" in result.err
    assert result.err.count("the weather ends at") == 1, "once for all records"
    again = run(*arguments)
    assert "done before        2" in again.out
    assert "Caution" not in again.err
    remarks = {each["record"]: each["remarks"] for each in report(tmp_path / "out")}
    assert remarks == {name: each["remarks"] for name, each in lines.items()}, "what was doubtful still is"


@pytest.mark.parametrize("workers", ["0", "-1", "many"])
def test_a_number_of_workers_that_is_none(run: Run, folder: Path, tmp_path: Path, workers: str) -> None:
    result = run("batch", folder, "-o", tmp_path / "out", "--workers", workers)
    assert result.status == 2
    assert "--workers" in result.err
    assert not (tmp_path / "out").exists()


def test_a_folder_that_is_not_there(run: Run, tmp_path: Path) -> None:
    result = run("batch", tmp_path / "none", "-o", tmp_path / "out")
    assert result.status == 2
    assert "is not a folder" in result.err
    assert not (tmp_path / "out").exists()


def test_a_folder_without_records(run: Run, tmp_path: Path) -> None:
    """A mistyped folder must not pass for one whose jobs are all done."""
    (tmp_path / "empty").mkdir()
    result = run("batch", tmp_path / "empty", "-o", tmp_path / "out")
    assert result.status == 2
    assert "has no job record" in result.err
    assert not (tmp_path / "out").exists()


def test_doubts_that_differ_in_their_figures_are_reported_as_one_kind(
    capsys: pytest.CaptureFixture[str],
) -> None:
    doubts = [Finding(f"the weather ends {day} July", "w.json", severity="caution") for day in (3, 4, 4)]
    done = [BatchOutcome(f"{n}.toml", str(n), "done", (each, each)) for n, each in enumerate(doubts)]
    others = [
        BatchOutcome(f"{kind}.toml", kind, "done", (Finding(kind, severity="caution"),)) for kind in "abcdefg"
    ]
    _print_doubts([*others, *done])
    printed = capsys.readouterr().err.splitlines()
    assert printed[0] == "Caution for 3 jobs: such as this: the weather ends 3 July"
    assert printed[1] == "Caution for 1 job: a"
    assert printed[-1] == "... and 3 cautions of other kinds, in the report."


def test_stopped_by_hand_at_any_time_it_says_how_to_go_on(
    run: Run, folder: Path, weather: Path, as_of: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    arguments = ("batch", folder, "-o", tmp_path / "out", "-w", weather, "--as-of", as_of)
    for where in ("find_records", "run_batch"):
        with monkeypatch.context() as patched:
            patched.setattr(batches, where, stopped)
            result = run(*arguments)
        assert result.status == 1
        assert result.err == "Stopped. What is done stays; run the same command again to continue.\n"


HEARS_CTRL_C = """
import signal
signal.signal(signal.SIGINT, signal.default_int_handler)  # whoever began the suite may have it ignored
from handover.cli import entry
entry()
"""


@processes
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_stop_while_processes_begin_ends_without_a_traceback_and_leaves_no_temporary_file(
    number: int, folder: Path, weather: Path, as_of: str, tmp_path: Path, until: Callable[..., None]
) -> None:
    """A terminal sends Ctrl-C to every process of the group, a service manager SIGTERM."""
    out, temporary = tmp_path / "out", tmp_path / "temporary"
    temporary.mkdir()
    command = [sys.executable, "-c", HEARS_CTRL_C, "batch", folder, "-o", out, "-w", weather]
    command += ["--as-of", as_of]
    command += ["--workers", 2]
    with subprocess.Popen(
        [str(each) for each in command],
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
        env={**os.environ, "TMPDIR": str(temporary)},
    ) as stopped:
        of_the_run = psutil.Process(stopped.pid)
        until((out / ".batch.lock").exists, "it does not begin")
        until(lambda: of_the_run.children() or stopped.poll() is not None, "no process begins")
        os.killpg(stopped.pid, number)
        _, err = stopped.communicate()
    assert stopped.returncode == 1
    assert err == "Stopped. What is done stays; run the same command again to continue.\n"
    assert not list(temporary.iterdir())


def test_own_templates_do_not_reach_a_cluster(run: Run, folder: Path, tmp_path: Path) -> None:
    result = run(
        "batch", folder, "-o", tmp_path / "out", "--templates", folder, "--scheduler", "tcp://127.0.0.1:9"
    )
    assert result.status == 2
    assert "--templates" in result.err


# ---- which files are records


def test_weather_and_sets_are_no_records(folder: Path, weather: Path) -> None:
    (folder / "forecast.json").write_bytes(weather.read_bytes())
    (folder / "job-0.json").write_bytes(weather.read_bytes())
    (folder / "broken.json").write_text("{", encoding="utf-8")
    (folder / "out").mkdir()
    (folder / "out" / "job.toml").touch()
    (folder / ".hidden").mkdir()
    (folder / ".hidden" / "job.toml").touch()
    names = {each.name for each in find_records(folder, folder / "out")}
    assert names == {f"job-{number}.toml" for number in range(JOBS)} | {"broken.json"}


def test_two_records_of_one_id_are_both_refused(made: Run, folder: Path, record_text: str) -> None:
    twin = record_text.replace("2026-07-14-test-slab", "JOB-0")
    (folder / "twin.toml").write_text(twin, encoding="utf-8")
    result = states(made())
    assert [name for name, state in result.items() if state == "refused"] == ["job-0.toml", "twin.toml"]


# ---- weather


def test_the_weather_beside_a_record(made: Run, folder: Path, weather: Path) -> None:
    for number in range(JOBS):
        (folder / f"job-{number}.json").write_bytes(weather.read_bytes())
    assert states(made(weather=None)) == all_of("done")


def test_several_files_that_could_be_the_weather(made: Run, folder: Path, weather: Path) -> None:
    one_job(folder)
    for ending in ("json", "csv"):
        (folder / f"job-0.{ending}").write_bytes(weather.read_bytes())
    (result,) = made(weather=None)
    assert result.state == "refused"
    assert "job-0.json, job-0.csv" in result.remarks


def test_a_folder_of_weather_has_a_file_for_each(made: Run, weather: Path, tmp_path: Path) -> None:
    there = tmp_path / "weather"
    there.mkdir()
    for number in range(1, JOBS):
        (there / f"job-{number}.json").write_bytes(weather.read_bytes())
    assert states(made(weather=there)) == all_of("done") | {"job-0.toml": "refused"}


def test_weather_is_read_once_for_all(made: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    read: list[str] = []
    examine = forecasts.examine_weather_bytes

    def noted(data: bytes, name: str, *more: Any, **others: Any) -> Any:
        read.append(name)
        return examine(data, name, *more, **others)

    monkeypatch.setattr(forecasts, "examine_weather_bytes", noted)
    assert states(made()) == all_of("done")
    assert len(read) == 1


def test_one_download_for_each_grid_cell(
    made: Run, folder: Path, weather: Path, as_of: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    def move(number: int, latitude: str) -> None:
        file = folder / f"job-{number}.toml"
        file.write_text(file.read_text(encoding="utf-8").replace("36.10", latitude), encoding="utf-8")

    move(1, "36.1005")  # 60 m off: the same cell
    move(2, "36.30")  # 22 km off
    move(3, "36.50")
    asked: list[Any] = []
    at = datetime.fromisoformat(as_of)

    def give(site: Any, start: datetime, until: datetime, **more: Any) -> Download:
        asked.append((site.latitude, start, until, more["contact"]))
        if site.latitude == 36.5:
            raise DownloadFailed("nobody answers")
        return Download(weather.read_bytes(), "open-meteo", "https://example.org", at)

    monkeypatch.setattr("handover.weather.download.download_forecast", give)
    result = made(weather=None)
    assert states(result) == all_of("done") | {"job-3.toml": "failed"}
    assert sorted(each[0] for each in asked) == [36.1, 36.3, 36.5]
    assert {each[3] for each in asked} == {"office@example.com"}
    asked.clear()
    assert states(made(weather=None)) == all_of("done before") | {"job-3.toml": "failed"}
    assert [each[0] for each in asked] == [36.5], "what is done needs no forecast"


# ---- a run that goes on


def test_a_second_run_makes_only_what_is_new(made: Run, folder: Path, tmp_path: Path) -> None:
    assert states(made()) == all_of("done")
    first = contents(tmp_path / "out")
    (tmp_path / "out" / "job-0" / "inputs" / "job-0.toml").unlink()
    changed = folder / "job-1.toml"
    changed.write_text(changed.read_text(encoding="utf-8").replace('"5 in"', '"6 in"'), encoding="utf-8")
    assert states(made()) == all_of("done before") | {"job-0.toml": "done", "job-1.toml": "done"}
    again = contents(tmp_path / "out")
    differ = {name.split("/")[0] for name in first if first[name] != again[name]}
    assert differ == {"job-1", "report.csv"}


def test_another_manner_is_another_set(made: Run) -> None:
    made()
    assert states(made(settings=Settings(paper="a4"))) == all_of("done")


def test_a_run_that_breaks_off_is_gone_on_with(made: Run, tmp_path: Path) -> None:
    def broken_off(orders: Iterator[RenderTask]) -> Iterator[tuple[RenderTask, RenderResult]]:
        for count, each in enumerate(here(orders)):
            if count == 2:
                raise KeyboardInterrupt
            yield each

    with pytest.raises(KeyboardInterrupt):
        made(broken_off)
    assert len(report(tmp_path / "out")) == 2
    assert sorted(states(made()).values()) == ["done"] * (JOBS - 2) + ["done before"] * 2


def test_a_comment_more_makes_no_new_set(made: Run, folder: Path) -> None:
    made()
    file = folder / "job-0.toml"
    text = file.read_text(encoding="utf-8")
    file.write_text(f"# rung on Tuesday\n{text}", encoding="utf-8")
    assert states(made()) == all_of("done before")
    file.write_text(text.replace("3000 psi", "3500 psi"), encoding="utf-8")
    assert states(made()) == all_of("done before") | {"job-0.toml": "done"}


def test_two_runs_at_once(made: Run) -> None:
    def meanwhile(orders: Iterator[RenderTask]) -> Iterator[tuple[RenderTask, RenderResult]]:
        with pytest.raises(HandoverError, match="another run"):
            made()
        return here(orders)

    assert states(made(meanwhile)) == all_of("done")


def test_an_answer_that_comes_twice_counts_once(made: Run) -> None:
    def twice(orders: Iterator[RenderTask]) -> Iterator[tuple[RenderTask, RenderResult]]:
        for each in here(orders):
            yield each
            yield each

    assert len(made(twice)) == JOBS


def test_a_place_that_is_taken_stops_none_of_the_others(made: Run, tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "out" / "job-3").write_text("mine")
    result = states(made())
    assert result == all_of("done") | {"job-3.toml": "refused"}
    assert (tmp_path / "out" / "job-3").read_text() == "mine"


# ---- workers that die


@processes
def test_a_worker_that_dies_has_its_job_done_once_more(
    made: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "stand_in_worker.py").write_text(STAND_IN, encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    deadly = importlib.import_module("stand_in_worker").deadly
    result = made(partial(run_in_processes, workers=2, work=deadly))
    assert states(result) == all_of("done") | {"job-1.toml": "failed"}
    assert "died" in next(each.remarks for each in result if each.state == "failed")
    assert (tmp_path / "died").exists()


@processes
def test_a_process_gives_way_to_a_fresh_one(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    (tmp_path / "who_works.py").write_text(WHO_WORKS, encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.setattr(worker_pool, "MAX_JOBS_PER_WORKER", 3)
    at = datetime(2026, 7, 14, tzinfo=UTC)
    orders = [RenderTask(str(number), cast("Any", None), at, 1, Settings()) for number in range(7)]
    work = importlib.import_module("who_works").who_works
    result = [answer.failure for _, answer in run_in_processes(iter(orders), workers=1, work=work)]
    assert [result.count(each) for each in dict.fromkeys(result)] == [3, 3, 1]


GREEDY = """
import json, time
from handover.service.workers import RenderResult

def greedy(order):
    if order.name == "job-1.toml":
        return bytearray(10 ** 9)
    if order.name == "job-2.toml":
        time.sleep(3600)
    said = {"job": order.inputs.job.id, "revision": 1, "issued_at": order.as_of.isoformat()}
    return RenderResult({"schedule.json": json.dumps(said).encode()})
"""
"""A worker that takes too much memory over one job, and too long over another."""


@processes
@pytest.mark.skipif(sys.platform != "linux", reason="other systems count less memory")
def test_a_job_that_takes_too_much_fails_alone_and_the_command_says_so(
    run: Run, folder: Path, weather: Path, as_of: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "greedy_worker.py").write_text(GREEDY, encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    greedy = importlib.import_module("greedy_worker").greedy
    monkeypatch.setattr(workers, "run_in_processes", partial(run_in_processes, work=greedy))
    monkeypatch.setenv("HANDOVER_WORKER_MEMORY_MB", "600")
    monkeypatch.setenv("HANDOVER_WORKER_TIME_S", "10")
    out = tmp_path / "out"
    result = run("batch", folder, "-o", out, "-w", weather, "--as-of", as_of, "--workers", 2)
    assert result.status == 1
    assert "job-1.toml: failed" in result.err
    lines = {each["record"]: each for each in report(out)}
    failed = {"job-1.toml": "failed", "job-2.toml": "failed"}
    assert {name: each["state"] for name, each in lines.items()} == all_of("done") | failed
    assert "600 MB of memory" in lines["job-1.toml"]["remarks"]
    assert "10 s that a job may take" in lines["job-2.toml"]["remarks"]


@pytest.mark.usefixtures("few_members")
def test_a_worker_does_not_take_a_lack_of_memory_for_a_fault_of_the_record(
    made: Run, folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise RenderingFailed("the PDF engine failed") from MemoryError()

    one_job(folder)
    monkeypatch.setattr("handover.service.render.render_documents", full)

    def once(orders: Iterator[RenderTask]) -> Iterator[tuple[RenderTask, RenderResult]]:
        for each in orders:
            with pytest.raises(OutOfMemory):
                make_documents(each)
            yield each, plain_documents(each)

    assert set(states(made(once)).values()) == {"done"}


# ---- the archive


def really(orders: Iterator[RenderTask]) -> Iterator[tuple[RenderTask, RenderResult]]:
    return ((each, make_documents(each)) for each in orders)


@pytest.mark.usefixtures("stand_in_pdf", "few_members")
def test_an_unarchived_set_is_archived_by_the_next_run(
    made: Run, folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one_job(folder)

    def full(*_: object, **__: object) -> None:
        raise OSError(errno.ENOSPC, "No space left on device")

    with Archive(tmp_path / "archive") as archive:
        with monkeypatch.context() as patched:
            patched.setattr(batches, "archive_documents", full)
            (result,) = made(really, archive=archive)
        assert (result.state, result.remarks) == ("failed", "The system: No space left on device")
        stands = contents(tmp_path / "out" / "job-0")
        assert states(made(really, archive=archive)) == {"job-0.toml": "done"}
        assert contents(tmp_path / "out" / "job-0") == stands, "it is not made anew"
        assert states(made(really, archive=archive)) == {"job-0.toml": "done before"}
        bag = archive.bag("job-0")
        assert bag.revisions == (1,)
        assert bag.issue(1) == {name: data for name, data in stands.items() if name != batches.MARK_FILE}


# ---- a cluster


def test_no_scheduler_answers(made: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(workers, "CONNECT_TIMEOUT_S", 0.5)
    with pytest.raises(UnusableInput, match="no scheduler"):
        made(partial(run_on_dask, scheduler="tcp://127.0.0.1:1"))


WITHOUT_PDF_ENGINE = """
import hashlib
from functools import partial
from handover.service import inputs
inputs.plan_cure = partial(inputs.plan_cure, members=8)
from handover.documents import pages
pages.render_pdf = lambda html, files=(): b"%PDF " + hashlib.sha256(html.encode()).hexdigest().encode()
"""


@pytest.fixture
def cluster(
    tmp_path: Path, until: Callable[..., None]
) -> Iterator[tuple[str, list[subprocess.Popen[bytes]]]]:
    """Run a Dask scheduler and two workers on this machine; give its address and the workers.

    The workers do all that they do elsewhere, but for the PDF engine.
    """
    result = tmp_path / "scheduler.json"
    quiet: dict[str, Any] = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": tmp_path}
    (tmp_path / "without_pdf_engine.py").write_text(WITHOUT_PDF_ENGINE, encoding="utf-8")
    dask = [sys.executable, "-m", "distributed.cli.dask_"]
    own = ["--scheduler-file", str(result), "--host", "127.0.0.1", "--no-dashboard"]
    running = [subprocess.Popen([*dask[:2], f"{dask[2]}scheduler", *own, "--port", "0"], **quiet)]
    try:
        until(
            lambda: result.exists() and result.read_bytes().rstrip().endswith(b"}"),
            "the scheduler does not start",
        )
        worker = [*dask[:2], f"{dask[2]}worker", *own, "--no-nanny", "--nthreads", "1"]
        worker += ["--preload", str(tmp_path / "without_pdf_engine.py")]
        running += [subprocess.Popen(worker, **quiet) for _ in range(2)]
        yield json.loads(result.read_bytes())["address"], running[1:]
    finally:
        for each in running:
            each.kill()
            each.wait()


@processes
def test_a_cluster_that_loses_a_worker_does_every_job_once(
    folder: Path, weather: Path, as_of: str, tmp_path: Path, cluster: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(workers, "CONNECT_TIMEOUT_S", 600.0)  # a busy machine may take its time
    address, machines = cluster
    result: list[BatchOutcome] = []

    def kill_one(outcome: BatchOutcome) -> None:
        result.append(outcome)
        if len(result) == 1:  # each has another job at work by now, or before it
            machines[0].kill()

    with Archive(tmp_path / "archive") as archive:
        what = Batch(
            folder, tmp_path / "out", datetime.fromisoformat(as_of), weather=weather, archive=archive
        )
        outcomes = run_batch(what, find_records(folder), partial(run_on_dask, scheduler=address), kill_one)
        assert machines[0].wait() == -signal.SIGKILL
        assert states(outcomes) == all_of("done")
        assert sorted(each.record for each in result) == sorted(all_of("done"))
        sets = [each for each in (tmp_path / "out").iterdir() if each.is_dir()]
        assert {each.name for each in sets} == {f"job-{number}" for number in range(JOBS)}
        assert {json.loads((each / "schedule.json").read_bytes())["revision"] for each in sets} == {1}
        assert archive.names() == sorted(each.name for each in sets)
        assert {archive.bag(each).revisions for each in archive.names()} == {(1,)}
        for each in sets:
            issued = {name: data for name, data in contents(each).items() if name != batches.MARK_FILE}
            assert archive.bag(each.name).issue(1) == issued
