"""What the crew's pages ask of the desk, from its services."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from handover.desk.crew import CrewMember, CrewVisitItem, PapersState
from handover.desk.pages import page
from handover.desk.sessions import require, session_secret
from handover.documents.templating import read_text
from handover.service.desk import people
from handover.service.desk.card_store import CardStore
from handover.service.desk.firm_jobs import FirmJobs
from handover.service.desk.owner_links import link_of, require_link
from handover.service.desk.passwords import digest
from handover.service.desk.requests import DeskRequest, outcome_of
from handover.service.desk.visit_ticks import tick_visit, ticks_of_visits, visit_name

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import date, datetime
    from zoneinfo import ZoneInfo

    from starlette.requests import Request
    from starlette.responses import Response

    from handover.jobs.reading import RecordSource
    from handover.service.desk.database import Desk
    from handover.service.desk.papers_in_brief import PapersInBrief

DRAWN_BYTES = 10
_STATES = {"received": "writing", "published": "done", "refused": "failed", "failed": "failed"}


class DeskCrewServices:
    """The services of one desk.

    Args:
        desk: The desk.
        url: Its public address.
        submit: Keeps a request, and begins its work.
    """

    def __init__(self, desk: Desk, url: str, submit: Callable[[DeskRequest], None]) -> None:
        self._desk, self._url, self._submit = desk, url, submit
        self._jobs = FirmJobs(desk)
        self.cards = CardStore(desk.engine)

    @property
    def firm(self) -> str:
        """The name of the firm."""
        return people.firm_name(self._desk) or ""

    @property
    def zone(self) -> ZoneInfo:
        """The time zone of the firm's last job."""
        return self._jobs.zone()

    def now(self) -> datetime:
        """Return the time, aware."""
        return self._desk.now()

    def draw_key(self) -> str:
        """Return a key that nobody has drawn before."""
        return self._desk.random_bytes(DRAWN_BYTES).hex()

    def member(self, request: Request) -> CrewMember:
        """Return who is signed in."""
        person = require(request, "crew")
        session = digest(session_secret(request) or "")[:DRAWN_BYTES]
        return CrewMember(person.login, person.language, f"session{session}")

    def last_records(self) -> Sequence[Mapping[str, Any]]:
        """Return the tables of the last records of the firm, the last first."""
        return self._jobs.last_records()

    def visits(self, day: date) -> Sequence[CrewVisitItem]:
        """Return the crew's visits of a day."""
        items = self._jobs.visits(day)
        ticks = ticks_of_visits(self._desk, (each.job for each in items))
        named = ((each, visit_name(each)) for each in items)
        return [
            CrewVisitItem(item, name, tick.at if (tick := ticks.get((item.job, name))) else None)
            for item, name in named
        ]

    def tick_visit(self, job: str, visit: str, by: str) -> None:
        """Note that a visit is done, where the archive has the job."""
        if self._jobs.is_archived(job):
            tick_visit(self._desk, job, visit, by)

    def is_taken(self, job: str) -> bool:
        """Return whether the archive has a job of that id."""
        return self._jobs.is_archived(job)

    def owner_url(self, job: str, by: str) -> str:
        """Return the address of the owner's page; "" where its link was withdrawn."""
        link = link_of(self._desk, job)
        try:
            link = link or require_link(self._desk, job, by)
        except LookupError:
            return ""
        return f"{self._url}/o/{link.token}"

    def ask_for_papers(self, source: RecordSource, files: Mapping[str, bytes], request: str, by: str) -> None:
        """Have the papers of a job written, once for each request."""
        self._submit(DeskRequest(_request_key(request), source, self._desk.now(), by, files=files))

    def papers_state(self, request: str) -> PapersState:
        """Return how far the papers are."""
        outcome = outcome_of(self._desk, _request_key(request))
        return PapersState() if outcome is None else PapersState(_STATES[outcome.state], outcome.findings)

    def papers(self, job: str, language: str) -> PapersInBrief | None:
        """Return the first lines of the papers; None before there are any."""
        return self._jobs.papers(job, language)

    def crew_sheet(self, job: str) -> bytes | None:
        """Return the crew sheet as PDF; None before there is one."""
        return self._jobs.crew_sheet(job)

    def page(self, template: str, request: Request, status: int = 200, /, **values: object) -> Response:
        """Return a page from a template of the desk, in the language of who is signed in."""
        return page(template, self.member(request).language, status, **values)

    def worker(self) -> bytes:
        """Return the script that keeps pages for the time without signal."""
        return read_text("desk/worker.js").encode()


def _request_key(request: str) -> str:
    """Return the key of a request for papers: no request of the API has it."""
    return f"crew-{request}"
