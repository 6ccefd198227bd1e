"""The people of a firm: set-up by a one-time link, invitations, sessions, roles.

owner    everything, and who else may do what
office   jobs, links, messages, invitations for crews
crew     the crew's pages
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta
from typing import TYPE_CHECKING, Any, Literal, cast, get_args

from sqlalchemy import delete, func, insert, select, update
from sqlalchemy.exc import IntegrityError

from handover.base.text import one_line
from handover.service.desk.attempts import (
    SIGN_INS,
    SIGN_INS_OF_PLACE,
    check_attempts,
    count_attempt,
)
from handover.service.desk.audit import write_audit
from handover.service.desk.database import to_seconds, to_time
from handover.service.desk.passwords import digest, draw_secret, hash_password, is_password
from handover.service.desk.refusals import DeskRefusal
from handover.service.desk.tables import FIRM, INVITATION, PERSON, SESSION

if TYPE_CHECKING:
    from datetime import datetime

    from sqlalchemy import Connection

    from handover.service.desk.database import Desk

Role = Literal["owner", "office", "crew"]
ROLES: tuple[Role, ...] = get_args(Role)

SESSION_LENGTH = timedelta(days=60)
"""How long somebody stays signed in: a crew does not type passwords on a site."""

INVITATION_LENGTH = timedelta(days=7)
MAX_NAME = 120
MAX_LOGIN = 80


@dataclass(frozen=True)
class Person:
    """Somebody of the firm.

    Attributes:
        number: Of the person.
        name: As others call them.
        login: What they type to sign in.
        role: What they may do.
        language: Of their pages.
    """

    number: int
    name: str
    login: str
    role: Role
    language: str

    def may(self, role: Role) -> bool:
        """Return whether they may do what a role may do."""
        return ROLES.index(self.role) <= ROLES.index(role)


@dataclass(frozen=True)
class NewPerson:
    """Somebody who joins: name, login, password and language as typed."""

    name: str
    login: str
    password: str
    language: str = "en"


@dataclass(frozen=True)
class Invitation:
    """An invitation that nobody has used yet."""

    role: Role
    created: datetime
    ends: datetime


# ---- the firm ---------------------------------------------------------------------------------------


def firm_name(desk: Desk) -> str | None:
    """Return the name of the firm; None before somebody has named it."""
    with desk.reading() as connection:
        return connection.execute(select(FIRM.c.name)).scalar()


def renew_setup(desk: Desk) -> str | None:
    """Return a new one-time secret for the set-up, and withdraw earlier ones; None where a firm is set up."""
    with desk.writing() as connection:
        if connection.execute(select(FIRM.c.number)).first():
            return None
        connection.execute(delete(INVITATION))
        return _invite(desk, connection, "owner")


def set_up_firm(desk: Desk, secret: str, firm: str, person: NewPerson) -> Person:
    """Name the firm and make its owner, by the one-time secret.

    Raises:
        DeskRefusal: The secret is used or unknown; a name is missing; the password is too short.
    """
    name = _name(firm, "firm-missing")
    password = hash_password(person.password)
    with desk.writing() as connection:
        role = _use_invitation(desk, connection, secret)
        if role != "owner" or connection.execute(select(FIRM.c.number)).first():
            raise DeskRefusal("invitation")
        connection.execute(insert(FIRM).values(number=1, name=name, created=to_seconds(desk.now())))
        new = _add_person(desk, connection, person, password, role)
        write_audit(connection, desk.now(), new.login, "firm", name)
        return new


# ---- invitations ------------------------------------------------------------------------------------


def invite(desk: Desk, role: Role, by: Person) -> str:
    """Return the one-time secret of a new invitation.

    Raises:
        DeskRefusal: Who invites may not do what the new person may.
    """
    if not by.may(role) or not by.may("office"):
        raise DeskRefusal("not-allowed")
    with desk.writing() as connection:
        write_audit(connection, desk.now(), by.login, "invite", role)
        return _invite(desk, connection, role)


def open_invitation(desk: Desk, secret: str, place: str) -> Role:
    """Return the role that an invitation is for.

    Raises:
        DeskRefusal: It is used or unknown, or too old.
        TooManyAttempts: Somebody tries secrets from this address.
    """
    at, what = desk.now(), f"place {place}"
    with desk.writing() as connection:
        check_attempts(connection, what, SIGN_INS_OF_PLACE, at)
        row = _invitation(desk, connection, secret)
        if row is None:
            count_attempt(connection, what, SIGN_INS_OF_PLACE, at)
    if row is None:
        raise DeskRefusal("invitation")
    return cast("Role", row.role)


def accept_invitation(desk: Desk, secret: str, person: NewPerson) -> Person:
    """Make a person by an invitation, once.

    Raises:
        DeskRefusal: It is used or unknown; a name is missing or taken; the password is too short.
    """
    password = hash_password(person.password)
    with desk.writing() as connection:
        role = _use_invitation(desk, connection, secret)
        new = _add_person(desk, connection, person, password, role)
        write_audit(connection, desk.now(), new.login, "join", role)
        return new


def invitations(desk: Desk) -> tuple[Invitation, ...]:
    """Return the invitations that can still be used."""
    statement = (
        select(INVITATION)
        .where(INVITATION.c.used.is_(None), INVITATION.c.ends > to_seconds(desk.now()))
        .order_by(INVITATION.c.created)
    )
    with desk.reading() as connection:
        rows = connection.execute(statement).all()
    return tuple(
        Invitation(cast("Role", each.role), to_time(each.created), to_time(each.ends)) for each in rows
    )


def _invite(desk: Desk, connection: Connection, role: Role) -> str:
    secret, at = draw_secret(desk.random_bytes), desk.now()
    ends = to_seconds(at + INVITATION_LENGTH)
    values = {"digest": digest(secret), "role": role, "created": to_seconds(at), "ends": ends}
    connection.execute(insert(INVITATION).values(**values))
    return secret


def _invitation(desk: Desk, connection: Connection, secret: str) -> Any:
    return connection.execute(
        select(INVITATION).where(
            INVITATION.c.digest == digest(secret),
            INVITATION.c.used.is_(None),
            INVITATION.c.ends > to_seconds(desk.now()),
        )
    ).first()


def _use_invitation(desk: Desk, connection: Connection, secret: str) -> Role:
    row = _invitation(desk, connection, secret)
    if row is None:
        raise DeskRefusal("invitation")
    used = update(INVITATION).where(INVITATION.c.digest == digest(secret)).values(used=to_seconds(desk.now()))
    connection.execute(used)
    return cast("Role", row.role)


def _add_person(desk: Desk, connection: Connection, new: NewPerson, password: str, role: Role) -> Person:
    name, login = _name(new.name, "name-missing"), read_login(new.login)
    if not login:
        raise DeskRefusal("login-missing")
    values = {"name": name, "login": login, "role": role, "language": new.language, "password": password}
    try:
        added = connection.execute(insert(PERSON).values(**values, created=to_seconds(desk.now())))
    except IntegrityError:
        raise DeskRefusal("login-taken") from None
    key = added.inserted_primary_key
    assert key is not None  # noqa: S101 - one row was added
    return Person(key[0], name, login, role, new.language)


def _name(text: str, missing: str) -> str:
    name = one_line(text).strip()[:MAX_NAME]
    if not name:
        raise DeskRefusal(missing)
    return name


def read_login(text: str) -> str:
    """Return a login as it is kept: in lower case, without blanks around it."""
    return one_line(text).strip().casefold()[:MAX_LOGIN]


# ---- sessions ---------------------------------------------------------------------------------------


def sign_in(desk: Desk, login: str, password: str, place: str) -> str:
    """Return the secret of a new session.

    Args:
        desk: The desk.
        login: As typed.
        password: As typed.
        place: The address that it comes from, for the limits.

    Raises:
        DeskRefusal: There is no such person, or the password is another.
        TooManyAttempts: It was tried too often.
    """
    at, who = desk.now(), read_login(login)
    limits = {f"sign-in {who}": SIGN_INS, f"place {place}": SIGN_INS_OF_PLACE}
    with desk.reading() as connection:
        for what, limit in limits.items():
            check_attempts(connection, what, limit, at)
        row = connection.execute(
            select(PERSON).where(PERSON.c.login == who, PERSON.c.closed.is_(None))
        ).first()
    if not is_password(row.password if row else None, password) or row is None:
        with desk.writing() as connection:
            for what, limit in limits.items():
                count_attempt(connection, what, limit, at)
            write_audit(connection, at, who, "sign-in-failed")
        raise DeskRefusal("sign-in")
    return begin_session(desk, _person(row))


def begin_session(desk: Desk, person: Person) -> str:
    """Return the secret of a new session of a person."""
    secret, at = draw_secret(desk.random_bytes), desk.now()
    with desk.writing() as connection:
        connection.execute(delete(SESSION).where(SESSION.c.ends <= to_seconds(at)))
        ends = to_seconds(at + SESSION_LENGTH)
        values = {"digest": digest(secret), "person": person.number, "created": to_seconds(at), "ends": ends}
        connection.execute(insert(SESSION).values(**values))
        write_audit(connection, at, person.login, "sign-in")
    return secret


def person_of_session(desk: Desk, secret: str) -> Person | None:
    """Return who a session belongs to; None where it has ended."""
    statement = (
        select(PERSON)
        .join(SESSION, SESSION.c.person == PERSON.c.number)
        .where(
            SESSION.c.digest == digest(secret),
            SESSION.c.ends > to_seconds(desk.now()),
            PERSON.c.closed.is_(None),
        )
    )
    with desk.reading() as connection:
        row = connection.execute(statement).first()
    return None if row is None else _person(row)


def end_session(desk: Desk, secret: str) -> None:
    """End a session."""
    with desk.writing() as connection:
        connection.execute(delete(SESSION).where(SESSION.c.digest == digest(secret)))


def end_sessions(desk: Desk, person: Person) -> None:
    """End all sessions of a person."""
    with desk.writing() as connection:
        connection.execute(delete(SESSION).where(SESSION.c.person == person.number))
        write_audit(connection, desk.now(), person.login, "sign-out-everywhere")


# ---- people -----------------------------------------------------------------------------------------


def people(desk: Desk) -> tuple[Person, ...]:
    """Return the people of the firm, by name."""
    with desk.reading() as connection:
        rows = connection.execute(
            select(PERSON).where(PERSON.c.closed.is_(None)).order_by(func.lower(PERSON.c.name))
        ).all()
    return tuple(map(_person, rows))


def close_account(desk: Desk, number: int, by: Person) -> None:
    """Let a person no longer sign in, and end their sessions.

    Raises:
        DeskRefusal: Only the owner of the firm may do that, and nobody to themselves.
    """
    if by.role != "owner" or by.number == number:
        raise DeskRefusal("not-allowed")
    with desk.writing() as connection:
        row = connection.execute(select(PERSON).where(PERSON.c.number == number)).first()
        if row is None:
            raise DeskRefusal("nobody")
        connection.execute(delete(SESSION).where(SESSION.c.person == number))
        closed = update(PERSON).where(PERSON.c.number == number, PERSON.c.closed.is_(None))
        connection.execute(closed.values(closed=to_seconds(desk.now())))
        write_audit(connection, desk.now(), by.login, "close-account", row.login)


def choose_language(desk: Desk, person: Person, language: str) -> None:
    """Note the language of a person."""
    with desk.writing() as connection:
        chosen = update(PERSON).where(PERSON.c.number == person.number).values(language=language)
        connection.execute(chosen)


def _person(row: Any) -> Person:
    return Person(row.number, row.name, row.login, row.role, row.language)
