"""The rows of a care sheet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from handover.schedule.model import MilestoneKind as Kind

if TYPE_CHECKING:
    from datetime import datetime

LATER_KINDS = (Kind.SEAL, Kind.HEATING, Kind.FLOOR_COVERING, Kind.DEICING_SALT)
"""Dates after the weeks of curing."""


@dataclass(frozen=True)
class SheetRow:
    """A row with an icon: what, when, and a sentence."""

    icon: str
    title: str
    when: str
    sentence: str
    typical: bool = False
    day: str = ""
    hour: str = ""
    kind: Kind | None = None

    @property
    def later(self) -> bool:
        """Return whether this is after the weeks of curing."""
        return self.kind in LATER_KINDS


@dataclass(frozen=True)
class JobInProgress:
    """The owner's part now: heading, what, when, and a sentence; the start of a task that has an hour."""

    eyebrow: str
    title: str
    when: str
    sentence: str
    start: datetime | None = None

    @property
    def heading(self) -> str:
        """The title as a sentence."""
        return self.title if self.title.endswith("?") else f"{self.title}."

    @property
    def line(self) -> str:
        """What, and when."""
        return f"{self.title}{' ' if self.title.endswith('?') else ': '}{self.when}"


@dataclass(frozen=True)
class WalkthroughRow:
    """A row of the walk-through list; without a state, it is to be ticked on paper."""

    item: str
    state: str
    note: str = ""
    photo: str | None = None
