"""Secrets that the desk hands out: drawn by chance, kept as a hash alone; and passwords, kept by argon2id.

Source: RFC 9106 (Argon2).
"""

from __future__ import annotations

from base64 import urlsafe_b64encode
from functools import cache
from hashlib import sha256
from typing import TYPE_CHECKING

from handover.service.desk.refusals import DeskRefusal

if TYPE_CHECKING:
    from collections.abc import Callable

    from argon2 import PasswordHasher

SECRET_BYTES = 32
MIN_PASSWORD = 10
"""Characters of a password at least."""

MAX_PASSWORD = 200


def draw_secret(random_bytes: Callable[[int], bytes]) -> str:
    """Return a new secret as text for an address or a cookie."""
    return urlsafe_b64encode(random_bytes(SECRET_BYTES)).decode().rstrip("=")


def digest(secret: str) -> str:
    """Return the hash of a secret, which is kept."""
    return sha256(secret.encode()).hexdigest()


@cache
def _hasher() -> PasswordHasher:
    from argon2 import PasswordHasher  # noqa: PLC0415 - only where somebody signs in

    return PasswordHasher()


def hash_password(password: str) -> str:
    """Return a password as it is kept.

    Raises:
        DeskRefusal: It is too short, or longer than anybody types.
    """
    if len(password) < MIN_PASSWORD:
        raise DeskRefusal("password-short")
    if len(password) > MAX_PASSWORD:
        raise DeskRefusal("password-long")
    return _hasher().hash(password)


def is_password(kept: str | None, password: str) -> bool:
    """Return whether a password is the one that is kept. It takes as long where there is none."""
    from argon2.exceptions import InvalidHashError, VerificationError  # noqa: PLC0415 - as above

    try:
        return _hasher().verify(kept or _nobodys_password(), password) and kept is not None
    except (VerificationError, InvalidHashError):
        return False


@cache
def _nobodys_password() -> str:
    return _hasher().hash("the password of nobody")
