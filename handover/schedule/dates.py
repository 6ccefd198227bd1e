"""The dates of a job, computed one after the other: later dates and plans read the earlier ones."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import TYPE_CHECKING

from handover.schedule.model import MilestoneKind

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime

    from handover.base.arrays import Floats
    from handover.schedule.model import Milestone, Refusal


@dataclass(frozen=True)
class SawLimits:
    """From when and until when a saw may cut, in hours since placement, by member, shape (m,).

    Attributes:
        set_h: Final set; no hour of sawing is before its cautious end. [h]
        opens_h: By saw: when the concrete is firm enough. [h]
        closes_h: By saw: the earlier of cracking and the limit of practice. [h]
        cracking_h: Last whole hour before tension exceeds tensile strength; inf: never. [h]
    """

    set_h: Floats
    opens_h: Mapping[str, Floats]
    closes_h: Mapping[str, Floats]
    cracking_h: Floats


@dataclass(frozen=True)
class Dates:
    """The milestones that have been computed so far.

    Attributes:
        milestones: In the order of `MilestoneKind`.
        refusals: Dates that must not be given for this slab.
        met_h: When the conditions of each are met, in hours since placement, shape (m,); inf: never. [h]
        saw_limits: When each saw may cut; None where there is no date for sawing.
        moist_h: Until when the slab counts as cured, in hours since placement, shape (m,); None before the
            end of curing is computed. [h]
    """

    milestones: tuple[Milestone, ...] = ()
    refusals: tuple[Refusal, ...] = ()
    met_h: Mapping[str, Floats] = field(default_factory=lambda: MappingProxyType({}))
    saw_limits: SawLimits | None = None
    moist_h: Floats | None = None

    def plus(self, milestone: Milestone, met_h: Floats, saw_limits: SawLimits | None = None) -> Dates:
        """Return these dates with one more."""
        return replace(
            self,
            milestones=(*self.milestones, milestone),
            met_h=MappingProxyType({**self.met_h, milestone.kind: met_h}),
            saw_limits=saw_limits or self.saw_limits,
        )

    def in_order(self) -> Dates:
        """Return these dates with the milestones in the order of `MilestoneKind`."""
        order = list(MilestoneKind)
        return replace(self, milestones=tuple(sorted(self.milestones, key=lambda one: order.index(one.kind))))

    @property
    def kept_from_frost_until(self) -> datetime | None:
        """Until when the slab is kept from frost, or None where that lies past the estimate.

        Cold protection outlasts the strength for a first frost; a slab without it needs that strength.
        """
        has_protection = any(each.kind == MilestoneKind.PROTECTION_ENDS for each in self.milestones)
        return self.not_before(MilestoneKind.PROTECTION_ENDS if has_protection else MilestoneKind.FROST_SAFE)

    @property
    def dries_before_frost(self) -> bool:
        """Whether moist curing ends early, because a wet slab would freeze again and again."""
        return any(each.is_before_frosts for each in self.milestones)

    def not_before(self, kind: MilestoneKind) -> datetime | None:
        """Return the cautious date of a milestone, or None where there is none."""
        return next((each.not_before for each in self.milestones if each.kind == kind), None)
