"""Worker processes: a task has one result, whatever happens to its process or to the other tasks."""

from __future__ import annotations

import gc
import json
import os
import pickle
import signal
import subprocess
import sys
import threading
from concurrent.futures import CancelledError, Future
from contextlib import nullcontext
from datetime import UTC, datetime, timedelta
from operator import call, methodcaller
from typing import TYPE_CHECKING, Any

import psutil
import pytest

from handover.documents.pdf import Attachment, render_pdf
from handover.errors import Finding, MissingLibraries, RenderingFailed, UnusableInput
from handover.service import pdf_workers as pdfs
from handover.service import worker_pool
from handover.service.inputs import compute
from handover.service.issuing import check_request, read_request
from handover.service.pdf_workers import (
    PendingPdf,
    load_pdf_engine,
    make_pdf_alone,
    pdf_workers,
)
from handover.service.worker_limits import UNLIMITED, LimitExceeded, Limits
from handover.service.worker_pool import WorkerDied, Workers
from handover.weather.download import Download

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    Run = Callable[..., Any]

pytestmark = pytest.mark.xdist_group("processes")

LONG_S = 600.0
PAGE = '<html lang="en"><title>x</title><p>Water the slab.</p></html>'
BAD_PAGE = '<html lang="en"><title>x</title><img alt="x" src="x.png"></html>'
DIES = "__import__('os').kill(__import__('os').getpid(), 9)"


def evaluators(count: int, limits: Limits = UNLIMITED) -> Workers[str, Any]:
    """Begin processes whose tasks are expressions."""
    return Workers(count, eval, int, limits)


def documents(folder: Path) -> dict[str, bytes]:
    files = (each for each in folder.rglob("*") if each.is_file())
    return {each.relative_to(folder).as_posix(): each.read_bytes() for each in files}


# ---- tasks


def test_each_task_has_its_own_result() -> None:
    with evaluators(2) as pool:
        futures = [pool.submit(f"{number} ** 2") for number in range(20)]
        assert [each.result() for each in futures] == [number**2 for number in range(20)]


def test_a_dead_process_fails_its_own_task_alone() -> None:
    with evaluators(1) as pool:
        before, dead, after = (pool.submit(each) for each in ("1", DIES, "2"))
        assert (before.result(), after.result()) == (1, 2)
        with pytest.raises(WorkerDied, match="died, 2 times"):
            dead.result()


def test_a_process_that_dies_while_it_is_idle_fails_no_task(until: Callable[..., None]) -> None:
    with evaluators(1) as pool:
        process = psutil.Process(pool.submit("__import__('os').getpid()").result())
        process.kill()
        until(lambda: not process.is_running() or process.status() == psutil.STATUS_ZOMBIE, "it lives on")
        assert pool.submit("3").result() == 3


@pytest.mark.parametrize(
    "fault",
    [
        RenderingFailed("no such picture"),
        UnusableInput([Finding("is missing", field="mix"), Finding("is no number", line=3)]),
        MissingLibraries("This machine lacks libpango.", ["Install it.", "    apt install it"]),
    ],
)
def test_what_the_work_raises_is_raised_where_it_was_submitted(fault: Exception) -> None:
    data = worker_pool.ForkingPickler.dumps(fault)
    with evaluators(1) as pool:
        future = pool.submit(f"(_ for _ in ()).throw(__import__('pickle').loads({bytes(data)!r}))")
        with pytest.raises(type(fault)) as raised:
            future.result()
    assert str(raised.value) == str(fault)
    assert vars(raised.value) == vars(fault)


def test_what_cannot_travel_fails_alone() -> None:
    with evaluators(1) as pool:
        task, result, after = pool.submit(lambda: 1), pool.submit("lambda: 1"), pool.submit("4")  # type: ignore[arg-type]
        with pytest.raises(Exception, match=r"pickle|local object"):
            task.result()
        with pytest.raises(RuntimeError, match="cannot be pickled"):
            result.result()
        assert after.result() == 4


# ---- limits

OWN_MEMORY = pytest.mark.skipif(sys.platform != "linux", reason="other systems count less")
LITTLE = Limits(memory_mb=400)
WRAPPED = "__import__('codecs').encode(b'x' * 10 ** 9, 'hex')"
"""Memory of which a library says in its own words that there is none."""


