"""The crew's pages with services that write no papers, and phones to see them on."""

from __future__ import annotations

import shutil
import socket
from datetime import UTC, datetime
from hashlib import sha256
from itertools import count
from threading import Thread
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import pytest
import uvicorn
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.responses import HTMLResponse, RedirectResponse
from starlette.routing import Route
from starlette.testclient import TestClient

from handover.desk.crew import CrewMember, CrewVisitItem, PapersState, crew_routes
from handover.desk.pages import page
from handover.desk.security import OriginCheck, SecurityHeaders
from handover.desk.static_files import send_static
from handover.documents.templating import templates_folder
from handover.service.desk.card_store import CardStore

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from datetime import date

    from playwright.sync_api import Browser, ConsoleMessage
    from sqlalchemy import Engine
    from starlette.requests import Request
    from starlette.responses import Response

    from handover.jobs.reading import RecordSource
    from handover.service.desk.papers_in_brief import PapersInBrief
    from handover.service.office import DueItem


NOW = datetime(2026, 7, 14, 18, 5, tzinfo=UTC)


class StandInServices:
    """The services of the crew's pages, without the rest of the desk."""

    firm = "Blue Heron Concrete"
    zone = ZoneInfo("America/New_York")

    def __init__(self, engine: Engine) -> None:
        self.cards = CardStore(engine)
        self.language = "en"
        self.records: list[dict[str, Any]] = []
        self.items: list[DueItem] = []
        self.ticks: dict[tuple[str, str], datetime] = {}
        self.requests: dict[str, tuple[RecordSource, dict[str, bytes]]] = {}
        self.state = PapersState("writing")
        self.brief: PapersInBrief | None = None
        self.drawn = count(1)
        self.clock: datetime | None = NOW

    def now(self) -> datetime:
        return self.clock or datetime.now(UTC)

    def draw_key(self) -> str:
        return f"drawn{next(self.drawn):08}"

    def member(self, _: Request) -> CrewMember:
        return CrewMember("Ines", self.language, "session-0001")

    def last_records(self) -> list[dict[str, Any]]:
        return self.records

    def visits(self, _: date) -> list[CrewVisitItem]:
        return [CrewVisitItem(each, each.kind, self.ticks.get((each.job, each.kind))) for each in self.items]

    def tick_visit(self, job: str, visit: str, _: str) -> None:
        self.ticks.setdefault((job, visit), self.now())

    def is_taken(self, _: str) -> bool:
        return False

    def owner_url(self, job: str, _: str) -> str:
        return f"https://desk.example.com/o/{sha256(job.encode()).hexdigest()[:22]}"

    def ask_for_papers(self, source: RecordSource, files: dict[str, bytes], request: str, _: str) -> None:
        self.requests.setdefault(request, (source, files))

    def papers_state(self, request: str) -> PapersState:
        return self.state if request in self.requests else PapersState()

    def papers(self, _job: str, _language: str) -> PapersInBrief | None:
        return self.brief

    def crew_sheet(self, _: str) -> bytes | None:
        return None

    def page(self, template: str, _: Request, status: int = 200, /, **values: object) -> Response:
        return page(template, self.language, status, **values)

    def worker(self) -> bytes:
        return (templates_folder() / "desk" / "worker.js").read_bytes()


@pytest.fixture
def services(desk_engine: Engine) -> StandInServices:
    return StandInServices(desk_engine)


def crew_app(services: StandInServices) -> Starlette:
    """Return the crew's pages with their files, behind what stands before every page of the desk."""
    routes = [
        *crew_routes(services),
        Route("/static/{name}", send_static),
        Route("/sign-out", lambda _: RedirectResponse("/sign-in", 303), methods=["POST"]),
        Route("/sign-in", lambda _: HTMLResponse("<title>Sign in</title>")),
    ]
    middleware = [Middleware(SecurityHeaders, is_secure=False), Middleware(OriginCheck, origin=None)]
    return Starlette(routes=routes, middleware=middleware)


@pytest.fixture
def client(services: StandInServices) -> Iterator[TestClient]:
    with TestClient(crew_app(services), follow_redirects=False) as found:
        yield found


# ---- a browser --------------------------------------------------------------------------------------


