"""The owner's page behind an unguessable link: what to do now, ticks, calendars, sheet, acknowledgement."""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import sha256
from typing import TYPE_CHECKING, NoReturn
from zoneinfo import ZoneInfo

from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException
from starlette.responses import HTMLResponse, RedirectResponse, Response
from starlette.routing import Route

from handover.desk.pages import LANGUAGES, browser_language, page, page_text
from handover.desk.sessions import desk_of
from handover.desk.sign_in import client_address, form_text
from handover.documents.calendars import calendar_feed
from handover.documents.care_sheet import LOGO_PIXELS, PHOTO_PIXELS
from handover.documents.live_page import TICK_DONE, LiveSheet, event_file, live_charts, live_picture
from handover.documents.translations import load_translations
from handover.service.desk import owner_pages
from handover.service.desk.attempts import SIGN_INS_OF_PLACE, allow
from handover.service.desk.card_store import CardStore
from handover.service.desk.owner_links import job_of_token
from handover.service.desk.people import firm_name
from handover.service.desk.refusals import DeskRefusal, TooManyAttempts

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from starlette.datastructures import FormData
    from starlette.requests import Request

    from handover.desk.page_cache import PageCache
    from handover.service.desk.owner_pages import OwnerIssue, OwnerIssues, OwnerWords

MAX_FIELDS = 600
"""Boxes of a page."""

CALENDAR = "text/calendar; charset=utf-8"


def owner_routes() -> list[Route]:
    """Return the routes."""
    here = "/o/{token}"
    return [
        Route(here, show_page),
        Route(f"{here}/owner.ics", send_feed),
        Route(f"{here}/e/{{name}}", send_event),
        Route(f"{here}/p/{{index:int}}-{{longest:int}}.jpg", send_picture),
        Route(f"{here}/care-sheet.pdf", send_sheet),
        Route(f"{here}/care-page.html", send_copy),
        Route(f"{here}/ticks", post_ticks, methods=["POST"]),
        Route(f"{here}/could-not", post_could_not, methods=["POST"]),
        Route(f"{here}/seen", post_seen, methods=["POST"]),
        Route(f"{here}/acknowledge", post_acknowledgement, methods=["POST"]),
    ]


# ---- the page ---------------------------------------------------------------------------------------


def show_page(request: Request) -> Response:
    """Show the page; before there are papers, what is known."""
    return _page(request)


def _page(request: Request, refusal: str = "") -> Response:
    job = _job(request)
    issue = _issues(request).get(job)
    if issue is None:
        return _wait_page(request, job)
    shown = _state(request, issue)
    cache: PageCache = request.app.state.pages
    at = desk_of(request).now()
    text = None if refusal else cache.get(shown, at)
    if text is None:
        text, until = _page_text(request, issue, shown, at, refusal)
        if not refusal:
            cache.put(shown, text, at, until)
    return HTMLResponse(text, 422 if refusal else 200)


@dataclass(frozen=True)
class _PageState:
    """What a page shows, beside the hour: the issue, its language, the address, what the owner said."""

    seal: str
    language: str
    address: str
    words: OwnerWords


def _state(request: Request, issue: OwnerIssue) -> _PageState:
    words = owner_pages.owner_words(desk_of(request), issue.job.id, issue.schedule.revision)
    return _PageState(
        issue.seal,
        _language(request, issue),
        _address(request),
        words,
    )


def _page_text(
    request: Request, issue: OwnerIssue, shown: _PageState, at: datetime, refusal: str
) -> tuple[str, datetime | None]:
    """Return the page as text, and until when it is right."""
    words = issue.words(shown.language)
    care = _sheet(request, issue, shown.language)
    work = care.work_at(at)
    text = page_text(
        "owner.html",
        shown.language,
        care=care,
        wording=words,
        say=words.say,
        work=work,
        rest=care.rest_at(at),
        crew=care.crew_at(at),
        seen=shown.words.seen,
        said=shown.words.acknowledgement,
        refusal=refusal,
        languages=[each for each in LANGUAGES if each != shown.language],
        feed=f"{shown.address}/owner.ics",
        ticked="\n".join(sorted(key for key in care.tick_names if care.said.get(key) == TICK_DONE)),
        speak=words.speak,
        zone=ZoneInfo(issue.schedule.timezone),
        names={each: load_translations(each).say("language") for each in LANGUAGES},
        **live_charts(words),
    )
    changes = (work.changes_at, care.crew_changes_at(at))
    return text, min((each for each in changes if each), default=None)


