"""What comes out of the calculation: frozen values that pages, calendars and the archive are made from.

SI throughout: degC, MPa, m, mm of water, kg/m2/h, hours, litres. Every instant is aware and stands in the
site's own time zone. Nothing here is rounded, and nothing here is worded: rules, cautions and risks are
named by a code, and `documents` has the words for each code.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime  # noqa: TC003 - part of the published shape
from enum import StrEnum
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from handover.practice.silica import Respirator  # noqa: TC001 - part of the published shape

Floats = NDArray[np.float64]
Mark = Literal["read in source", "from memory", "common practice", "computed"]
Basis = Literal["observed", "forecast", "typical"]


class MilestoneKind(StrEnum):
    """The dates the schedule gives. There is none for soffits, shores, tendons, anchors or columns."""

    INITIAL_SET = "initial-set"
    FINAL_SET = "final-set"
    FIRST_WATER = "first-water"
    SAW_JOINTS = "saw-joints"
    STRIP_EDGE_FORMS = "strip-edge-forms"
    FOOT_TRAFFIC = "foot-traffic"
    LIGHT_WORK = "light-work"
    LIGHT_VEHICLES = "light-vehicles"
    HEAVY_VEHICLES = "heavy-vehicles"
    FROST_SAFE = "frost-safe"
    CURING_ENDS = "curing-ends"
    SEAL = "seal"
    FLOOR_COVERING = "floor-covering"
    DEICING_SALT = "deicing-salt"


@dataclass(frozen=True)
class Figure:
    """A number that went into a reason: what it is, its value in SI, its unit ("MPa", "h", "degC", "1")."""

    name: str
    value: float
    unit: str


@dataclass(frozen=True)
class Gate:
    """One condition of a milestone, by one rule of practice.

    ``likely`` and ``not_before`` are None when the condition is not met within the reach of the estimate.
    """

    rule: str
    likely: datetime | None
    not_before: datetime | None
    source: str
    mark: Mark
    figures: tuple[Figure, ...] = ()


@dataclass(frozen=True)
class Reason:
    """Why a date is what it is: the rule that governed, and the others, the next to govern first."""

    governing: Gate
    others: tuple[Gate, ...] = ()


@dataclass(frozen=True)
class Milestone:
    """One date of the schedule.

    Attributes:
        kind: Which.
        likely: The best estimate; None when not reached within the reach of the estimate.
        not_before: The cautious end of the band: what an owner is told. None as above.
        not_after: For what must not be missed (saw-joints): the early end at which it is too late. Else None.
        confidence: Share of the cases in which ``not_before`` is late enough.
        basis: The weakest kind of weather hour that the date rests on.
        because: The reason.
        spread_by: The uncertainty that moves the date most, with its share; empty where none does.
    """

    kind: MilestoneKind
    likely: datetime | None
    not_before: datetime | None
    because: Reason
    basis: Basis
    confidence: float | None = None
    not_after: datetime | None = None
    spread_by: tuple[Figure, ...] = ()


@dataclass(frozen=True)
class SawWindow:
    """When one kind of saw may cut: "early-entry" or "conventional".

    Attributes:
        saw: Which.
        opens: The best estimate of concrete that no longer ravels; a trial cut decides.
        opens_not_before: The cautious end.
        closes: The early end at which it is too late.
    """

    saw: str
    opens: datetime | None
    opens_not_before: datetime | None
    closes: datetime | None


@dataclass(frozen=True)
class Joints:
    """What is said of the joints.

    Attributes:
        windows: One a kind of saw.
        cracks_from: The early end at which tension passes strength if nothing is cut; None: not in the reach.
        depth_m: Depth of a conventional cut. [m]
        early_entry_depth_m: Depth of an early-entry cut. [m]
        longest_spacing_m: Joints further apart than this let cracks come. [m]
        spacing_m: As the record has it, or None. [m]
        dust: What protects the lungs, by saw and length of the work.
    """

    windows: tuple[SawWindow, ...]
    cracks_from: datetime | None
    depth_m: float
    early_entry_depth_m: float
    longest_spacing_m: float
    spacing_m: float | None
    dust: tuple[Respirator, ...] = ()


@dataclass(frozen=True)
class Blanket:
    """What a blanket would do for the slab in this weather.

    Attributes:
        resistance: Of the blanket; 0 is none. [m2K/W]
        coldest_surface_c: Coldest the top may get before the slab is strong enough, at the cold end. [degC]
        frost_safe: When the slab is strong enough for frost under it, cautious; None: not in the reach.
        freezes_from: First hour in which the top may freeze while it is too weak; None: it stays above.
    """

    resistance: float
    coldest_surface_c: float
    frost_safe: datetime | None
    freezes_from: datetime | None


@dataclass(frozen=True)
class Protection:
    """How to keep the slab from freezing before it is strong enough.

    Attributes:
        blankets: Those tried, none first, then by resistance.
        enough: Resistance of the thinnest that is enough; 0: none is needed; None: none is enough. [m2K/W]
        laid: Resistance of what the record says is laid. [m2K/W]
        until: How long the one that is enough must stay; None where none is.
        largest_drop_k: Largest drop allowed in the day after covers come off. [K]
        drop_k: Drop to be expected when the cover comes off at the end of curing; None without a cover. [K]
        edges: Edges and corners ask for so many times the resistance.
    """

    blankets: tuple[Blanket, ...]
    enough: float | None
    laid: float
    until: datetime | None
    largest_drop_k: float
    drop_k: float | None
    edges: float


@dataclass(frozen=True)
class Refusal:
    """A date the tool will not give, and the code of the reason ("engineer-decides-tendons")."""

    kind: str
    because: str


@dataclass(frozen=True)
class Visit:
    """One watering (or one look at a cover): from, to, and the water it takes, in litres.

    ``cooler_k`` is how much cooler than the surface the water is, where that is more than it should be, and
    ``gentler_at`` the hour of the day at which it is least.
    """

    start: datetime
    end: datetime
    litres: float
    cooler_k: float | None = None
    gentler_at: datetime | None = None


@dataclass(frozen=True)
class WateringDay:
    """What a day of curing asks of the owner.

    Attributes:
        date: Local calendar day.
        visits: In order of time. Empty when nothing is to be done.
        skipped_because: "rain", "frost", "compound", "cover" when there is no watering; else None.
        rain_mm: Rain expected over the day's curing hours. [mm]
        rain_probability: Chance of rain over the day, 0 to 1; None where not told.
        lost_mm: Water the wet surface would lose over the day's curing hours. [mm = kg/m2]
        coldest_c: Coldest air of the day. [degC]
        basis: Kind of weather the day rests on.
        dry_hours: Hours of the day in which the surface is dry in spite of the visits.
    """

    date: date
    visits: tuple[Visit, ...]
    skipped_because: str | None
    rain_mm: float
    rain_probability: float | None
    lost_mm: float
    coldest_c: float
    basis: Basis
    dry_hours: float = 0.0


@dataclass(frozen=True)
class Caution:
    """Something the reader must know, by code, with its numbers and, where there is one, its hour."""

    code: str
    figures: tuple[Figure, ...] = ()
    source: str = ""
    mark: Mark = "common practice"
    at: datetime | None = None


@dataclass(frozen=True)
class Risk:
    """A stretch of hours in which something may harm the slab.

    Codes: "drying-precaution" (evaporation above the precaution limit), "drying-watch" (above half of it),
    "windbreak", "fog", "evaporation-retarder" (the measure is worth its while), "frost" (slab may freeze
    before it is strong enough), "rain-on-fresh".
    """

    code: str
    start: datetime
    end: datetime
    peak_at: datetime
    figures: tuple[Figure, ...] = ()


@dataclass(frozen=True)
class Assumption:
    """A value taken for something the record left out: field path, value as text in SI, why."""

    field: str
    value: str
    why: str


@dataclass(frozen=True)
class Depths:
    """One quantity at the three depths, each shape (n,)."""

    surface: Floats
    middle: Floats
    bottom: Floats


@dataclass(frozen=True)
class Band:
    """A quantity as a band: likely, with its low and high ends, each at three depths."""

    likely: Depths
    low: Depths
    high: Depths


@dataclass(frozen=True)
class SlabHistory:
    """What happens in the slab, hour by hour, for the concrete placed last.

    Attributes:
        hours: Since placement of the last concrete, shape (n,): 0, 1, 2 ...
        time: The same as UTC instants, ``datetime64[s]``.
        temperature_c: Band. [degC]
        equivalent_age_h: Band, at ``reference_c``. [h]
        hydration: Band of the degree of hydration, 0 to 1.
        strength_mpa: Band. [MPa]
        evaporation: At a wet surface, likely, shape (n,). [kg/m2/h]
        evaporation_low: [kg/m2/h]
        evaporation_high: [kg/m2/h]
        reference_c: Reference temperature of the equivalent age. [degC]
        temperature_time_factor: Likely, middle of the slab, above ``datum_c``, shape (n,). [degC h]
        datum_c: [degC]
    """

    hours: Floats
    time: NDArray[np.datetime64]
    temperature_c: Band
    equivalent_age_h: Band
    hydration: Band
    strength_mpa: Band
    evaporation: Floats
    evaporation_low: Floats
    evaporation_high: Floats
    reference_c: float
    temperature_time_factor: Floats
    datum_c: float


@dataclass(frozen=True)
class WeatherBasis:
    """The weather the schedule was computed with: from whom, how old, and the hours themselves.

    The arrays share ``time`` (UTC, ``datetime64[s]``, shape (m,)) and cover placement to the horizon.
    """

    source: str
    issued_at: datetime | None
    first_hour: datetime
    last_hour: datetime
    typical_from: datetime | None
    methods: tuple[str, ...]
    time: NDArray[np.datetime64]
    air_c: Floats
    relative_humidity: Floats
    wind_ms: Floats
    shortwave_wm2: Floats
    precipitation_mm: Floats
    precipitation_probability: Floats


@dataclass(frozen=True)
class Measurement:
    """Something that was measured, what the estimate was, and what came of it.

    Attributes:
        kind: "temperature-log", "standard-cylinder", "field-cylinder" or "ticket".
        name: The file, the number of the ticket, or the place of the cylinder in the record.
        at: When, where that is told.
        measured: Its numbers.
        estimated: The same as estimated without it, where there is such an estimate.
        outcome: What came of it, by code.
        figures: The numbers of the outcome.
    """

    kind: str
    name: str
    at: datetime | None
    measured: tuple[Figure, ...]
    estimated: tuple[Figure, ...]
    outcome: str
    figures: tuple[Figure, ...] = ()


@dataclass(frozen=True)
class StrengthTest:
    """A cylinder of a fit: its equivalent age in h, its strength and that of the curve in MPa."""

    age_h: float
    measured_mpa: float
    fitted_mpa: float


@dataclass(frozen=True)
class StrengthFit:
    """The strength-maturity curve of the mix from its cylinders: S = Su k (t - t0) / (1 + k (t - t0)).

    Attributes:
        verdict: "used", or why not: "too-scattered" about the curve, "too-far" beyond what was measured.
        ultimate_mpa: Su. [MPa]
        rate_per_h: k. [1/h]
        offset_h: t0. [h]
        reference_c: Reference temperature of the equivalent age t. [degC]
        scatter: Standard deviation about the curve, as a share of it; more than ``most_scatter`` is refused.
        most_scatter: See above.
        reach: Su as a share of the highest strength measured; more than ``most_reach`` is refused.
        most_reach: See above.
        tests: By age.
        source: Of the two limits.
        mark: Of the two limits.
    """

    verdict: str
    ultimate_mpa: float
    rate_per_h: float
    offset_h: float
    reference_c: float
    scatter: float
    most_scatter: float
    reach: float
    most_reach: float
    tests: tuple[StrengthTest, ...]
    source: str
    mark: Mark


Cause = Literal[
    "ticket",
    "cylinder",
    "log",
    "record",
    "rain",
    "no-rain",
    "frost",
    "no-frost",
    "cooler",
    "warmer",
    "forecast",
]
"""An input that moved between two issues: what was measured, what the record says, or the weather."""


@dataclass(frozen=True)
class Change:
    """What is otherwise than in the issue before.

    Attributes:
        kind: Kind of the milestone; "saw-joints-last" for its end, "watering" for the visits of a day,
            "frost" for a stretch in which the slab may freeze.
        before: When it was to be: one instant, or the start of each visit; empty where there was none.
        after: When it is to be now; likewise.
        because: What moved it, as far as that can be told.
    """

    kind: str
    before: tuple[datetime, ...]
    after: tuple[datetime, ...]
    because: tuple[Cause, ...] = ()


@dataclass(frozen=True)
class CureSchedule:
    """The whole answer for one job. ``changes`` are those since the issue that this one replaces."""

    job: str
    revision: int
    issued_at: datetime
    timezone: str
    placement_start: datetime
    placement_end: datetime
    finished: datetime | None
    area_m2: float
    thickness_m: float
    specified_strength_mpa: float
    curing_method: str
    weather: WeatherBasis
    milestones: tuple[Milestone, ...]
    watering: tuple[WateringDay, ...]
    risks: tuple[Risk, ...]
    cautions: tuple[Caution, ...]
    history: SlabHistory
    assumed: tuple[Assumption, ...] = ()
    refusals: tuple[Refusal, ...] = ()
    figures: tuple[Figure, ...] = field(default=())
    joints: Joints | None = None
    protection: Protection | None = None
    measurements: tuple[Measurement, ...] = ()
    strength_fit: StrengthFit | None = None
    changes: tuple[Change, ...] = ()

    def milestone(self, kind: MilestoneKind) -> Milestone | None:
        """Return the milestone of a kind, or None where the job has none."""
        return next((each for each in self.milestones if each.kind == kind), None)