class DeskServer:
    """The crew's pages on a port of this machine, which can be stopped and begun again."""

    def __init__(self, services: StandInServices) -> None:
        self._app = crew_app(services)
        self._port = 0
        self._server: uvicorn.Server | None = None
        self._thread: Thread | None = None

    @property
    def url(self) -> str:
        return f"http://127.0.0.1:{self._port}"

    def begin(self) -> None:
        listening = socket.create_server(("127.0.0.1", self._port))
        self._port = listening.getsockname()[1]
        config = uvicorn.Config(self._app, log_level="error", timeout_graceful_shutdown=1)
        self._server = uvicorn.Server(config)
        self._thread = Thread(target=self._server.run, kwargs={"sockets": [listening]}, daemon=True)
        self._thread.start()

    def stop(self) -> None:
        if self._server and self._thread:
            self._server.should_exit = True
            self._thread.join()
        self._server = None


@pytest.fixture
def server(services: StandInServices) -> Iterator[DeskServer]:
    found = DeskServer(services)
    found.begin()
    yield found
    found.stop()


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """A browser; the tests that need one are skipped where there is none."""
    playwright = pytest.importorskip("playwright.sync_api")
    program = shutil.which("chromium")
    if program is None:
        pytest.skip("no chromium on this machine")
    with playwright.sync_playwright() as started:
        found = started.chromium.launch(executable_path=program, args=["--no-sandbox"])
        yield found
        found.close()


class Phone:
    """A phone of a crew: a page, what its console said, and how often it was tapped."""

    def __init__(self, browser: Browser, url: str, **options: Any) -> None:
        self.context = browser.new_context(
            **{
                "viewport": {"width": 390, "height": 844},
                "has_touch": True,
                "is_mobile": True,
                "timezone_id": "America/New_York",
                "base_url": url,
                **options,
            }
        )
        self.page = self.context.new_page()
        self.problems: list[str] = []
        self.taps = 0
        self.page.on("pageerror", lambda fault: self.problems.append(str(fault)))
        self.page.on("console", self._note)

    def _note(self, message: ConsoleMessage) -> None:
        if "Content Security Policy" in message.text:
            self.problems.append(message.text)

    def tap(self, what: str) -> None:
        """Tap what a selector finds."""
        self.taps += 1
        self.page.locator(what).tap()

    def type(self, name: str, text: str) -> None:
        """Tap a field and type; the next tap, or the end, leaves it."""
        self.tap(f"[name='{name}']")
        self.page.keyboard.type(text)

    def sign(self, who: str) -> None:
        """Draw a stroke."""
        self.taps += 1
        pad = self.page.locator(f"[data-sign={who}] svg")
        pad.scroll_into_view_if_needed()
        box = pad.bounding_box()
        assert box is not None
        self.page.mouse.move(box["x"] + 20, box["y"] + 40)
        self.page.mouse.down()
        for step in range(12):
            self.page.mouse.move(box["x"] + 20 + step * 12, box["y"] + 40 + step % 4 * 9)
        self.page.mouse.up()

    def new_card(self) -> str:
        """Begin a card; return its key."""
        self.page.goto("/crew/new")
        self.page.wait_for_selector("form.ready")
        return self.page.url.rpartition("/")[2]

    def wait_for_changes(self, number: int) -> None:
        """Wait until the server has so many changes of the card, as far as the phone knows."""
        self.page.wait_for_selector(f"#card[data-number='{number}']")

    def wait_for_kept(self, words: str) -> None:
        """Wait until the bar begins with some words."""
        self.page.wait_for_function(
            "words => document.getElementById('kept').textContent.startsWith(words)", arg=words
        )


@pytest.fixture
def phone_of(chromium: Browser, server: DeskServer) -> Iterator[Callable[..., Phone]]:
    """Give phones; what their consoles said of scripts and the policy is a fault."""
    phones: list[Phone] = []

    def make(**options: Any) -> Phone:
        phones.append(Phone(chromium, server.url, **options))
        return phones[-1]

    yield make
    for each in phones:
        each.context.close()
    assert [problem for each in phones for problem in each.problems] == []


@pytest.fixture
def phone_on() -> Callable[[Browser, str], Phone]:
    """Give a phone on another desk."""
    return Phone
