"""Who is signed in: the cookie of a session, the person, what they may see."""

from __future__ import annotations

from typing import TYPE_CHECKING

from starlette.exceptions import HTTPException
from starlette.responses import RedirectResponse

from handover.service.desk.people import SESSION_LENGTH, person_of_session

if TYPE_CHECKING:
    from starlette.requests import Request
    from starlette.responses import Response

    from handover.service.desk.database import Desk
    from handover.service.desk.people import Person, Role

SIGN_IN = "/sign-in"


class SignInNeeded(Exception):
    """Nobody is signed in, and somebody has to be."""


def cookie_name(*, is_secure: bool) -> str:
    """Return the name of the cookie; a browser takes one with this prefix over HTTPS alone."""
    return "__Host-desk" if is_secure else "desk"


def desk_of(request: Request) -> Desk:
    """Return the desk that a request is about."""
    desk: Desk = request.app.state.desk
    return desk


def session_secret(request: Request) -> str | None:
    """Return the secret of the session of a request, if there is one."""
    return request.cookies.get(cookie_name(is_secure=request.app.state.is_secure))


def signed_in(request: Request) -> Person | None:
    """Return who is signed in."""
    if not hasattr(request.state, "person"):
        secret = session_secret(request)
        request.state.person = person_of_session(desk_of(request), secret) if secret else None
    person: Person | None = request.state.person
    return person


def require(request: Request, role: Role) -> Person:
    """Return who is signed in, and may do what a role may do.

    Raises:
        SignInNeeded: Nobody is signed in.
        HTTPException: They may not.
    """
    person = signed_in(request)
    if person is None:
        raise SignInNeeded
    if not person.may(role):
        raise HTTPException(403)
    return person


def ask_to_sign_in(request: Request, _: Exception) -> Response:
    """Return the way to the page where people sign in."""
    if request.method != "GET":
        return RedirectResponse(SIGN_IN, 303)
    return RedirectResponse(f"{SIGN_IN}?next={request.url.path}", 303)


def set_session(request: Request, response: Response, secret: str) -> Response:
    """Give a browser the cookie of a session."""
    is_secure = request.app.state.is_secure
    response.set_cookie(
        cookie_name(is_secure=is_secure),
        secret,
        max_age=int(SESSION_LENGTH.total_seconds()),
        path="/",
        secure=is_secure,
        httponly=True,
        samesite="lax",
    )
    return response


def drop_session(request: Request, response: Response) -> Response:
    """Take the cookie back."""
    is_secure = request.app.state.is_secure
    name = cookie_name(is_secure=is_secure)
    response.delete_cookie(name, path="/", secure=is_secure, httponly=True, samesite="lax")
    return response
