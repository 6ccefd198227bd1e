"""The office's pages: people and invitations, the trail of who did what."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse
from starlette.routing import Route

from handover.desk.pages import page
from handover.desk.sessions import desk_of, require
from handover.desk.sign_in import form_text
from handover.service.desk import people
from handover.service.desk.audit import read_audit
from handover.service.desk.people import ROLES
from handover.service.desk.refusals import DeskRefusal

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from handover.service.desk.people import Person

MAX_FIELDS = 20


def office_routes() -> list[Route]:
    """Return the routes."""
    return [
        Route("/office", office),
        Route("/office/people", show_people),
        Route("/office/people", post_people, methods=["POST"]),
        Route("/office/trail", show_trail),
    ]


def office(request: Request) -> Response:
    """Go to the first page of the office."""
    require(request, "office")
    return RedirectResponse("/office/people", 303)


# ---- people -----------------------------------------------------------------------------------------


def show_people(request: Request) -> Response:
    """Show who belongs to the firm, and the invitations that nobody has used."""
    return _people_page(request, require(request, "office"))


def _people_page(request: Request, person: Person, secret: str = "", refusal: str = "") -> Response:
    desk = desk_of(request)
    return office_page(
        request,
        "office_people.html",
        person,
        422 if refusal else 200,
        people=people.people(desk),
        invitations=people.invitations(desk),
        roles=[each for each in ROLES if person.may(each)],
        address=f"{request.app.state.url}/join/{secret}" if secret else "",
        refusal=refusal,
    )


async def post_people(request: Request) -> Response:
    """Invite somebody, or close an account."""
    form = await request.form(max_fields=MAX_FIELDS, max_files=0)
    role, number = form_text(form, "invite"), form_text(form, "close")
    return await run_in_threadpool(_change_people, request, role, number)


def _change_people(request: Request, role: str, number: str) -> Response:
    desk, person = desk_of(request), require(request, "office")
    try:
        if role in ROLES:
            return _people_page(request, person, people.invite(desk, role, person))
        if not number.isascii() or not number.isdigit():
            raise HTTPException(422)
        people.close_account(desk, int(number), person)
    except DeskRefusal as refused:
        return _people_page(request, person, refusal=refused.code)
    return RedirectResponse("/office/people", 303)


# ---- the trail --------------------------------------------------------------------------------------


def show_trail(request: Request) -> Response:
    """Show who did what, the last first."""
    person = require(request, "office")
    return office_page(request, "office_trail.html", person, rows=read_audit(desk_of(request)))


def office_page(
    request: Request, template: str, person: Person, status: int = 200, /, **values: object
) -> Response:
    """Return a page of the office."""
    firm = people.firm_name(desk_of(request))
    here = request.url.path
    return page(template, person.language, status, person=person, firm=firm, here=here, **values)