@OWN_MEMORY
@pytest.mark.parametrize("task", ["len(bytearray(10 ** 9))", WRAPPED])
def test_a_task_that_takes_too_much_memory_fails_alone_and_at_once(task: str) -> None:
    with evaluators(1, LITTLE) as pool:
        me = "__import__('os').getpid()"
        before, large, after = (pool.submit(each) for each in (me, task, me))
        with pytest.raises(LimitExceeded, match=r"400 MB of memory .*workers\.memory_mb"):
            large.result()
        assert after.result() != before.result()  # one that ran out of memory does no other job
    with evaluators(1) as pool:
        assert pool.submit("len(bytearray(10 ** 9))").result() == 10**9


@OWN_MEMORY
def test_a_process_that_dies_under_a_limit_of_memory_names_it() -> None:
    """Many a C library ends the process where it gets no memory."""
    with evaluators(1, LITTLE) as pool, pytest.raises(WorkerDied, match=r"died, 2 times.*400 MB of memory"):
        pool.submit("__import__('os').abort()").result()


def test_a_task_that_takes_too_long_fails_alone_and_at_once(tmp_path: Path) -> None:
    begun = tmp_path / "begun"
    endless = f"open({str(begun)!r}, 'a').write('x') and __import__('time').sleep(3600)"
    with evaluators(1, Limits(time_s=1)) as pool:
        late = pool.submit(endless)
        with pytest.raises(LimitExceeded, match=r"1 s that a job may take.*workers\.time_s"):
            late.result()
    assert not begun.exists() or begun.read_text() in {"x", ""}  # not tried again
    with evaluators(1, Limits(time_s=LONG_S)) as pool:
        assert pool.submit("__import__('time').sleep(0) or 7").result() == 7


def test_the_time_of_a_task_begins_once_it_is_whole(monkeypatch: pytest.MonkeyPatch, until: Any) -> None:
    started = []

    class Timer:
        daemon = False

        def __init__(self, *_: object) -> None: ...

        def start(self) -> None:
            started.append(rest.done())

        def cancel(self) -> None: ...

    monkeypatch.setattr(threading, "Timer", Timer)
    rest: Future[str] = Future()
    with Workers[Any, Any](1, call, int, Limits(time_s=LONG_S)) as pool:
        whole = pool.submit(ASK, rest)
        until(whole.running, "it does not begin")
        rest.set_result("b")
        assert whole.result() == "b"
    assert started == [True]


def test_a_page_that_kills_its_worker_is_not_rendered_here(monkeypatch: pytest.MonkeyPatch) -> None:
    def dies(process: Any, *_: object) -> None:
        process.is_ready = True
        raise EOFError

    monkeypatch.setattr(worker_pool._Process, "run", dies)
    with (
        Workers(1, make_pdf_alone, load_pdf_engine) as pool,
        pytest.raises(WorkerDied, match="died, 2 times"),
    ):
        _ = PendingPdf(PAGE, pool).attach(()).content


ASK = methodcaller("__call__")  # a task that asks for its second part


def callers(count: int) -> Workers[Callable[..., Any], Any]:
    """Begin processes whose tasks are functions of their second part."""
    return Workers(count, call, int)


def completed(value: Any) -> Future[Any]:
    future: Future[Any] = Future()
    future.set_result(value)
    return future


def test_the_second_part_of_a_task_may_come_later() -> None:
    with callers(1) as pool:
        rest: Future[str] = Future()
        first, next_one = pool.submit(ASK, rest), pool.submit(ASK, completed("y"))
        assert not first.done()
        rest.set_result("b")
        assert (first.result(), next_one.result()) == ("b", "y")


def test_a_second_part_that_nobody_asked_for_is_not_the_next_task() -> None:
    with callers(1) as pool:
        failed, next_one = pool.submit(int, completed("b")), pool.submit(ASK, completed("y"))
        with pytest.raises(TypeError, match="int"):
            failed.result()
        assert next_one.result() == "y"


