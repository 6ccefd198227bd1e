"""The tree of errors, and the finding: what is wrong, where, and how to fix it.

    HandoverError
     |-- UnusableInput      the input cannot be used; carries every finding at once (exit status 2)
     |-- OutOfRange         a value is outside the range that the source of a formula covers
     |-- DownloadFailed     the forecast could not be downloaded (exit status 1)
     |-- RenderingFailed    the PDF engine warned or failed (exit status 1)
     `-- MissingLibraries   the PDF engine cannot start on this machine (exit status 1)

Readers return what they could read together with findings; exceptions are for callers that cannot continue.
"""

from __future__ import annotations

import unicodedata
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence
    from typing import Self

Severity = Literal["fault", "caution"]

_HIDDEN = {"Cc", "Cs", "Cf", "Co", "Cn", "Zl", "Zp"}
"""Categories of Unicode: controls, halves of surrogate pairs, formats, no characters, breaks of lines."""

_NEEDED = frozenset(
    "\u200c\u200d\u0600\u0601\u0602\u0603\u0604\u0605\u06dd\u070f\u0890\u0891\u08e2\U000110bd\U000110cd"
)
"""Format characters that scripts need: two joiners, and signs that are drawn around numbers or words."""

_BLANK_LETTERS = frozenset("\u115f\u1160\u3164\uffa0")
"""Letters by their category, and blank."""


def is_hidden(char: str) -> bool:
    """Return whether a character cannot be seen, or turns the text around it: U+202E makes gpj of jpg.

    These are all of Unicode's format characters but the joiners and the signs that some scripts need.
    """
    return char in _BLANK_LETTERS or (unicodedata.category(char) in _HIDDEN and char not in _NEEDED)


def show_hidden(text: str) -> str:
    """Return a text with the code of each hidden character in its place; a tab is a space."""
    if text.isprintable() and text.isascii():
        return text
    text = text.replace("\t", " ")
    return "".join(f"\\u{ord(each):04x}" if is_hidden(each) else each for each in text)


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong or doubtful in an input, in words by which the reader can fix it.

    A fault makes the input unusable; a caution is printed and work continues. No text of it has a hidden
    character, wherever it is shown.
    """

    problem: str
    file: str | None = None
    line: int | None = None
    field: str | None = None
    expected: str | None = None
    example: str | None = None
    severity: Severity = "fault"

    def __post_init__(self) -> None:
        for name in ("problem", "file", "field", "expected", "example"):
            text = getattr(self, name)
            if text is not None and (shown := show_hidden(text)) != text:
                object.__setattr__(self, name, shown)

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.file and self.line else self.file
        parts = [part for part in (place, self.field, self.problem) if part]
        sentence = ": ".join(parts)
        if self.expected:
            sentence += f"; expected {self.expected}"
        if self.example:
            sentence += f"; for example {self.example}"
        return sentence


class HandoverError(Exception):
    """The base class of all errors of this package."""


def fault_text(fault: Exception) -> str:
    """Return in words what went wrong with one of several items, whatever it is."""
    if isinstance(fault, HandoverError):
        return str(fault)
    if isinstance(fault, OSError):
        return f"{fault.filename or 'The system'}: {fault.strerror or fault}"
    return f"an error in the program itself: {type(fault).__name__}: {fault}"


class UnusableInput(HandoverError):
    """The input cannot be used. Carries all findings, not only the first."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings = tuple(findings)
        super().__init__("\n".join(str(finding) for finding in self.findings))

    @classmethod
    def with_finding(
        cls,
        problem: str,
        *,
        file: str | None = None,
        field: str | None = None,
        expected: str | None = None,
        example: str | None = None,
    ) -> Self:
        """Return the error for one fault. The arguments are those of `Finding`."""
        return cls([Finding(problem, file=file, field=field, expected=expected, example=example)])

    def __reduce__(self) -> tuple[type[UnusableInput], tuple[tuple[Finding, ...]]]:
        """Travel between processes with all findings."""
        return type(self), (self.findings,)


class OutOfRange(HandoverError, ValueError):
    """A value is outside the range that the source of a formula covers."""


class DownloadFailed(HandoverError):
    """A forecast could not be downloaded; the message says from where, why, and what to do."""


class RenderingFailed(HandoverError):
    """A document could not be rendered cleanly; the message is the engine's own warning."""


class MissingLibraries(HandoverError):
    """The system lacks libraries that the PDF engine needs. Carries the remedy, line by line."""

    def __init__(self, problem: str, remedy: Sequence[str]) -> None:
        self.problem = problem
        self.remedy = tuple(remedy)
        super().__init__(" ".join([problem, *(line.strip() for line in remedy)]))

    def __reduce__(self) -> tuple[type[MissingLibraries], tuple[str, tuple[str, ...]]]:
        """Travel between processes with the remedy."""
        return type(self), (self.problem, self.remedy)
