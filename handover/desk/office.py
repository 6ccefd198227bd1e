"""The office's pages: what is to be sent, jobs with their links, people and invitations, who did what."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import quote

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse
from starlette.routing import Route

from handover.desk.pages import LANGUAGES, page
from handover.desk.sessions import desk_of, require
from handover.desk.sign_in import form_text
from handover.documents.templating import dial_number
from handover.documents.translations import load_translations
from handover.service.desk import office_jobs, owner_links, people
from handover.service.desk.audit import read_audit
from handover.service.desk.owner_pages import acknowledgement_of, missed_tasks, ticks_of
from handover.service.desk.people import ROLES
from handover.service.desk.refusals import DeskRefusal

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from handover.service.desk.office_jobs import OfficeJob
    from handover.service.desk.people import Person

MAX_FIELDS = 20
MAX_SEARCH = 200


def office_routes() -> list[Route]:
    """Return the routes."""
    return [
        Route("/office", show_office),
        Route("/office/jobs/{job:path}", show_job),
        Route("/office/jobs/{job:path}", post_job_form, methods=["POST"]),
        Route("/office/people", show_people),
        Route("/office/people", post_people, methods=["POST"]),
        Route("/office/trail", show_trail),
    ]


# ---- jobs -------------------------------------------------------------------------------------------


def show_office(request: Request) -> Response:
    """Show what is to be sent, what owners could not do, and the jobs."""
    desk, person = desk_of(request), require(request, "office")
    words = request.query_params.get("q", "")[:MAX_SEARCH]
    return office_page(
        request,
        "office_jobs.html",
        person,
        q=words,
        jobs=[_job_shape(request, each) for each in office_jobs.find_jobs(desk, words)],
        to_send=[_job_shape(request, each) for each in office_jobs.jobs_to_send(desk)],
        missed=missed_tasks(desk),
    )


def show_job(request: Request) -> Response:
    """Show one job: its link, its state, what its owner said."""
    return _job_page(request, require(request, "office"))


def _job_page(request: Request, person: Person) -> Response:
    desk, job = desk_of(request), request.path_params["job"]
    found = office_jobs.office_job(desk, job)
    if found is None:
        raise HTTPException(404)
    said = acknowledgement_of(desk, job, found.revision)
    return office_page(
        request,
        "office_job.html",
        person,
        job=_job_shape(request, found),
        said=said,
        ticks=sorted(ticks_of(desk, job).items()),
    )


async def post_job_form(request: Request) -> Response:
    """Make, renew or withdraw the link of a job, or note that it was sent."""
    form = await request.form(max_fields=MAX_FIELDS, max_files=0)
    return await run_in_threadpool(_change_job, request, form_text(form, "do"), form_text(form, "next"))


def _change_job(request: Request, action: str, after: str) -> Response:
    desk, person, job = desk_of(request), require(request, "office"), request.path_params["job"]
    if office_jobs.office_job(desk, job) is None:
        raise HTTPException(404)
    actions = {
        "renew": owner_links.renew_link,
        "withdraw": owner_links.withdraw_link,
        "sent": office_jobs.note_sent,
    }
    if action not in actions:
        raise HTTPException(422)
    actions[action](desk, job, person.login)
    return RedirectResponse("/office" if after == "/office" else request.url.path, 303)


@dataclass(frozen=True)
class JobShape:
    """A job as the office's pages show it: the job, its page, and the ways to send its link."""

    job: OfficeJob
    page: str
    url: str
    sms: str
    mail: str


def _job_shape(request: Request, job: OfficeJob) -> JobShape:
    url = f"{request.app.state.url}/o/{job.token}" if job.token else ""
    words = load_translations(job.language if job.language in LANGUAGES else "en")
    text, subject = (
        words.say("crew-desk.message", url=url),
        words.say("crew-desk.subject", name=job.street or job.job),
    )
    phone = dial_number(job.phone)
    return JobShape(
        job,
        f"/office/jobs/{quote(job.job, safe='')}",
        url,
        f"sms:{phone}?&body={quote(text)}" if phone and url else "",  # "?&" serves both families of phones
        f"mailto:{quote(job.email)}?subject={quote(subject)}&body={quote(text)}" if job.email and url else "",
    )


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