def _wait_page(request: Request, job: str) -> Response:
    """Return the page before there are papers: it looks again by itself."""
    desk = desk_of(request)
    known = CardStore(desk.engine).waiting_facts(job)
    language = known.language if known.language in LANGUAGES else browser_language(request)
    return page("owner_wait.html", language, firm=firm_name(desk), phone=known.phone)


def _sheet(request: Request, issue: OwnerIssue, language: str) -> LiveSheet:
    ticks = owner_pages.ticks_of(desk_of(request), issue.job.id)
    address = f"/o/{request.path_params['token']}"
    calendar = issue.calendar(language)
    return LiveSheet(issue.words(language), issue.pictures, calendar, address=address, ticks=ticks)


# ---- files ------------------------------------------------------------------------------------------


def send_feed(request: Request) -> Response:
    """Return the calendar as a feed. A program that has it already gets no second copy."""
    issue = _issue(request)
    calendar, address = issue.calendar(_language(request, issue)), _address(request)
    if calendar is None:
        raise HTTPException(404)
    name = issue.words(_language(request, issue)).say("calendar.owner-name", site=issue.job.site.name)
    feed = calendar_feed(calendar, name=name, source=f"{address}/owner.ics", page=address)
    return _tagged_file(request, feed, CALENDAR)


def _tagged_file(request: Request, content: bytes, media: str) -> Response:
    """Return a file with its tag; nothing but the tag to who has it."""
    tag = f'"{sha256(content).hexdigest()[:32]}"'
    headers = {"ETag": tag, "Cache-Control": "private, max-age=600"}
    known = [each.strip().removeprefix("W/") for each in request.headers.get("if-none-match", "").split(",")]
    if tag in known or "*" in known:
        return Response(status_code=304, headers=headers)
    return Response(content, media_type=media, headers=headers)


def send_event(request: Request) -> Response:
    """Return one event, which a phone opens in its calendar."""
    issue = _issue(request)
    language = _language(request, issue)
    calendar = issue.calendar(language)
    if calendar is None:
        raise HTTPException(404)
    event = event_file(issue.words(language), calendar, request.path_params["name"])
    if event is None:
        raise HTTPException(404)
    return _tagged_file(request, event, CALENDAR)


def send_picture(request: Request) -> Response:
    """Return a picture, written anew."""
    index, longest = request.path_params["index"], request.path_params["longest"]
    picture = live_picture(_issue(request).pictures, index, longest) if longest in _PIXELS else None
    if picture is None:
        raise HTTPException(404)
    return _tagged_file(request, picture, "image/jpeg")


_PIXELS = (LOGO_PIXELS, PHOTO_PIXELS)


def send_sheet(request: Request) -> Response:
    """Return the care sheet as PDF."""
    return _paper(request, "care-sheet", ".pdf", "application/pdf")


def send_copy(request: Request) -> Response:
    """Return the page as one file to keep: it says as of when it is."""
    response = _paper(request, "care-page", ".html", "text/html; charset=utf-8")
    # It has its style and its script inside, and its own policy for them; it is to be kept, not shown here.
    response.headers["Content-Disposition"] = 'attachment; filename="care-page.html"'
    return response


def _paper(request: Request, stem: str, suffix: str, media: str) -> Response:
    issue = _issue(request)
    content = _issues(request).paper(issue.job.id, stem, suffix, _language(request, issue))
    if content is None:
        raise HTTPException(404)
    return _tagged_file(request, content, media)


