"""Secret addresses of owners' pages: anyone with the address sees the page, and nobody can guess it.

A token has 128 random bits from the caller, or is derived from the job's id and a key. Only its hash is
stored: a reader of the table of links cannot open a page. A withdrawn link never works again.

Source: RFC 4648 section 5 (base64url), RFC 2104 (HMAC), FIPS 180-4 (SHA-256).
"""

from __future__ import annotations

import hmac
import json
import re
from base64 import urlsafe_b64encode
from dataclasses import asdict, dataclass, replace
from datetime import datetime
from hashlib import sha256
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Callable

TOKEN_BYTES = 16
MIN_KEY_BYTES = 32
"""Minimum number of bytes of a key for tokens: that of the hash."""

TOKEN = re.compile(r"[A-Za-z0-9_-]{22}")
"""A token as written in an address."""


@dataclass(frozen=True)
class Link:
    """The link to the page of one job.

    Attributes:
        job: The id of the job.
        digest: SHA-256 of the token, in hexadecimal.
        created: When it was made, aware.
        withdrawn: When it was withdrawn; None while it works.
    """

    job: str
    digest: str
    created: datetime
    withdrawn: datetime | None = None


def random_token(random_bytes: Callable[[int], bytes]) -> str:
    """Return a token from a source of randomness such as `secrets.token_bytes`.

    Raises:
        ValueError: The source returns too few bytes.
    """
    drawn = random_bytes(TOKEN_BYTES)
    if len(drawn) != TOKEN_BYTES:
        raise ValueError(f"a token needs {TOKEN_BYTES} random bytes, not {len(drawn)}")
    return _text(drawn)


def derive_token(job: str, key: bytes, number: int = 1) -> str:
    """Return the token of a job derived from a key: the same key gives the same token.

    Args:
        job: The id of the job.
        key: Secret, 32 bytes at least.
        number: Number of the link of the job; a renewed link has the next number.

    Raises:
        ValueError: The key is too short.
    """
    if len(key) < MIN_KEY_BYTES:
        raise ValueError(f"a key has {MIN_KEY_BYTES} bytes at least")
    return _text(hmac.digest(key, f"owner-page\n{number}\n{job}".encode(), "sha256")[:TOKEN_BYTES])


def token_digest(token: str) -> str:
    """Return the hash of a token, which is stored."""
    return sha256(token.encode()).hexdigest()


def _text(token: bytes) -> str:
    return urlsafe_b64encode(token).decode().rstrip("=")


@dataclass(frozen=True)
class LinkTable:
    """All links, as a value: each change gives a new table."""

    links: tuple[Link, ...] = ()

    def job_of(self, token: str) -> str | None:
        """Return the id of the job whose page a token opens, or None."""
        if not TOKEN.fullmatch(token):
            return None
        digest = token_digest(token)
        found = [each for each in self.links if hmac.compare_digest(each.digest, digest)]
        return next((each.job for each in found if each.withdrawn is None), None)

    def of(self, job: str) -> tuple[Link, ...]:
        """Return the links of a job, including withdrawn ones, in the order of creation."""
        return tuple(each for each in self.links if each.job == job)

    def add(self, job: str, token: str, at: datetime) -> LinkTable:
        """Return the table with one more link.

        Raises:
            ValueError: It is not a token, or it was used before.
        """
        if not TOKEN.fullmatch(token):
            raise ValueError("is not a token of 128 bits")
        link = Link(job, token_digest(token), at)
        if any(each.digest == link.digest for each in self.links):
            raise ValueError("a token can be used only once")
        return LinkTable((*self.links, link))

    def withdraw(self, job: str, at: datetime) -> LinkTable:
        """Return the table with all links of a job withdrawn."""
        return LinkTable(
            tuple(
                replace(each, withdrawn=at) if each.job == job and each.withdrawn is None else each
                for each in self.links
            )
        )

    def renew(self, job: str, token: str, at: datetime) -> LinkTable:
        """Return the table with a new link of a job and the earlier ones withdrawn."""
        return self.withdraw(job, at).add(job, token, at)

    def to_json(self) -> bytes:
        """Return the table as JSON text, for storage."""
        rows = [
            {
                **asdict(each),
                "created": each.created.isoformat(),
                "withdrawn": each.withdrawn.isoformat() if each.withdrawn else None,
            }
            for each in self.links
        ]
        return f"{json.dumps({'links': rows}, indent=1)}\n".encode()


def read_links(text: bytes) -> LinkTable:
    """Return the table of a JSON text.

    Raises:
        ValueError: It is not a table of links.
    """
    try:
        return LinkTable(
            tuple(
                Link(
                    str(each["job"]),
                    str(each["digest"]),
                    datetime.fromisoformat(each["created"]),
                    datetime.fromisoformat(each["withdrawn"]) if each["withdrawn"] else None,
                )
                for each in json.loads(text)["links"]
            )
        )
    except (LookupError, TypeError) as fault:
        raise ValueError(f"is not a table of links: {fault}") from None
