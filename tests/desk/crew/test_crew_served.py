"""A crew's day on the program that listens, which is killed in the middle of it."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
import time
from contextlib import suppress
from typing import TYPE_CHECKING

import httpx2
import pytest
from sqlalchemy import create_engine, text

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

    from conftest import Phone
    from playwright.sync_api import Browser

pytestmark = pytest.mark.xdist_group("processes")

LIMIT_S = 600.0


class ServedDesk:
    """`handover serve` on a port of this machine, which can be killed and begun again."""

    def __init__(self, archive: Path) -> None:
        self._archive = archive
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self._port = int(probe.getsockname()[1])
        self._process: subprocess.Popen[str] | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self._port}"

    def begin(self) -> str:
        """Begin it; return the path of the one-time link, "" where the firm is set up."""
        command = [sys.executable, "-c", "from handover.cli import entry; entry()", "serve"]
        self._process = subprocess.Popen(
            [*command, "--archive", str(self._archive), "--listen", f"127.0.0.1:{self._port}"],
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            start_new_session=True,
        )
        assert self._process.stdout is not None
        printed = ""
        while "Stop it with" not in printed:
            line = self._process.stdout.readline()
            assert line, printed
            printed += line
        self._wait()
        return "".join(re.findall(r"/join/[\w-]+", printed))

    def _wait(self) -> None:
        end = time.monotonic() + LIMIT_S
        while True:
            try:
                httpx2.get(f"{self.url}/healthz")
            except httpx2.TransportError:
                assert time.monotonic() < end
                time.sleep(0.1)
            else:
                return

    def kill(self) -> None:
        """Kill it and its workers, as a power cut does."""
        if self._process is None:
            return
        with suppress(ProcessLookupError):
            os.killpg(self._process.pid, signal.SIGKILL)
        self._process.wait()
        if self._process.stdout:
            self._process.stdout.close()
        self._process = None


@pytest.fixture
def served(tmp_path: Path) -> Iterator[ServedDesk]:
    found = ServedDesk(tmp_path / "archive")
    yield found
    found.kill()


def test_nothing_that_was_typed_is_lost_or_twice_when_the_desk_is_killed(
    served: ServedDesk, chromium: Browser, phone_on: Callable[[Browser, str], Phone], tmp_path: Path
) -> None:
    link = served.begin()
    phone = phone_on(chromium, served.url)
    page = phone.page
    page.goto(link)
    for name, words in (("firm", "Piedmont Flatwork"), ("name", "Ines"), ("login", "ines")):
        page.fill(f"[name='{name}']", words)
    page.fill("[name='password']", "wet all day long")
    page.locator("main button").tap()
    page.wait_for_url(re.compile("/office"))

    page.goto("/crew")
    page.evaluate("() => navigator.serviceWorker.ready.then(() => true)")
    page.wait_for_function("() => caches.match('/crew/new').then(Boolean)")
    page.goto("/crew/new")
    page.wait_for_selector("form.ready")
    key = page.url.rpartition("/")[2]
    phone.tap("button[value='placement.start']")
    phone.type("owner.name", "Lee Park")
    phone.tap("#job-name")
    phone.wait_for_changes(2)
    served.kill()
    phone.type("slab.length", "34")
    phone.type("slab.width", "26")
    phone.sign("owner")
    phone.wait_for_kept("4 kept on this phone No signal.")
    page.reload()
    page.wait_for_selector("form.ready")
    assert page.input_value("[name='slab.width']") == "26 ft"
    served.begin()
    page.evaluate("() => flush()")
    phone.wait_for_kept("All sent")
    page.reload()
    page.wait_for_selector("form.ready")
    assert page.input_value("[name='slab.width']") == "26 ft"
    assert page.input_value("[name='acknowledgement.name']") == "Lee Park"
    page.goto(f"/crew/card/{key}/handover")
    assert "Last concrete" in page.content()
    served.kill()
    engine = create_engine(f"sqlite:///{tmp_path / 'archive' / 'desk.sqlite'}")
    with engine.connect() as connection:
        counted = connection.execute(text("SELECT count(*), count(DISTINCT key) FROM desk_card_change")).one()
        signed = connection.execute(text("SELECT count(*) FROM desk_card_file")).scalar()
    engine.dispose()
    assert tuple(counted) == (5, 5)
    assert signed == 1
    phone.context.close()
    assert phone.problems == []