# ---- what the owner says ----------------------------------------------------------------------------


async def post_ticks(request: Request) -> Response:
    """Keep the ticks that changed since the page was shown: two phones do not undo each other."""
    form = await request.form(max_fields=MAX_FIELDS, max_files=0)

    def change() -> None:
        issue = _issue(request)
        names = _sheet(request, issue, _language(request, issue)).tick_names
        before = {*form_text(form, "before").splitlines()} & names
        after = {str(each) for each in form.getlist("tick")} & names
        owner_pages.change_ticks(desk_of(request), issue.job.id, after - before, before - after)

    return await run_in_threadpool(_after, request, change, "watering")


async def post_could_not(request: Request) -> Response:
    """Note that a task could not be done; the page then says what to do."""
    form = await request.form(max_fields=MAX_FIELDS, max_files=0)

    def change() -> None:
        issue = _issue(request)
        key = form_text(form, "task")
        if key not in owner_pages.task_keys(issue.schedule):
            raise HTTPException(422)
        owner_pages.note_could_not(desk_of(request), issue.job.id, key)

    return await run_in_threadpool(_after, request, change, "now")


async def post_seen(request: Request) -> Response:
    """Note that the owner has seen what changed."""

    def change() -> None:
        issue = _issue(request)
        owner_pages.note_seen(desk_of(request), issue.job.id, issue.schedule.revision)

    return await run_in_threadpool(_after, request, change, "now")


async def post_acknowledgement(request: Request) -> Response:
    """Keep the acknowledgement of the issue that was read, and have it archived."""
    form = await request.form(max_fields=MAX_FIELDS, max_files=0)
    return await run_in_threadpool(_acknowledge, request, form)


def _acknowledge(request: Request, form: FormData) -> Response:
    issue = _issue(request)
    job, revision = issue.job.id, issue.schedule.revision
    if form_text(form, "revision") != str(revision):  # a later issue came while this one was read
        return RedirectResponse(_path(request), 303)
    try:
        owner_pages.acknowledge(desk_of(request), job, revision, form_text(form, "name"))
    except TooManyAttempts as refused:
        _too_many(refused)
    except DeskRefusal as refused:
        return _page(request, refused.code)
    request.app.state.work.archive_acknowledgement(job, revision)
    return RedirectResponse(f"{_path(request)}#acknowledge", 303)


def _after(request: Request, change: Callable[[], None], where: str) -> Response:
    """Change something, and go back to the page."""
    try:
        change()
    except TooManyAttempts as refused:
        _too_many(refused)
    return RedirectResponse(f"{_path(request)}#{where}", 303)


def _too_many(refused: TooManyAttempts) -> NoReturn:
    raise HTTPException(429, headers={"Retry-After": str(refused.wait_s)}) from refused


# ---- shared -----------------------------------------------------------------------------------------


def _job(request: Request) -> str:
    """Return the job of a link; who guesses links is limited."""
    desk = desk_of(request)
    job = job_of_token(desk, request.path_params["token"])
    if job is not None:
        return job
    try:
        allow(desk, f"place {client_address(request)}", SIGN_INS_OF_PLACE)
    except TooManyAttempts as refused:
        _too_many(refused)
    raise HTTPException(410)


def _issue(request: Request) -> OwnerIssue:
    issue = _issues(request).get(_job(request))
    if issue is None:
        raise HTTPException(404)
    return issue


def _issues(request: Request) -> OwnerIssues:
    issues: OwnerIssues = request.app.state.issues
    return issues


def _language(request: Request, issue: OwnerIssue) -> str:
    """Return the language that the address asks for; else the owner's."""
    asked = request.query_params.get("language", "")
    return asked if asked in LANGUAGES else issue.language


def _path(request: Request) -> str:
    asked = request.query_params.get("language", "")
    return f"/o/{request.path_params['token']}" + (f"?language={asked}" if asked in LANGUAGES else "")


def _address(request: Request) -> str:
    return f"{request.app.state.url}/o/{request.path_params['token']}"
