"""Text from outside, made harmless for headers and calendar lines: it stays text."""

from __future__ import annotations

import unicodedata

CONTROL_CHARACTERS = ("Cc", "Cs")
"""Unicode's controls, and halves of surrogate pairs, which UTF-8 cannot carry."""


def plain_lines(text: str) -> str:
    """Return a text with newlines for every kind of line break, and no other control character."""
    lines = (_without_controls(line.replace("\t", " ")) for line in text.splitlines())
    return "\n".join(lines)


def plain_line(text: str) -> str:
    """Return a text as one line, words one space apart and no control character in it."""
    return " ".join(plain_lines(text).split())


def _without_controls(text: str) -> str:
    return "".join(each for each in text if unicodedata.category(each) not in CONTROL_CHARACTERS)
