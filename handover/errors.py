"""The tree of errors, and the finding: what is wrong, where, and how to mend it.

    HandoverError
     |-- UnusableInput      what came in cannot be used; carries every finding at once (exit status 2)
     |-- OutOfRange         a formula was asked for something its source does not cover
     |-- DownloadFailed     the forecast could not be had (exit status 1)
     |-- RenderingFailed    the PDF engine warned or failed (exit status 1)
     `-- MissingLibraries   the PDF engine cannot begin on this machine (exit status 1)

Readers return what they could read together with findings; exceptions are for callers who cannot go on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

Severity = Literal["fault", "caution"]


@dataclass(frozen=True)
class Finding:
    """One thing that is wrong or doubtful in what came in, said so that the reader can mend it.

    A fault makes the input unusable; a caution is told and work goes on.
    """

    problem: str
    file: str | None = None
    line: int | None = None
    field: str | None = None
    expected: str | None = None
    example: str | None = None
    severity: Severity = "fault"

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
    """Anything this package raises on purpose."""


class UnusableInput(HandoverError):
    """What came in cannot be used. Carries all that is wrong with it, not the first thing only."""

    def __init__(self, findings: Iterable[Finding]) -> None:
        self.findings = tuple(findings)
        super().__init__("\n".join(str(finding) for finding in self.findings))

    def __reduce__(self) -> tuple[type[UnusableInput], tuple[tuple[Finding, ...]]]:
        """Travel between processes with all findings."""
        return type(self), (self.findings,)


class OutOfRange(HandoverError, ValueError):
    """A formula was asked for a value outside the range its source covers."""


class DownloadFailed(HandoverError):
    """A forecast could not be downloaded; the message says from where, why, and what to do instead."""


class RenderingFailed(HandoverError):
    """A document could not be rendered cleanly; the message is the engine's own warning."""


class MissingLibraries(HandoverError):
    """The system lacks libraries that the PDF engine needs. Carries what to do about it, line by line."""

    def __init__(self, problem: str, remedy: Sequence[str]) -> None:
        self.problem = problem
        self.remedy = tuple(remedy)
        super().__init__(" ".join([problem, *(line.strip() for line in remedy)]))

    def __reduce__(self) -> tuple[type[MissingLibraries], tuple[str, tuple[str, ...]]]:
        """Travel between processes with the remedy."""
        return type(self), (self.problem, self.remedy)