def test_a_second_part_that_fails_or_never_comes_fails_its_task_alone() -> None:
    fails: Future[str] = Future()
    fails.set_exception(RenderingFailed("no such file"))
    cancelled: Future[str] = Future()
    with callers(1) as pool:
        first, second, next_one = (pool.submit(ASK, each) for each in (fails, cancelled, completed("y")))
        cancelled.cancel()
        with pytest.raises(RenderingFailed, match="no such file"):
            first.result()
        with pytest.raises(CancelledError):
            second.result()
        assert next_one.result() == "y"


def test_the_second_attempt_has_the_second_part_too(until: Callable[..., None]) -> None:
    with callers(1) as pool:
        rest: Future[str] = Future()
        found = pool.submit(ASK, rest)
        until(found.running, "it does not begin")
        until(lambda: pool._running, "no process begins")
        for each in tuple(pool._running):
            each.kill()
        rest.set_result("b")
        assert found.result() == "b"


def test_files_that_never_come_leave_no_worker_behind() -> None:
    def fails(page: PendingPdf) -> None:
        with page:
            raise RenderingFailed("before the files")

    with Workers[str, bytes](1, make_pdf_alone, load_pdf_engine) as pool:
        with pytest.raises(RenderingFailed, match="before the files"):
            fails(PendingPdf(PAGE, pool))
        assert PendingPdf(PAGE, pool).attach(()).content.startswith(b"%PDF")


def test_an_exception_gives_up_what_is_not_done(tmp_path: Path, until: Callable[..., None]) -> None:
    began = tmp_path / "began"
    wait = f"__import__('pathlib').Path({str(began)!r}).touch() or __import__('time').sleep(3600)"
    pool = evaluators(1)
    busy, queued = pool.submit(wait), pool.submit("5")
    until(began.exists, "it does not begin")
    pool.__exit__(KeyboardInterrupt, KeyboardInterrupt(), None)
    assert isinstance(busy.exception(), WorkerDied)
    assert queued.cancelled()


@pytest.mark.skipif(sys.platform != "linux", reason="processes are copies of a server on Linux only")
def test_the_server_of_processes_has_one_thread_so_that_no_copy_inherits_a_lock() -> None:
    with Workers(1, eval, load_pdf_engine) as pool:
        task: Any = "__import__('os').getppid()"
        server = psutil.Process(pool.submit(task).result())  # type: ignore[arg-type]
        assert server.pid != os.getpid()
        assert server.num_threads() == 1
        loaded: Any = pool.submit("'weasyprint' in __import__('sys').modules")
        assert loaded.result()


# ---- the documents of one issue


def test_a_worker_renders_the_same_bytes() -> None:
    inside = Attachment("a.txt", b"a", "text/plain", "a", "Data", datetime(2026, 7, 14, tzinfo=UTC))
    with Workers(1, make_pdf_alone, load_pdf_engine) as pool:
        assert PendingPdf(PAGE, pool).attach((inside,)).content == render_pdf(PAGE, (inside,))


def test_a_page_that_cannot_be_rendered_says_the_same_from_a_worker() -> None:
    with pytest.raises(RenderingFailed) as here:
        render_pdf(BAD_PAGE)
    with Workers(1, make_pdf_alone, load_pdf_engine) as pool, pytest.raises(RenderingFailed) as there:
        _ = PendingPdf(BAD_PAGE, pool).attach(()).content
    assert str(there.value) == str(here.value)


