"""How often somebody looks at a cover that lies: every day at first, then on every second day."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from handover.practice.rules import general_rules

if TYPE_CHECKING:
    from datetime import date


@dataclass(frozen=True)
class LookRhythm:
    """The looks so far: the day of the first, and of the last one; None: no look yet."""

    first: date | None = None
    last: date | None = None

    def after(self, day: date) -> LookRhythm:
        """Return the rhythm with one more look."""
        return LookRhythm(self.first or day, day)

    def is_due(self, day: date) -> bool:
        """Return whether somebody looks on a day."""
        if self.first is None or self.last is None:
            return True
        rules = general_rules()
        is_early = (day - self.first).days < rules["look.daily"]
        return is_early or (day - self.last).days >= rules["look.apart"]
