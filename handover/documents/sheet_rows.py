"""The lines that a care sheet is made of."""

from __future__ import annotations

from dataclasses import dataclass

from handover.schedule.model import MilestoneKind as Kind

LATER_KINDS = (Kind.SEAL, Kind.FLOOR_COVERING, Kind.DEICING_SALT)
"""What comes after the weeks of curing."""


@dataclass(frozen=True)
class SheetRow:
    """A line with a picture: what, when, and a sentence."""

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
        """Tell whether this comes after the weeks of curing."""
        return self.kind in LATER_KINDS


@dataclass(frozen=True)
class JobInProgress:
    """What is the owner's part now: over what, what, when, and a sentence."""

    eyebrow: str
    title: str
    when: str
    sentence: str


@dataclass(frozen=True)
class WalkthroughRow:
    """A line of the walk-through list; without a state it is to be ticked on paper."""

    item: str
    state: str
    note: str = ""
    photo: str | None = None