@pytest.mark.parametrize("fault", [OSError("no more processes"), RuntimeError("before the main module ends")])
def test_where_no_process_can_begin_this_one_renders(
    fault: Exception, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refused(*_: object) -> None:
        raise fault

    monkeypatch.setattr(worker_pool._Process, "__init__", refused)
    with Workers(2, make_pdf_alone, load_pdf_engine) as pool:
        assert PendingPdf(PAGE, pool).attach(()).content == render_pdf(PAGE)


def test_one_core_has_no_workers(monkeypatch: pytest.MonkeyPatch) -> None:
    for cores, has_workers in ((1, False), (2, True)):
        monkeypatch.setattr(pdfs, "core_count", lambda cores=cores: cores)
        with pdf_workers() as workers:
            assert (workers is not None) is has_workers


@pytest.mark.parametrize("is_enabled", [True, False])
def test_the_collector_of_garbage_is_afterwards_as_it_was(is_enabled: bool) -> None:
    try:
        (gc.enable if is_enabled else gc.disable)()
        with worker_pool.gc_paused():
            assert not gc.isenabled()
        assert gc.isenabled() is is_enabled
    finally:
        gc.enable()


@pytest.mark.usefixtures("shared_schedules", "few_members", "short_sheets")
def test_one_core_and_two_make_the_same_set(
    run: Run, record: Path, weather: Path, as_of: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    submitted: list[object] = []
    submit = Workers.submit

    def noted(self: Workers[Any, Any], task: Any, rest: Future[Any] | None = None) -> Future[Any]:
        submitted.append(task)
        return submit(self, task, rest)

    monkeypatch.setattr(Workers, "submit", noted)
    for cores in (1, 2):
        monkeypatch.setattr(pdfs, "core_count", lambda cores=cores: cores)
        arguments = ("issue", record, "-w", weather, "--as-of", as_of, "-o", tmp_path / str(cores))
        assert run(*arguments).status == 0
        assert len(submitted) == {1: 0, 2: 3}[cores]
    assert documents(tmp_path / "1") == documents(tmp_path / "2")


class StubWorkers:
    """Stands in for processes: each document has the length of its page."""

    def __init__(self) -> None:
        self.titles: list[str] = []

    def submit(self, html: str, _: Future[Any]) -> Future[bytes]:
        self.titles.append(html.partition("<title>")[2].partition("</title>")[0])
        future: Future[bytes] = Future()
        future.set_result(b"%PDF-1.7\n% stand-in, " + str(len(html)).encode())
        return future


@pytest.mark.usefixtures("few_members")
def test_issue_reissue_and_watch_submit_their_sheets_to_the_workers(
    run: Run, record: Path, weather: Path, as_of: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    workers = StubWorkers()
    monkeypatch.setattr(pdfs, "pdf_workers", lambda *_: nullcontext(workers))
    colder = json.loads(weather.read_text(encoding="utf-8"))
    colder["hourly"]["temperature_2m"] = [each - 8.0 for each in colder["hourly"]["temperature_2m"]]
    later = datetime.fromisoformat(as_of) + timedelta(hours=3)
    answer = Download(json.dumps(colder).encode(), "open-meteo", "https://example.org", later)
    monkeypatch.setattr("handover.weather.download.download_forecast", lambda *_, **__: answer)
    out, archive = tmp_path / "out", tmp_path / "archive"
    assert run("issue", record, "-w", weather, "--as-of", as_of, "-o", out).status == 0
    assert run("archive", out, "--to", archive).status == 0
    again = ("reissue", record, "--in", archive, "-o", out, "--same-weather", "--anyway")
    assert run(*again, "--as-of", as_of).status == 0
    watched = run("watch", "--in", archive, "-o", tmp_path / "watched", "--as-of", later.isoformat())
    assert "1 curing, 1 reissued" in watched.out, watched.err
    assert len(workers.titles) == 9
    assert len(set(workers.titles)) == 3


ON_CORES = """
import signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)  # whoever began the suite may have it ignored
signal.signal(signal.SIGTERM, signal.SIG_DFL)
from handover.service import pdf_workers
cores = int(sys.argv.pop(1))
pdf_workers.core_count = lambda: cores
from handover.cli import entry
entry()
"""

SHORT = """
import re
from handover.documents import pages
body = re.compile("(?s)(<body[^>]*>).*</body>")
def shorten(make):
    return lambda *args, **more: body.sub(r"\\1<p>x</p></body>", make(*args, **more))
pages.care_sheet_html = shorten(pages.care_sheet_html)
pages.crew_sheet_html = shorten(pages.crew_sheet_html)
pages.data_sheet_html = shorten(pages.data_sheet_html)
"""
"""Has documents of one line, in their own fonts: what is left of processes and files is the same."""

COMPUTED = """
import pickle
from pathlib import Path
from handover.service import inputs
inputs.plan_cure = lambda *_, **__: pickle.loads(Path({file!r}).read_bytes())
"""
"""Takes the schedule from a file: what is stopped comes after it."""

BREAKS = """
from handover.documents import pages
html = pages.data_sheet_html
pages.data_sheet_html = lambda *args, **more: html(*args, **more).replace("</body>", "<img src='x.png'>")
"""


DISCARDS = """
import os
from handover.service import publish
require = publish._require_documents
def discard(files):
    try:
        os.kill(os.getpid(), {number})
    except KeyboardInterrupt as stop:
        {then}
    require(files)
publish._require_documents = discard
"""


@pytest.fixture
def temporary(tmp_path: Path) -> Path:
    """Give the folder of temporary files for the runs of a test."""
    folder = tmp_path / "temporary"
    folder.mkdir()
    return folder


@pytest.fixture(scope="module")
def computed(
    tmp_path_factory: pytest.TempPathFactory, record_text: str, hourly: Callable[..., Any], as_of: str
) -> str:
    """Return the code that has the schedule of the invented record computed already."""
    folder = tmp_path_factory.mktemp("computed")
    record, weather, file = (folder / each for each in ("job.toml", "weather.json", "schedule"))
    record.write_text(record_text, encoding="utf-8")
    weather.write_text(json.dumps(hourly()), encoding="utf-8")
    at = datetime.fromisoformat(as_of)
    file.write_bytes(pickle.dumps(compute(check_request(read_request(record, weather, at)), at)))
    return COMPUTED.format(file=str(file))


@pytest.fixture
def begin(
    record: Path, weather: Path, as_of: str, tmp_path: Path, temporary: Path, warm: Callable[..., Any]
) -> Callable[..., Any]:
    """Begin an issue as from a terminal, in a session of its own, on a number of cores.

    What it does first, if anything, comes after the imports, and finds them done.
    """

    def issue(cores: int, before: str = "") -> Any:
        arguments = [cores, "issue", record, "-w", weather, "--as-of", as_of, "-o", tmp_path / "out"]
        env = {**os.environ, "TMPDIR": str(temporary)}
        if before:
            return warm(before + ON_CORES, arguments, stderr=subprocess.PIPE, env=env)
        command = [sys.executable, "-c", ON_CORES, *map(str, arguments)]
        return subprocess.Popen(command, stderr=subprocess.PIPE, text=True, start_new_session=True, env=env)

    return issue


CORES = pytest.mark.parametrize("cores", [1, 2])


@CORES
def test_an_issue_leaves_neither_processes_nor_temporary_files(
    cores: int, begin: Callable[..., Any], computed: str, temporary: Path, until: Callable[..., None]
) -> None:
    with begin(cores, computed + SHORT) as issue:
        _, err = issue.communicate()
    assert issue.returncode == 0, err
    until(lambda: not processes_of(issue.pid), "a process is left")
    assert not list(temporary.iterdir())


def test_a_module_in_the_working_directory_is_not_imported(
    record: Path, weather: Path, as_of: str, tmp_path: Path, computed: str
) -> None:
    (tmp_path / "scripts").mkdir()
    script = tmp_path / "scripts" / "run.py"  # its folder is on the path, as that of a console script is
    script.write_text(computed + SHORT + ON_CORES)
    here = tmp_path / "here"
    here.mkdir()
    (here / "html.py").write_text("open('imported', 'w').close()")
    command = [sys.executable, script, "2", "issue", record, "-w", weather, "--as-of", as_of, "-o", "out"]
    done = subprocess.run(command, cwd=here, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert sorted(each.name for each in here.iterdir()) == ["html.py", "out"]


def test_a_script_without_a_guard_issues_once(
    record: Path, weather: Path, as_of: str, tmp_path: Path, computed: str
) -> None:
    """Each process of the pool imports the script that began it."""
    script = tmp_path / "script.py"
    arguments = [str(each) for each in ("issue", record, "-w", weather, "--as-of", as_of, "-o", "out")]
    script.write_text(
        computed + SHORT + "from handover.service import pdf_workers\n"
        "pdf_workers.core_count = lambda: 2\n"
        "from handover.cli import main\n"
        f"main({arguments!r})\n"
    )
    command = [sys.executable, script]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, timeout=600, check=False)
    assert (tmp_path / "out" / "care-sheet.pdf").exists(), done.stderr


def test_other_children_find_their_modules(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("PYTHONSAFEPATH", raising=False)
    with Workers(1, make_pdf_alone, load_pdf_engine) as pool:
        pool.submit(PAGE).result()
        assert "PYTHONSAFEPATH" not in os.environ


@CORES
def test_an_issue_that_fails_leaves_neither_processes_nor_temporary_files(
    cores: int,
    begin: Callable[..., Any],
    computed: str,
    temporary: Path,
    until: Callable[..., None],
    tmp_path: Path,
) -> None:
    with begin(cores, computed + SHORT + BREAKS) as issue:
        _, err = issue.communicate()
    assert issue.returncode == 1, err
    assert "x.png" in err
    until(lambda: not processes_of(issue.pid), "a process is left")
    assert not list(temporary.iterdir())
    assert not (tmp_path / "out").exists()


def test_ctrl_c_while_processes_begin_leaves_none(
    begin: Callable[..., Any], temporary: Path, until: Callable[..., None], tmp_path: Path
) -> None:
    """A terminal sends it to every process of the group."""
    with begin(2) as stopped:
        until(lambda: processes_of(stopped.pid, but=stopped.pid) or stopped.poll() is not None, "none begins")
        os.killpg(stopped.pid, signal.SIGINT)
        _, err = stopped.communicate()
    until(lambda: not processes_of(stopped.pid), "a process is left")
    assert not list(temporary.iterdir())
    assert_stopped(stopped.returncode, err, tmp_path / "out")


@pytest.mark.parametrize(
    ("cores", "send", "number"),
    [
        pytest.param(1, os.kill, signal.SIGINT, id="Ctrl-C, one process"),
        pytest.param(1, os.kill, signal.SIGTERM, id="TERM, one process"),
        pytest.param(2, os.killpg, signal.SIGINT, id="Ctrl-C to all"),
        pytest.param(2, os.killpg, signal.SIGTERM, id="TERM to all"),
        pytest.param(2, os.kill, signal.SIGTERM, id="TERM to one"),
    ],
)
def test_a_stop_while_a_pdf_is_rendered_leaves_neither_processes_nor_temporary_files(
    cores: int,
    send: Callable[[int, int], None],
    number: int,
    begin: Callable[..., Any],
    computed: str,
    temporary: Path,
    until: Callable[..., None],
    tmp_path: Path,
) -> None:
    """A terminal sends SIGINT to all of the group; a service manager SIGTERM, to the process or to all."""

    def is_rendering() -> bool:
        try:
            return any(temporary.rglob("weasyprint-*/*"))
        except FileNotFoundError:  # a folder was removed meanwhile
            return False

    with begin(cores, computed) as stopped:
        until(lambda: is_rendering() or stopped.poll() is not None, "no PDF is begun")
        send(stopped.pid, number)
        _, err = stopped.communicate()
    until(lambda: not processes_of(stopped.pid), "a process is left")
    assert not list(temporary.iterdir())
    assert_stopped(stopped.returncode, err, tmp_path / "out")


@pytest.mark.parametrize(
    ("number", "then"),
    [
        (signal.SIGINT, "pass"),
        (signal.SIGTERM, "raise ValueError('Error calling a function') from stop"),
    ],
    ids=["discards", "replaces"],
)
def test_a_stop_that_a_library_discards_or_replaces_is_not_lost(
    number: int, then: str, begin: Callable[..., Any], computed: str, tmp_path: Path
) -> None:
    with begin(1, computed + SHORT + DISCARDS.format(number=int(number), then=then)) as stopped:
        _, err = stopped.communicate()
    assert_stopped(stopped.returncode, err, tmp_path / "out")


def assert_stopped(status: int, err: str, out: Path) -> None:
    """Check that a stop left nothing written."""
    assert (status, err.splitlines()[-1:]) == (1, ["Stopped. Nothing half-written is left."])
    assert not out.exists()


def processes_of(session: int, but: int | None = None) -> list[int]:
    """Return the living processes of a session."""
    found = []
    for each in psutil.process_iter():
        try:
            if os.getsid(each.pid) == session and each.status() != psutil.STATUS_ZOMBIE:
                found.append(each.pid)
        except (OSError, psutil.Error):
            continue
    return [each for each in found if each != but]


def test_threads_of_workers_end_with_them() -> None:
    before = threading.active_count()
    with evaluators(3) as pool:
        pool.submit("6").result()
    assert threading.active_count() == before
