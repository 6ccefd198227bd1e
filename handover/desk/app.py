"""The whole desk as one ASGI application."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol
from urllib.parse import urlsplit

from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.middleware.gzip import GZipMiddleware
from starlette.responses import PlainTextResponse
from starlette.routing import Mount, Route

from handover.desk.api import create_api
from handover.desk.crew import crew_routes
from handover.desk.crew_services import DeskCrewServices
from handover.desk.office import office_routes
from handover.desk.owner import owner_routes
from handover.desk.page_cache import PageCache
from handover.desk.pages import browser_language, page
from handover.desk.security import BodyLimit, OriginCheck, SecurityHeaders
from handover.desk.sessions import SignInNeeded, ask_to_sign_in
from handover.desk.sign_in import sign_in_routes
from handover.desk.static_files import send_static
from handover.service.desk.owner_pages import OwnerIssues

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from handover.service.desk.database import Desk
    from handover.service.desk.requests import DeskRequest


@dataclass(frozen=True)
class DeskAddress:
    """Where people reach a desk.

    Attributes:
        url: Its public address, without a slash at the end.
    """

    url: str

    @property
    def is_secure(self) -> bool:
        """Whether it is reached over HTTPS, so that cookies never go another way."""
        return urlsplit(self.url).scheme == "https"


class BackgroundWork(Protocol):
    """What the application asks to be done after it has responded."""

    def submit(self, request: DeskRequest) -> None:
        """Keep a request, and begin its work."""

    def archive_acknowledgement(self, job: str, revision: int) -> None:
        """Archive the acknowledgement of an issue."""


def create_app(desk: Desk, address: DeskAddress, work: BackgroundWork) -> Starlette:
    """Return the application.

    Args:
        desk: The desk, open; the caller closes it.
        address: Where people reach it.
        work: The work in the background, begun; the caller stops it.
    """
    api, issues = create_api(), OwnerIssues(desk)
    app = Starlette(
        routes=[
            Route("/healthz", healthz),
            Route("/robots.txt", robots),
            Route("/static/{name}", send_static),
            *sign_in_routes(),
            *office_routes(),
            *crew_routes(DeskCrewServices(desk, address.url, work.submit)),
            *owner_routes(),
            Mount("/api", api),
        ],
        middleware=[
            Middleware(SecurityHeaders, is_secure=address.is_secure),
            Middleware(OriginCheck, origin=address.url),
            Middleware(BodyLimit),
            Middleware(GZipMiddleware, minimum_size=1000, compresslevel=6),
        ],
        exception_handlers={SignInNeeded: ask_to_sign_in, HTTPException: show_error},
    )
    for each in (app, api):
        each.state.desk = desk
        each.state.work = work
        each.state.issues = issues
        each.state.pages = PageCache()
        each.state.url = address.url
        each.state.is_secure = address.is_secure
    return app


def healthz(_: Request) -> Response:
    """Say that the desk runs."""
    return PlainTextResponse("ok")


def robots(_: Request) -> Response:
    """Ask search engines to stay away."""
    return PlainTextResponse("User-agent: *\nDisallow: /\n")


def show_error(request: Request, fault: Exception) -> Response:
    """Show an error in words."""
    assert isinstance(fault, HTTPException)  # noqa: S101 - it is registered for these
    if request.url.path.startswith("/api/"):
        return PlainTextResponse(f"{fault.detail}\n", fault.status_code, fault.headers)
    known = {403, 404, 410, 413, 422, 429}
    status = fault.status_code
    response = page(
        "error.html", browser_language(request), status, code=str(status if status in known else 500)
    )
    response.headers.update(fault.headers or {})
    return response
