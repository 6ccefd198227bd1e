"""Text from outside, made harmless for messages, terminals, headers and calendars; what an address is."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Mapping

EMAIL_ADDRESS = r"[A-Za-z0-9_.!#$%&'*+/=?^`{|}~-]{1,64}@(?:[A-Za-z0-9-]{1,63}\.){1,8}[A-Za-z0-9-]{2,63}"
"""Pattern of an email address without quotes, comments or letters beyond ASCII: the common part of RFC 5321,
section 4.1.2. Not every mail server takes others (RFC 6531)."""

CONTROL_CHARACTERS = ("Cc", "Cs")
"""Unicode's controls, and halves of surrogate pairs, which UTF-8 cannot carry."""

MAX_QUOTED = 40
"""Characters of a value that a message quotes."""

MAX_SHORT = 300
"""Characters of a line that a message carries whole."""


def is_email_address(text: str) -> bool:
    """Return whether a text is an email address: see `EMAIL_ADDRESS`."""
    return re.fullmatch(EMAIL_ADDRESS, text) is not None


def short_line(text: object) -> str:
    """Return what a file or a service says as one line, short enough for a message."""
    line = one_line(str(text))
    return line if len(line) <= MAX_SHORT else f"{line[: MAX_SHORT - 3]}..."


def one_line(text: str) -> str:
    """Return a text as one line, words one space apart and no control character in it."""
    return " ".join(plain_lines(text).split())


def plain_lines(text: str) -> str:
    """Return a text with newlines for every kind of line break, and no other control character."""
    return "\n".join(_without_controls(line.replace("\t", " ")) for line in text.splitlines())


def _without_controls(text: str) -> str:
    if text.isprintable():  # most texts: nothing in them is a control
        return text
    return "".join(each for each in text if unicodedata.category(each) not in CONTROL_CHARACTERS)


def for_terminal(text: object) -> str:
    """Return a text for one line of a terminal: a control character is shown, not obeyed."""
    return "".join(
        each if each.isprintable() else " " if each.isspace() and each > "\x7f" else f"\\x{ord(each):02x}"
        for each in str(text)
    )


def quoted_text(value: object) -> str:
    """Return a value from outside as a message may carry it: short, on one line, nothing invisible."""
    if isinstance(value, str):
        text = "".join(
            char if char.isprintable() else f"\\u{ord(char):04x}" for char in value[: MAX_QUOTED + 1]
        )
        return f'"{text[:MAX_QUOTED]}..."' if len(text) > MAX_QUOTED else f'"{text}"'
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, Mapping):
        return "a table"
    if isinstance(value, list | tuple):
        return "a list"
    try:
        text = str(value)
    except ValueError:  # Python will not write out an integer of thousands of digits
        return "a very long number"
    return text if len(text) <= MAX_QUOTED else f"{text[:MAX_QUOTED]}..."
