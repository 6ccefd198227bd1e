"""The program that listens: it begins, stops, is killed at any moment, and nothing is lost or done twice."""

from __future__ import annotations

import os
import random
import re
import signal
import socket
import subprocess
import sys
import threading
import time
from contextlib import contextmanager, suppress
from typing import TYPE_CHECKING, Any

import httpx2
import pytest
from sqlalchemy import select

from handover.cli import main
from handover.desk.server import read_listen
from handover.errors import UnusableInput
from handover.service.desk.requests import pending_keys
from handover.service.desk.tables import LINK, PUBLICATION, TO_SEND

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from handover.service.desk.database import Desk

pytestmark = pytest.mark.xdist_group("processes")

JOB = "2026-07-14-test-slab"
LIMIT_S = 600.0
KILLS = 6


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def server(archive: Path, port: int) -> Iterator[subprocess.Popen[str]]:
    """Begin a desk and give its process; whatever is left of it ends with the context."""
    command = [sys.executable, "-c", "from handover.cli import entry; entry()", "serve"]
    process = subprocess.Popen(
        [*command, "--archive", str(archive), "--listen", f"127.0.0.1:{port}"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        start_new_session=True,
    )
    try:
        yield process
    finally:
        kill(process)
        process.stdout and process.stdout.close()


def kill(process: subprocess.Popen[str]) -> None:
    """Kill a desk and its workers, as a power cut does."""
    with suppress(ProcessLookupError):
        os.killpg(process.pid, signal.SIGKILL)
    process.wait()


def get(port: int, path: str) -> httpx2.Response:
    """Return a page, once the desk responds."""
    end = time.monotonic() + LIMIT_S
    while True:
        try:
            return httpx2.get(f"http://127.0.0.1:{port}{path}", timeout=LIMIT_S)
        except httpx2.TransportError:
            if time.monotonic() > end:
                raise
            time.sleep(0.1)


def hand_in(port: int, token: str, record: Path, weather: Path, key: str) -> httpx2.Response | None:
    """Hand a record in; return None where the desk was killed meanwhile."""
    files = {"record": ("job.toml", record.read_bytes()), "weather": ("weather.json", weather.read_bytes())}
    try:
        return httpx2.post(
            f"http://127.0.0.1:{port}/api/v1/jobs",
            files=files,
            data={"as_of": "2026-07-14T12:30:00-04:00"},
            headers={"Authorization": f"Bearer {token}", "Idempotency-Key": key},
            timeout=LIMIT_S,
        )
    except httpx2.TransportError:
        return None


def new_token(archive: Path, capsys: pytest.CaptureFixture[str]) -> str:
    assert main(["token", "new", "program", "--archive", str(archive)]) == 0
    return capsys.readouterr().out.strip()


def test_a_desk_begins_prints_its_address_and_stops_when_asked(tmp_path: Path) -> None:
    port = free_port()
    with server(tmp_path / "archive", port) as process:
        assert get(port, "/healthz").text == "ok"
        assert process.stdout is not None
        printed = "".join(process.stdout.readline() for _ in range(3))
        (path,) = re.findall(rf"http://127\.0\.0\.1:{port}(/join/[\w-]+)", printed)
        assert "Name of the firm" in get(port, path).text
        process.send_signal(signal.SIGTERM)
        assert process.wait(LIMIT_S) == 0
        assert process.stdout.read() == ""


def test_a_desk_that_is_killed_publishes_each_record_once(
    record: Path, weather: Path, desk: Desk, capsys: pytest.CaptureFixture[str]
) -> None:
    """Killed at random moments while a program hands records in and asks again, as programs do."""
    archive, port, chance = desk.archive.folder, free_port(), random.Random(7)  # noqa: S311
    token = new_token(archive, capsys)
    done: dict[str, Any] = {}

    def ask_until_done() -> None:
        for key in ("one", "two"):
            answer = None
            while answer is None:
                answer = hand_in(port, token, record, weather, key)
                time.sleep(0.05)
            done[key] = answer

    program = threading.Thread(target=ask_until_done, daemon=True)
    for kills in range(KILLS + 1):
        with server(archive, port) as process:
            get(port, "/healthz")
            if kills == 0:
                program.start()
            if kills == KILLS:
                program.join(LIMIT_S)
            else:
                time.sleep(chance.uniform(0.0, 6.0))
            kill(process)
    assert {key: answer.status_code for key, answer in done.items()} == {"one": 201, "two": 201}
    assert [done[key].json()["revision"] for key in ("one", "two")] == [1, 2]
    assert done["one"].json()["owner_url"] == done["two"].json()["owner_url"]
    assert desk.archive.bag(JOB).revisions == (1, 2)
    with desk.reading() as connection:
        assert len(connection.execute(select(LINK)).all()) == 1
        assert len(connection.execute(select(PUBLICATION)).all()) == 2
        assert len(connection.execute(select(TO_SEND)).all()) == 2
    assert pending_keys(desk) == ()


@pytest.mark.parametrize(
    ("text", "expected"),
    [("8080", ("127.0.0.1", 8080)), ("0.0.0.0:80", ("0.0.0.0", 80)), ("[::1]:8080", ("::1", 8080))],  # noqa: S104
)
def test_an_address_to_listen_on_is_read(text: str, expected: tuple[str, int]) -> None:
    assert read_listen(text) == expected


@pytest.mark.parametrize("text", ["", "host", "host:", "host:0", "host:70000", "host:x"])
def test_what_is_no_address_is_refused(text: str) -> None:
    with pytest.raises(UnusableInput, match="--listen"):
        read_listen(text)
