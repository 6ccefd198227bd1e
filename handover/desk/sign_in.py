"""Set-up, invitations, signing in and out."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.concurrency import run_in_threadpool
from starlette.responses import RedirectResponse
from starlette.routing import Route

from handover.desk.pages import LANGUAGES, browser_language, page
from handover.desk.sessions import (
    SIGN_IN,
    desk_of,
    drop_session,
    require,
    session_secret,
    set_session,
    signed_in,
)
from handover.service.desk import people
from handover.service.desk.people import NewPerson
from handover.service.desk.refusals import DeskRefusal, TooManyAttempts

if TYPE_CHECKING:
    from collections.abc import Callable

    from starlette.datastructures import FormData
    from starlette.requests import Request
    from starlette.responses import Response

MAX_FIELDS = 20


def sign_in_routes() -> list[Route]:
    """Return the routes."""
    return [
        Route("/", home),
        Route(SIGN_IN, show_sign_in),
        Route(SIGN_IN, post_sign_in, methods=["POST"]),
        Route("/sign-out", post_sign_out, methods=["POST"]),
        Route("/join/{secret}", show_join),
        Route("/join/{secret}", post_join, methods=["POST"]),
        Route("/language", post_language, methods=["POST"]),
    ]


def home(request: Request) -> Response:
    """Go to the pages of who is signed in."""
    person = signed_in(request)
    where = SIGN_IN if person is None else "/office" if person.may("office") else "/crew"
    return RedirectResponse(where, 303)


# ---- signing in and out -----------------------------------------------------------------------------


def show_sign_in(request: Request) -> Response:
    """Show the form; where no firm is set up yet, what to do."""
    return _sign_in_page(request)


def _sign_in_page(request: Request, refusal: str = "", login: str = "", status: int = 200) -> Response:
    firm = people.firm_name(desk_of(request))
    after = _own_path(request.query_params.get("next", "/"))
    return page(
        "sign_in.html",
        browser_language(request),
        status,
        firm=firm,
        refusal=refusal,
        login=login,
        after=after,
    )


async def post_sign_in(request: Request) -> Response:
    """Sign somebody in."""
    form = await request.form(max_fields=MAX_FIELDS, max_files=0)
    return await run_in_threadpool(_sign_in, request, form)


def _sign_in(request: Request, form: FormData) -> Response:
    login = form_text(form, "login")
    try:
        secret = people.sign_in(desk_of(request), login, form_text(form, "password"), client_address(request))
    except DeskRefusal as refused:
        return _sign_in_page(request, refused.code, login, _status(refused))
    return set_session(request, RedirectResponse(_own_path(form_text(form, "next")), 303), secret)


async def post_sign_out(request: Request) -> Response:
    """Sign somebody out: here, or everywhere."""
    form = await request.form(max_fields=MAX_FIELDS, max_files=0)
    return await run_in_threadpool(_sign_out, request, bool(form.get("everywhere")))


def _sign_out(request: Request, everywhere: bool) -> Response:
    person, secret = signed_in(request), session_secret(request)
    if person is not None and everywhere:
        people.end_sessions(desk_of(request), person)
    elif secret is not None:
        people.end_session(desk_of(request), secret)
    return drop_session(request, RedirectResponse(SIGN_IN, 303))


async def post_language(request: Request) -> Response:
    """Note the language that somebody chose."""
    form = await request.form(max_fields=MAX_FIELDS, max_files=0)
    language, after = form_text(form, "language"), _own_path(form_text(form, "next"))
    person = await run_in_threadpool(require, request, "crew")
    if language in LANGUAGES:
        await run_in_threadpool(people.choose_language, desk_of(request), person, language)
    return RedirectResponse(after, 303)


# ---- one-time links ---------------------------------------------------------------------------------


def show_join(request: Request) -> Response:
    """Show the form behind a one-time link."""
    return _join_page(request)


def _join_page(request: Request, refusal: str = "", form: FormData | None = None) -> Response:
    desk, secret = desk_of(request), request.path_params["secret"]
    texts = {name: form_text(form, name) for name in ("firm", "name", "login")}
    firm = people.firm_name(desk)
    try:
        role = people.open_invitation(desk, secret, client_address(request))
    except DeskRefusal as refused:
        gone = 429 if isinstance(refused, TooManyAttempts) else 410
        return page(
            "join.html",
            browser_language(request),
            gone,
            firm=firm,
            role=None,
            refusal=refused.code,
            texts=texts,
        )
    return page(
        "join.html",
        browser_language(request),
        422 if refusal else 200,
        firm=firm,
        role=role,
        refusal=refusal,
        texts=texts,
    )


async def post_join(request: Request) -> Response:
    """Make the person whom a one-time link invites; the first of a firm names the firm."""
    form = await request.form(max_fields=MAX_FIELDS, max_files=0)
    return await run_in_threadpool(_join, request, form)


def _join(request: Request, form: FormData) -> Response:
    desk, secret = desk_of(request), request.path_params["secret"]
    new = NewPerson(
        form_text(form, "name"),
        form_text(form, "login"),
        form_text(form, "password"),
        browser_language(request),
    )
    make: Callable[[], people.Person] = (
        (lambda: people.accept_invitation(desk, secret, new))
        if people.firm_name(desk) is not None
        else lambda: people.set_up_firm(desk, secret, form_text(form, "firm"), new)
    )
    try:
        person = make()
    except DeskRefusal as refused:
        return _join_page(request, refused.code, form)
    where = "/office" if person.may("office") else "/crew"
    return set_session(request, RedirectResponse(where, 303), people.begin_session(desk, person))


# ---- shared -----------------------------------------------------------------------------------------


def client_address(request: Request) -> str:
    """Return the address that a request comes from; behind a proxy, what that says."""
    return request.client.host if request.client else ""


def form_text(form: FormData | None, name: str) -> str:
    """Return a field of a form; empty where it is missing or a file."""
    value = form.get(name) if form is not None else None
    return value if isinstance(value, str) else ""


def _own_path(text: str) -> str:
    """Return a path of this desk; "/" for the address of another site."""
    is_own = text.startswith("/") and not text.startswith("//") and "\\" not in text and text.isprintable()
    return text if is_own else "/"


def _status(refused: DeskRefusal) -> int:
    return 429 if isinstance(refused, TooManyAttempts) else 401
