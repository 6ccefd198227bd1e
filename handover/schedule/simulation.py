"""The course of a job: its record, weather, concrete and slab, which dates and plans are read from."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from handover.base.arrays import HOUR_S, Floats
from handover.schedule.measurement_result import MeasurementResult

if TYPE_CHECKING:
    from datetime import datetime

    from handover.jobs.record import JobRecord
    from handover.practice.rules import CuringMethod, Practice
    from handover.schedule.ensemble import Ensemble
    from handover.schedule.mix import ConcreteProperties
    from handover.schedule.model import Milestone, MilestoneKind, WateringDay
    from handover.schedule.slab_simulation import SlabSimulation
    from handover.weather.series import WeatherSeries


@dataclass
class Simulation:
    """Everything that is known of a job once its slab has been followed.

    ``share`` of the members must have passed before a date is told as "not before".

    What is found on the way is gathered here for what comes after: when each milestone is met, in hours since
    placement, shape (m,); when each of its gates opens, likewise; how long no member cracks, likewise; the
    milestones; the watering plan.
    """

    job: JobRecord
    weather: WeatherSeries
    practice: Practice
    ensemble: Ensemble
    concrete: ConcreteProperties
    slab: SlabSimulation
    share: float
    measured: MeasurementResult = field(default_factory=MeasurementResult)
    met: dict[str, Floats] = field(default_factory=dict)
    opened: dict[str, Floats] = field(default_factory=dict)
    uncracked: Floats | None = None
    milestones: tuple[Milestone, ...] = ()
    watering: tuple[WateringDay, ...] = ()

    def with_slab(self, ensemble: Ensemble, concrete: ConcreteProperties, slab: SlabSimulation) -> Simulation:
        """Return the same job with its slab followed otherwise, and nothing found yet."""
        return Simulation(
            self.job, self.weather, self.practice, ensemble, concrete, slab, self.share, self.measured
        )

    @property
    def method(self) -> CuringMethod | None:
        """How the curing holds water, or None where nothing is watered."""
        return self.practice.methods.get(self.job.curing.method)

    @property
    def covered(self) -> bool:
        """Whether a cover keeps the slab warm."""
        return self.job.curing.method == "insulating blanket"

    def date(self, kind: MilestoneKind) -> datetime | None:
        """Return the cautious date of a milestone, or None where there is none."""
        return next((each.not_before for each in self.milestones if each.kind == kind), None)

    def cold_end(self, values: Floats) -> Floats:
        """Return what the wanted share of members stays above, row by row: (n, m) to (n,)."""
        return np.asarray(np.quantile(values, 1.0 - self.share, axis=1))

    def frost_strength(self) -> float:
        """Return the strength that withstands frost by the strictest rule, in MPa."""
        gates = self.practice.gates_of("frost-safe", self.job.slab.use)
        return max(gate.value or 0.0 for gate in gates)

    def longest_spacing(self) -> float:
        """Return the distance of joints beyond which cracks come between them, in m."""
        by_thickness = self.practice["joints.spacing"] * self.job.slab.thickness
        return min(by_thickness, self.practice["joints.longest"])

    def slab_s(self, member: int) -> Floats:
        """Return the whole hours of a member's slab, UTC seconds, shape (h+1,)."""
        seconds: Floats = self.slab.placed_s[member] + self.slab.hours * HOUR_S
        return seconds
