"""Tokens of the HTTP API: shown once, kept as a hash, withdrawn by name."""

from __future__ import annotations

from typing import TYPE_CHECKING

from sqlalchemy import insert, select, update

from handover.base.text import one_line
from handover.service.desk.audit import write_audit
from handover.service.desk.database import to_seconds
from handover.service.desk.passwords import digest, draw_secret
from handover.service.desk.refusals import DeskRefusal
from handover.service.desk.tables import TOKEN

if TYPE_CHECKING:
    from handover.service.desk.database import Desk

MAX_TOKEN_NAME = 60


def new_token(desk: Desk, name: str, by: str) -> str:
    """Return a new token, which nobody can read again.

    Args:
        desk: The desk.
        name: Of the program that uses it.
        by: Who makes it.

    Raises:
        DeskRefusal: It has no name, or a token of that name is in use.
    """
    shown, secret, at = one_line(name).strip()[:MAX_TOKEN_NAME], draw_secret(desk.random_bytes), desk.now()
    if not shown:
        raise DeskRefusal("token-name")
    with desk.writing() as connection:
        in_use = select(TOKEN.c.name).where(TOKEN.c.name == shown, TOKEN.c.withdrawn.is_(None))
        if connection.execute(in_use).first():
            raise DeskRefusal("token-taken")
        values = {"digest": digest(secret), "name": shown, "created": to_seconds(at)}
        connection.execute(insert(TOKEN).values(**values))
        write_audit(connection, at, by, "token", shown)
    return secret


def token_name(desk: Desk, secret: str) -> str | None:
    """Return the name of a token; None where there is none, or it was withdrawn."""
    statement = select(TOKEN.c.name).where(TOKEN.c.digest == digest(secret), TOKEN.c.withdrawn.is_(None))
    with desk.reading() as connection:
        return connection.execute(statement).scalar()


def token_names(desk: Desk) -> tuple[str, ...]:
    """Return the names of the tokens in use."""
    statement = select(TOKEN.c.name).where(TOKEN.c.withdrawn.is_(None)).order_by(TOKEN.c.name)
    with desk.reading() as connection:
        return tuple(connection.execute(statement).scalars())


def withdraw_token(desk: Desk, name: str, by: str) -> None:
    """Withdraw a token by its name."""
    at = desk.now()
    with desk.writing() as connection:
        chosen = update(TOKEN).where(TOKEN.c.name == name, TOKEN.c.withdrawn.is_(None))
        if connection.execute(chosen.values(withdrawn=to_seconds(at))).rowcount:
            write_audit(connection, at, by, "token-withdraw", name)
