"""The results of the calculation: frozen values from which pages, calendars and the archive are made.

SI throughout: degC, MPa, m, mm of water, kg/m2/h, hours, litres. Every instant is aware, in the site's own
time zone. Nothing is rounded or worded here: rules, cautions and risks have a code, and `documents` has the
words for each code.

The types are also those of schedule.json: `documents.schedule_json` writes, reads and describes it by them.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from enum import StrEnum
from typing import Annotated, Literal

from pydantic import Field

from handover.practice.rules import Mark  # noqa: TC001 - pydantic evaluates the annotations
from handover.practice.silica import Respirator  # noqa: TC001 - part of the published shape
from handover.schedule.json_types import (
    Floats,
    Instant,
    Instants,
    NotNegative,
    Number,
    NumberOrNull,
    Positive,
    Share,
    means,
)

Basis = Literal["observed", "forecast", "typical"]
SHEET = "plastic sheet"
"""The method of curing, and the cover between waterings."""

BURLAP = "wet burlap"
"""The same."""

PONDING = "ponding"
"""The method whose water is what the pond has room for, however long it runs."""

RAIN = "rain-on-fresh"
"""The risk that likely rain falls on concrete that it can still damage."""

EARLY_ENTRY, CONVENTIONAL = "early-entry", "conventional"
"""The kinds of saw that cut joints."""

CureMode = Literal["wet", "cover", "coat"]
CURE_MODES: dict[str, CureMode] = {
    SHEET: "cover",
    "insulating blanket": "cover",
    "curing compound": "coat",
}
"""By method of curing; all others keep the slab wet."""

COVER_FOR_COAT = "cover-for-compound"
"""The way to treat a surface whose compound is never sprayed: a cover against frost stays in place of it."""

REPEATED_FROST = "curing-ends.repeated-frost"
"""The condition that ends moist curing before frost after frost on a slab that is too weak for it."""


FORMS_AFTER_COVER = "strip-edge-forms.cover-off"
"""The condition that edge forms keep in the warmth while covers against the cold lie on the slab."""


class MilestoneKind(StrEnum):
    """The dates of a schedule. There is none for soffits, shores, tendons, anchors or columns."""

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
    PROTECTION_ENDS = "protection-ends"
    FREEZE_THAW = "freeze-thaw"
    CURING_ENDS = "curing-ends"
    SEAL = "seal"
    HEATING = "heating"
    FLOOR_COVERING = "floor-covering"
    DEICING_SALT = "deicing-salt"


@dataclass(frozen=True)
class Figure:
    """A number of a reason: what it is, its value in SI, its unit ("MPa", "h", "degC", "1")."""

    name: Annotated[str, means("What it is.")]
    value: Annotated[NumberOrNull, means("In the unit beside it.")]
    unit: Annotated[str, means('SI unit; "1" for a pure number.')]


@dataclass(frozen=True)
class Gate:
    """One condition of a date, by one rule of practice."""

    rule: Annotated[str, means("Name of the rule.")]
    likely: Annotated[
        Instant | None, means("When it is met, best estimate; null when not within reach of the estimate.")
    ]
    not_before: Annotated[Instant | None, means("The same, cautious end of the band.")]
    source: Annotated[str, means("Source of the rule.")]
    mark: Annotated[Mark, means("How sure we are of a rule.")]
    figures: Annotated[tuple[Figure, ...], means("Numbers that went in.")] = ()

    @property
    def required_strength_mpa(self) -> float | None:
        """Strength that the condition requires, as such or as a share of the specified one, in MPa."""
        figures = {figure.name: figure for figure in self.figures}
        needed, specified = figures.get("needed"), figures.get("specified_strength")
        if needed is None:
            return None
        if needed.unit == "MPa":
            return needed.value
        return needed.value * specified.value if needed.unit == "1" and specified else None


@dataclass(frozen=True)
class Reason:
    """Why a date is what it is: the rule that governed, and the others, the next to govern first."""

    governing: Annotated[Gate, means("The condition met last.")]
    others: Annotated[tuple[Gate, ...], means("The other conditions, the next to govern first.")] = ()

    @property
    def required_strength_mpa(self) -> float | None:
        """The highest strength that a condition requires, in MPa; None if no condition requires strength."""
        levels = (gate.required_strength_mpa for gate in (self.governing, *self.others))
        return max((level for level in levels if level is not None), default=None)


Precision = Literal["half-hour", "day", "week", "half-month"]
"""How exactly a date is known: to the half hour, the day, the week, or half a month."""


@dataclass(frozen=True)
class PrintedTime:
    """An instant as printed, rounded once for every document: the beginning of what its precision names."""

    instant: Annotated[Instant, means("The beginning of the half hour, morning, week or half of a month.")]
    precision: Annotated[Precision, means("To what it is rounded.")]
    may_move: Annotated[bool, means("Whether weather past the forecast may still move it.")] = False

    @property
    def exact(self) -> bool:
        """Whether it is printed with its hour."""
        return self.precision == "half-hour"


@dataclass(frozen=True)
class Milestone:
    """One date of the schedule: for the concrete placed last, but for joints that are sawn part by part.

    Then it is the window of the part placed first, which cannot wait; `Joints.windows` has that of each part.
    Where most members allow no hour for that part, not_before is its last hour: a trial cut decides.
    """

    kind: Annotated[MilestoneKind, means("Which date.")]
    likely: Annotated[Instant | None, means("Best estimate; null when not within reach of the estimate.")]
    not_before: Annotated[
        Instant | None, means("The cautious end of the band: the date that an owner reads.")
    ]
    because: Annotated[Reason, means("Why a date is what it is.")]
    basis: Annotated[Basis, means("The weakest kind of weather hour that it rests on.")]
    confidence: Annotated[
        Share | None,
        means(
            "Share of the members for which not_before is late enough, and for sawing not too late; null "
            "where not known. [1]"
        ),
    ] = None
    not_after: Annotated[
        Instant | None,
        means("For what must not be missed: when it is too late, not before not_before; null elsewhere."),
    ] = None
    spread_by: Annotated[
        tuple[Figure, ...],
        means(
            "The uncertainty that moves the date most, with its share of the spread [1]: weather, setting, "
            "energy, hardening, strength, heat, evaporation, convection, sun, placing, water, cementitious "
            "or thickness. Empty where nothing moves it."
        ),
    ] = ()
    later_in_tests: Annotated[
        Share | None,
        means(
            "Of test pours in the season of the placement, the share that came later than a date like "
            "not_before; null where it was not tested. [1]"
        ),
    ] = None
    printed: Annotated[
        PrintedTime | None,
        means(
            "The date that the documents print: not_before, rounded to the late side; null past the estimate."
        ),
    ] = None

    @property
    def is_before_frosts(self) -> bool:
        """Whether it is an end of moist curing that is early, because of frost after frost."""
        return self.because.governing.rule == REPEATED_FROST


@dataclass(frozen=True)
class SawWindow:
    """When one kind of saw may cut: "early-entry" or "conventional"."""

    saw: Annotated[str, means("Which saw.", one_of=("early-entry", "conventional"))]
    opens: Annotated[
        Instant | None,
        means("The hour of the trial cut: the best estimate of concrete that no longer ravels."),
    ]
    opens_not_before: Annotated[
        Instant | None,
        means(
            "The hour that most members allow: the cut does not ravel, and it is not too late; null where "
            "there is none."
        ),
    ]
    closes: Annotated[Instant | None, means("The early end of the band at which it is too late.")]
    part: Annotated[
        str,
        means(
            "Which part of the slab: all of it, or, where no hour fits all of it, that placed first or last.",
            one_of=("whole", "first", "last"),
        ),
    ] = "whole"
    share: Annotated[
        Share | None, means("Share of the members that allow opens_not_before; null where not known. [1]")
    ] = None


@dataclass(frozen=True)
class Joints:
    """The joints: when to saw them, and their depth and spacing."""

    windows: Annotated[
        tuple[SawWindow, ...],
        means("One for each kind of saw that is possible; empty where no hour could be computed."),
    ]
    cracks_from: Annotated[
        Instant | None, means("The early end of the band at which tension passes strength if nothing is cut.")
    ]
    depth_m: Annotated[Positive, means("Depth of a conventional cut. [m]")]
    early_entry_depth_m: Annotated[Positive, means("Depth of an early-entry cut. [m]")]
    longest_spacing_m: Annotated[Positive, means("Joints further apart than this let cracks come. [m]")]
    spacing_m: Annotated[Number | None, means("Spacing of the joints as recorded, or null. [m]")]
    dust: Annotated[
        tuple[Respirator, ...], means("What protects the lungs, by saw and length of the work.")
    ] = ()

    @property
    def protection_factor(self) -> float:
        """Return the protection factor of the respirator without which nobody saws; 0: none is asked for."""
        at_once = [each.protection_factor for each in self.dust if each.over_h == 0.0]
        return min(at_once, default=0.0)


SAME_BLANKET = 0.02
"""By how much resistances of one blanket differ, in round numbers of two systems of units. [1]"""


@dataclass(frozen=True)
class Blanket:
    """The effect of a blanket on the slab in this weather."""

    resistance: Annotated[NotNegative, means("Of the blanket; 0 is none. [m2K/W]")]
    coldest_surface_c: Annotated[
        NumberOrNull,
        means("Coldest the top may get before the slab is strong enough, cold end of the band. [degC]"),
    ]
    frost_safe: Annotated[
        Instant | None,
        means("When the slab is strong enough for frost under it, cautious; null: not within reach."),
    ]
    freezes_from: Annotated[
        Instant | None,
        means("First hour in which the top may freeze under it while it is too weak; null: it does not."),
    ]
    bare_freezes_from: Annotated[
        Instant | None,
        means("First hour in which the top may freeze before a blanket may lie on it; null: it does not."),
    ] = None


@dataclass(frozen=True)
class BlanketsLeftOn:
    """What if blankets stayed on until the slab stands frost after frost: from when it does."""

    resistance: Annotated[NotNegative, means("Of the blankets. [m2K/W]")]
    strength_mpa: Annotated[NotNegative, means("Strength that repeated frost asks for. [MPa]")]
    likely: Annotated[Instant | None, means("When it is likely reached; null: past the estimate.")]
    not_before: Annotated[Instant | None, means("The same, cautious.")]


@dataclass(frozen=True)
class Protection:
    """How to keep the slab from freezing before it is strong enough."""

    blankets: Annotated[tuple[Blanket, ...], means("Those tried, none first, then by resistance.")]
    enough: Annotated[
        Number | None,
        means("Resistance of the thinnest that is enough; 0: none is needed; null: none is enough. [m2K/W]"),
    ]
    laid: Annotated[NotNegative, means("Resistance of the cover in the record. [m2K/W]")]
    until: Annotated[Instant | None, means("How long the one that is enough must stay.")]
    largest_drop_k: Annotated[Number, means("Largest drop allowed in the day after covers come off. [K]")]
    drop_k: Annotated[
        Number | None,
        means("Drop to be expected when the blankets come off; null without blankets. [K]"),
    ]
    edges: Annotated[Number, means("Edges and corners ask for so many times the resistance. [1]")]
    bare_freezes_from: Annotated[
        Instant | None,
        means(
            "When the top may freeze before finishing ends or it sets: no blanket helps; null: it does not."
        ),
    ] = None
    left_on: Annotated[
        BlanketsLeftOn | None,
        means("What if blankets stay on; null: it is strong enough, or no blanket keeps frost off."),
    ] = None

    def suffices(self, resistance: float | None) -> bool:
        """Return whether a blanket, by its resistance in m2K/W, is one of those that keep frost off."""
        if not self.enough or resistance is None:
            return False
        return resistance >= self.enough * (1.0 - SAME_BLANKET)

    @property
    def enough_at_edges(self) -> float | None:
        """Resistance that is enough at edges and corners, in m2K/W; None: none is enough."""
        return None if self.enough is None else self.enough * self.edges


@dataclass(frozen=True)
class Refusal:
    """A date that the program does not give, and the code of the reason ("engineer-decides-tendons")."""

    kind: Annotated[str, means("Which date.")]
    because: Annotated[str, means("Code of the reason.")]
    figures: Annotated[tuple[Figure, ...], means("Numbers of the reason.")] = ()


@dataclass(frozen=True)
class Visit:
    """One watering, or one look at a cover."""

    start: Annotated[Instant, means("From.")]
    end: Annotated[Instant, means("To.")]
    litres: Annotated[NotNegative, means("Its amount of water. [L]")]
    cooler_k: Annotated[
        Number | None,
        means(
            "How much cooler than the surface the water is, where "
            "that is more than it should be; else null. [K]"
        ),
    ] = None
    gentler_at: Annotated[Instant | None, means("Hour of the day at which that is least; else null.")] = None

    @property
    def duration(self) -> timedelta:
        """How long the watering takes, across a clock change as well."""
        return self.end.astimezone(UTC) - self.start.astimezone(UTC)


@dataclass(frozen=True)
class SurfaceChoice:
    """One way to keep the finished surface from drying until curing begins, and what it costs."""

    how: Annotated[
        str,
        means(
            "Which way: fog and then a cover, fog alone, or curing compound in place of water; or the laying "
            "of the sheet or burlap that cures the slab, after fog where the surface dries before, or after "
            "a night under a sheet that is held clear of it; or, under a cover until the rain is over, "
            "compound after it; or compound after the cover against frost, on which it would not be dry, or "
            "a sheet under that cover in place of it; or, in wind, before a night or before rain, a sheet "
            "drawn over it at once; or, where frost lets nobody water, a sheet that stays under the "
            "blankets; or, where a cover would mark the slab, a clear compound in place of water.",
            one_of=(
                "fog-cover",
                "fog",
                "compound",
                "lay",
                "fog-lay",
                "sheet-lay",
                "compound-after-rain",
                "compound-after-cover",
                "cover-for-compound",
                "sheet",
                "sheet-overnight",
                "sheet-rain",
                "sheet-blankets",
                "clear-compound",
            ),
        ),
    ]
    start: Annotated[Instant, means("From.")]
    until: Annotated[Instant, means("Until when the crew is at it.")]
    crew_hours: Annotated[NotNegative, means("Time of the crew at the slab after finishing. [h]")]
    litres: Annotated[NotNegative, means("Water that it takes. [L]")]
    cover_litres: Annotated[
        NotNegative | None,
        means("How much of it the cover takes; the rest is fog. Null: not known. [L]"),
    ] = None


@dataclass(frozen=True)
class SurfaceTask:
    """What the crew does with the finished surface before its curing begins."""

    work: Annotated[
        str,
        means(
            "Keep it damp or covered until the first water, lay the cover that cures it, or spray the curing "
            "compound.",
            one_of=("damp", "cover", "compound"),
        ),
    ]
    start: Annotated[Instant, means("When the last pass ends: as recorded, else the likely initial set.")]
    not_after: Annotated[
        Instant | None,
        means("By then a bare surface has lost what it may, early end of the band; null: it does not."),
    ]
    cover_from: Annotated[
        Instant | None,
        means(
            "From when a step no longer marks the surface, cautious; null where no cover is laid before the "
            "first water."
        ),
    ]
    until: Annotated[
        Instant,
        means(
            "The first water of the plan, or the end of spraying or laying, or the frost by which blankets "
            "lie on the sheet."
        ),
    ]
    finish_recorded: Annotated[bool, means("Whether the record has the end of the last pass.")]
    choices: Annotated[tuple[SurfaceChoice, ...], means("The ways to do it, the usual one first.")]
    figures: Annotated[tuple[Figure, ...], means("Its numbers.")]
    source: Annotated[str, means("Source of the rule.")]
    mark: Annotated[Mark, means("How sure we are of a rule.")]


@dataclass(frozen=True)
class BetweenCover:
    """The cover on the wet slab between its waterings, where nobody waters often enough."""

    cover: Annotated[
        str,
        means("The least cover that suffices, else the better one.", one_of=("wet burlap", "plastic sheet")),
    ]
    open_dry_hours: Annotated[
        NotNegative, means("Hours of the driest day in which the slab would be dry without it. [h]")
    ]
    dry_hours: Annotated[NotNegative, means("The same under it, with its own waterings. [h]")]


NO_LOOK = "look"
"""Why a day has no visit: the cover is looked at on another."""


@dataclass(frozen=True)
class WaterHours:
    """Hours at which water may be put on."""

    start: Annotated[Instant, means("From.")]
    end: Annotated[Instant, means("To.")]


@dataclass(frozen=True)
class WateringDay:
    """The watering of one day of curing."""

    date: Annotated[date, means("Calendar day at the site.")]
    visits: Annotated[tuple[Visit, ...], means("In order of time; empty when there is nothing to do.")]
    skipped_because: Annotated[
        str | None,
        means(
            'Why there is no watering ("rain", "frost", "compound", "cover"; "look": the cover is looked at '
            "on another day); null when there is."
        ),
    ]
    rain_mm: Annotated[NotNegative, means("Rain expected over the curing hours of the day. [mm]")]
    rain_probability: Annotated[
        Share | None, means("Chance of rain over the day, 0 to 1; null where not known or under a roof. [1]")
    ]
    lost_mm: Annotated[
        NotNegative,
        means("Water that the wet surface would lose over the curing hours of the day. [mm = kg/m2]"),
    ]
    coldest_c: Annotated[Number, means("Coldest air of the day. [degC]")]
    basis: Annotated[Basis, means("The weakest kind of weather hour that it rests on.")]
    dry_hours: Annotated[
        NotNegative, means("Hours of the day in which the surface is dry despite the visits. [h]")
    ] = 0.0
    water_hours: Annotated[
        tuple[WaterHours, ...],
        means("When somebody is there and water may be put on: not before first water, none that freezes."),
    ] = ()

    @property
    def litres(self) -> float:
        """Water of all visits, in litres."""
        return sum(visit.litres for visit in self.visits)

    @property
    def duration(self) -> timedelta:
        """Time that all visits take."""
        return sum((visit.duration for visit in self.visits), timedelta())


@dataclass(frozen=True)
class Caution:
    """Something that the reader must know: a code, its numbers and an hour, if there is one."""

    code: Annotated[str, means("Which.")]
    figures: Annotated[tuple[Figure, ...], means("Its numbers.")] = ()
    source: Annotated[str, means("Source of the caution.")] = ""
    mark: Annotated[Mark, means("How sure we are of a rule.")] = "common practice"
    at: Annotated[Instant | None, means("The hour of the caution, or null.")] = None


@dataclass(frozen=True)
class Risk:
    """A stretch of hours in which something may harm the slab.

    Codes: "drying-precaution" (evaporation above the precaution limit), "drying-watch" (above half of it),
    "windbreak", "fog", "evaporation-retarder" (the measure is worthwhile), "frost" (slab may freeze
    while it is kept from frost), "rain-on-fresh".
    """

    code: Annotated[str, means('Which: "drying-precaution", "drying-watch", "frost", "rain-on-fresh".')]
    start: Annotated[Instant, means("From.")]
    end: Annotated[Instant, means("To.")]
    peak_at: Annotated[Instant, means("When it is worst.")]
    figures: Annotated[tuple[Figure, ...], means("Its numbers.")] = ()


@dataclass(frozen=True)
class Assumption:
    """A value assumed for a field that the record leaves out: path, value as text in SI, why."""

    field: Annotated[str, means("Its place in the job record.")]
    value: Annotated[str, means("The assumed value, in SI.")]
    why: Annotated[str, means("Why this one.")]


@dataclass(frozen=True)
class Depths:
    """One quantity at the three depths, each shape (n,)."""

    surface: Annotated[Floats, means("At the surface.")]
    middle: Annotated[Floats, means("At mid-depth.")]
    bottom: Annotated[Floats, means("At the underside.")]


@dataclass(frozen=True)
class EstimateBand:
    """A quantity as a band: likely, with its low and high ends, each at three depths."""

    likely: Annotated[Depths, means("Best estimate.")]
    low: Annotated[Depths, means("Low end.")]
    high: Annotated[Depths, means("High end.")]


@dataclass(frozen=True)
class SlabHistory:
    """The history of the slab, hour by hour, for the concrete placed last."""

    hours: Annotated[Floats, means("Since placement of the last concrete. [h]")]
    time: Annotated[Instants, means("The same as instants.")]
    temperature_c: Annotated[EstimateBand, means("Temperature of the concrete. [degC]")]
    equivalent_age_h: Annotated[EstimateBand, means("Equivalent age at reference_c. [h]")]
    hydration: Annotated[EstimateBand, means("Degree of hydration, 0 to 1. [1]")]
    strength_mpa: Annotated[EstimateBand, means("Compressive strength. [MPa]")]
    evaporation: Annotated[Floats, means("Water lost by a wet surface, likely. [kg/m2/h]")]
    evaporation_low: Annotated[Floats, means("Low end of its band. [kg/m2/h]")]
    evaporation_high: Annotated[Floats, means("High end of its band. [kg/m2/h]")]
    reference_c: Annotated[Number, means("Reference temperature of the equivalent age. [degC]")]
    temperature_time_factor: Annotated[Floats, means("Above datum_c, middle of the slab. [degC h]")]
    datum_c: Annotated[Number, means("Datum temperature of the temperature-time factor. [degC]")]


@dataclass(frozen=True)
class WeatherSpread:
    """Where the spread of the forecast comes from, if its service gives one."""

    kind: Annotated[
        Literal["members", "percentiles"],
        means("Members of an ensemble forecast, or its 10th and 90th percentiles."),
    ]
    source: Annotated[str, means("The source.")]
    members: Annotated[int, Field(ge=0), means("Number of members; 0 for percentiles.")]
    until: Annotated[Instant, means("Last hour that has it; after that, the rules have the spread.")]


@dataclass(frozen=True)
class Alert:
    """A warning of cold, heat or wind that came with the forecast; no date depends on it."""

    kind: Annotated[Literal["cold", "heat", "wind"], means("Of what it warns.")]
    event: Annotated[str, means("Its name, as its sender calls it.")]
    onset: Annotated[Instant, means("When the event begins.")]
    until: Annotated[Instant, means("When the event ends, or the warning expires.")]
    sender: Annotated[str, means("Who issued it.")]


@dataclass(frozen=True)
class WeatherBasis:
    """The weather of the schedule: its source, its age, and its hours.

    The arrays share ``time`` (UTC, ``datetime64[s]``, shape (m,)) and cover placement to the horizon.
    """

    source: Annotated[str, means("The source.")]
    issued_at: Annotated[Instant | None, means("When the source issued it; null where not known.")]
    first_hour: Annotated[Instant, means("First hour used.")]
    last_hour: Annotated[Instant, means("Last hour used.")]
    typical_from: Annotated[
        Instant | None, means("From here on the hours are typical, not forecast; null where none are.")
    ]
    methods: Annotated[tuple[str, ...], means("What was computed or filled in rather than read.")]
    time: Annotated[Instants, means("Hours of the arrays below.")]
    air_c: Annotated[Floats, means("Air temperature at 2 m, at the hour. [degC]")]
    relative_humidity: Annotated[Floats, means("At the hour, 0 to 1. [1]")]
    wind_ms: Annotated[Floats, means("Wind at 10 m, at the hour. [m/s]")]
    shortwave_wm2: Annotated[
        Floats, means("Global shortwave on the level, mean of the hour that ended. [W/m2]")
    ]
    precipitation_mm: Annotated[Floats, means("Precipitation of the hour that ended. [mm]")]
    precipitation_probability: Annotated[
        Floats, means("Chance of any rain in the hour that ended, 0 to 1; null where not known. [1]")
    ]
    spread: Annotated[
        WeatherSpread | None,
        means("Where the spread of the forecast comes from; left out where it is that of the rules."),
    ] = None
    alerts: Annotated[
        tuple[Alert, ...],
        means("Warnings in force that came with the forecast; left out where there are none."),
    ] = ()


RoomState = Literal["stated", "heated", "unheated", "unknown"]
"""What the record says of the room of a slab indoors: its temperature, whether it is heated, or neither."""


@dataclass(frozen=True)
class Room:
    """The air of the room of a slab that is indoors."""

    state: Annotated[RoomState, means("What the record says of it.")]
    air_c: Annotated[
        Floats,
        means("Likely air, or the cold end where it is assumed, at the hours of the weather. [degC]"),
    ]


@dataclass(frozen=True)
class Measurement:
    """A measurement, its estimate, and its outcome."""

    kind: Annotated[
        Literal[
            "temperature-log",
            "standard-cylinder",
            "field-cylinder",
            "ticket",
            "finishing",
            "scratch",
            "infrared",
        ],
        means("What was measured."),
    ]
    name: Annotated[
        str, means("The file, the number of the ticket, or the place of the cylinder in the record.")
    ]
    at: Annotated[Instant | None, means("When; null where not recorded.")]
    measured: Annotated[tuple[Figure, ...], means("Its numbers.")]
    estimated: Annotated[
        tuple[Figure, ...], means("The estimate of the same numbers without it; empty where there is none.")
    ]
    outcome: Annotated[str, means("The code of the outcome.")]
    figures: Annotated[tuple[Figure, ...], means("The numbers of the outcome.")] = ()


@dataclass(frozen=True)
class StrengthTest:
    """A cylinder of a fit: its equivalent age in h, its strength and that of the curve in MPa."""

    age_h: Annotated[Number, means("Equivalent age. [h]")]
    measured_mpa: Annotated[Number, means("Its strength. [MPa]")]
    fitted_mpa: Annotated[Number, means("Strength of the curve at that age. [MPa]")]

    @property
    def deviation(self) -> float:
        """Deviation of the test from the curve, as a share of the curve."""
        return self.measured_mpa / self.fitted_mpa - 1.0


@dataclass(frozen=True)
class StrengthFit:
    """The strength-maturity curve of the mix from its cylinders: S = Su k (t - t0) / (1 + k (t - t0))."""

    verdict: Annotated[
        str,
        means("Whether the curve is used, or why not.", one_of=("used", "too-scattered", "too-far")),
    ]
    ultimate_mpa: Annotated[Number, means("Su. [MPa]")]
    rate_per_h: Annotated[Number, means("k. [1/h]")]
    offset_h: Annotated[Number, means("t0. [h]")]
    reference_c: Annotated[Number, means("Reference temperature of the equivalent age t. [degC]")]
    scatter: Annotated[
        Number, means("Standard deviation of the tests about the curve, as a share of it. [1]")
    ]
    most_scatter: Annotated[Number, means("More scatter is refused. [1]")]
    reach: Annotated[Number, means("Su as a share of the highest test. [1]")]
    most_reach: Annotated[Number, means("More reach is refused. [1]")]
    tests: Annotated[tuple[StrengthTest, ...], means("The cylinders, by age.")]
    source: Annotated[str, means("Source of the two limits.")]
    mark: Annotated[Mark, means("How sure the limits are.")]


Cause = Literal[
    "ticket",
    "cylinder",
    "log",
    "surface",
    "finished",
    "concrete-temperature",
    "method",
    "hours",
    "pour",
    "mix",
    "room",
    "record",
    "rain",
    "no-rain",
    "frost",
    "no-frost",
    "repeated-frost",
    "cooler",
    "warmer",
    "air",
    "sunnier",
    "cloudier",
    "windier",
    "calmer",
    "drier",
    "damper",
    "forecast",
    "several",
]
"""An input that changed between two issues: a measurement, the record, or the weather."""


@dataclass(frozen=True)
class Change:
    """A difference from the previous issue."""

    kind: Annotated[
        str,
        means(
            'Kind of the milestone; "saw-joints-last": too late from then on; "watering": '
            'the visits of a day; "timer": its program, which is set again then; "frost": a stretch in which '
            'the slab may freeze; "rain-on-fresh": a rain on the fresh slab; "blanket": the cover against '
            "frost has to keep more warmth in."
        ),
    ]
    before: Annotated[
        tuple[Instant, ...],
        means("The earlier time: one instant, or the start of each visit; empty where there was none."),
    ]
    after: Annotated[tuple[Instant, ...], means("The new time; likewise.")]
    because: Annotated[tuple[Cause, ...], means("The causes, as far as they are known.")] = ()
    precision: Annotated[
        Precision | None,
        means("To what the new time of a date is rounded, or a lost one; null where it is not rounded."),
    ] = None
    precision_before: Annotated[
        Precision | None, means("The same of the earlier time; null where it is as the new one.")
    ] = None
    figures: Annotated[
        tuple[Figure, ...],
        means(
            'Its numbers, with that before ("blanket", "blanket_before"); null: no usual blanket is enough.'
        ),
    ] = ()


Party = Literal["owner", "crew"]
"""Who does it."""


@dataclass(frozen=True)
class CoverSpan:
    """How long a cover against frost lies, and the frost that it keeps off."""

    end: Annotated[
        Instant | None, means("When it comes off; null: past the estimate, so that the contractor says when.")
    ]
    off: Annotated[
        str | None, means("Kind of the date on which it comes off; null: before the next watering.")
    ]
    frost_start: Annotated[
        Instant | None,
        means("From when the slab may freeze while it lies; null: only its water may."),
    ] = None
    frost_end: Annotated[Instant | None, means("Until when the slab may freeze; likewise.")] = None


@dataclass(frozen=True)
class Task:
    """Something that somebody has to do, or may do from then on: one entry of their calendar, without words.

    Kind and occasion identify it in every revision.
    """

    kind: Annotated[
        str,
        means(
            "What: the kind of a date, whose work it is or from which a use is allowed; or "
            '"watering", "rain-day", "frost-cover", "cover-not-water", "no-salt", "surface", "rain-cover", '
            '"rain-cover-off", "lay-hose", "build-rim", "pipes-frost", "rub-edges", '
            '"look-coat", "look-joints", "walk-through", "bring-cover", "bring-blankets", "blankets-on" '
            'or "blankets-off".'
        ),
    ]
    by: Annotated[Party, means("Who does it.")]
    start: Annotated[Instant, means("From; of work of a whole day, the first hour of that day.")]
    end: Annotated[Instant, means("To; of work of a whole day, the first hour of the next day.")]
    because: Annotated[
        str,
        means(
            'What it comes from: the kind of a date, the code of a risk or a caution, "watering", '
            '"walk-through", or "surface-damp", "surface-cover" or "surface-compound".'
        ),
    ]
    all_day: Annotated[bool, means("Whether it has a day only, and no hour.")] = False
    until: Annotated[
        Instant | None,
        means("Until when it can still be done, where that is later than its end; null: until its end."),
    ] = None
    occasion: Annotated[str, means("Which one of its kind; empty where there is one only.")] = ""
    how: Annotated[
        str,
        means(
            "In which way, where there are several; empty: as usual.",
            one_of=(
                "",
                "set-timer",
                "set-timer-ahead",
                "reset-timer",
                "first-run",
                "look-timer",
                "by-crew",
                "before-water",
                "under-cover",
                "later",
                "timer",
                "undated",
                "in-doubt",
                "by-walking",
                "by-edges",
                "never",
            ),
        ),
    ] = ""
    litres: Annotated[Number | None, means("Its water; null where none is counted. [L]")] = None
    cover: Annotated[
        str | None, means("The cover that lies where the work is, as the record names it, or null.")
    ] = None
    span: Annotated[
        CoverSpan | None, means("How long the cover lies that this work lays against frost; else null.")
    ] = None
    notes: Annotated[
        tuple[str, ...],
        means(
            'What else to mind: "cover-off" (a cover comes off first), "under-cover" (blankets lie there), '
            '"over-pipes" (heating in the slab), "respirator" (no cut without one), "night" (work at night), '
            '"next" (the cover that comes before the next water), "unwatched" (nobody looks after a cover).'
        ),
    ] = ()
    if_rain: Annotated[
        str | None,
        means(
            'What if it rains: "skip" (leave it out if it rains hard for the whole time), "run" (a timer '
            'runs on), "water" (all the same: a sheet keeps the rain off); or null.'
        ),
    ] = None
    if_frost: Annotated[
        str | None,
        means(
            'What if it freezes: "cover" (in place of water), "drain" (a pond), "dry" (no water on the saw); '
            "or null where it does not, or where nothing changes."
        ),
    ] = None
    if_nobody: Annotated[
        str | None, means('What if nobody is there in time: "call" (the contractor); or null.')
    ] = None

    @property
    def length(self) -> timedelta:
        """How long it takes, across a clock change as well."""
        return self.end.astimezone(UTC) - self.start.astimezone(UTC)


@dataclass(frozen=True)
class CureSchedule:
    """Dates, watering, risks, and the hours behind them. SI units.

    Every instant is ISO 8601 with the offset of the site, to the second. Numbers are rounded to 6 significant
    digits; null means not known. Estimates for a slab on ground only: none of them decides about
    soffits, shores, suspended slabs, tendons, anchors or columns.
    """

    job: Annotated[str, Field(min_length=1), means("Id of the job record.")]
    revision: Annotated[int, Field(ge=0), means("One more for each new issue of the job.")]
    issued_at: Annotated[Instant, means("Time of issue.")]
    timezone: Annotated[str, means("IANA name of the time zone of the site.")]
    placement_start: Annotated[Instant, means("First concrete placed.")]
    placement_end: Annotated[Instant, means("Last concrete placed.")]
    finished: Annotated[Instant | None, means("End of the last trowel pass; null where not recorded.")]
    area_m2: Annotated[NotNegative, means("Area of the slab. [m2]")]
    thickness_m: Annotated[NotNegative, means("Thickness of the slab. [m]")]
    specified_strength_mpa: Annotated[NotNegative, means("Specified compressive strength. [MPa]")]
    curing_method: Annotated[str, means("How the slab is cured, as the job record names it.")]
    weather: Annotated[WeatherBasis, means("The weather of the schedule, from placement to the horizon.")]
    milestones: Annotated[tuple[Milestone, ...], means("The dates.")]
    watering: Annotated[tuple[WateringDay, ...], means("Each day of curing.")]
    risks: Annotated[tuple[Risk, ...], means("Stretches of hours in which something may harm the slab.")]
    cautions: Annotated[tuple[Caution, ...], means("What the reader must know, by code.")]
    history: Annotated[
        SlabHistory, means("The history of the slab hour by hour, for the concrete placed last.")
    ]
    assumed: Annotated[
        tuple[Assumption, ...], means("Values assumed for what the job record leaves out.")
    ] = ()
    refusals: Annotated[tuple[Refusal, ...], means("Dates that are not given, and why.")] = ()
    figures: Annotated[tuple[Figure, ...], means("Other numbers of the calculation.")] = field(default=())
    room: Annotated[Room | None, means("The air of the room; null where the slab is not indoors.")] = None
    joints: Annotated[
        Joints | None, means("When to saw the joints, their depth and spacing; null where none are sawn.")
    ] = None
    protection: Annotated[
        Protection | None, means("How to keep the slab from freezing; null where the air stays mild.")
    ] = None
    surface: Annotated[
        SurfaceTask | None,
        means("What the crew does between the last pass and curing; null where nothing is to be done."),
    ] = None
    blankets_on: Annotated[
        Instant | None,
        means("From when the blankets that cure the slab are laid, early end; null where none cure it."),
    ] = None
    covered_since: Annotated[
        Instant | None,
        means(
            "When the cover against frost that is on the slab at the time of issue was laid, as an earlier "
            "issue planned it; null: no earlier issue planned one."
        ),
    ] = None
    missed_water: Annotated[
        Instant | None,
        means(
            "When the first watering began where the first issue came after it: nobody was told of it; "
            "null: it did not."
        ),
    ] = None
    has_own_papers: Annotated[
        bool,
        means("Whether it is that of joined papers: the papers of the slab alone came before them."),
    ] = False
    cover_due: Annotated[
        Instant | None,
        means(
            "By when the crew brings the cover between the waterings; null: it leaves it on the slab, an "
            "earlier issue has it there, or there is none."
        ),
    ] = None
    timer_reset: Annotated[
        Instant | None,
        means(
            "When the owner sets the timer again, because an issue has changed its program; null: it is the "
            "same as ever."
        ),
    ] = None
    between: Annotated[
        BetweenCover | None,
        means("The cover between the waterings; null where they suffice, or where the method has its own."),
    ] = None
    measurements: Annotated[
        tuple[Measurement, ...], means("The measurements on the job, and their outcomes.")
    ] = ()
    strength_fit: Annotated[
        StrengthFit | None,
        means("Strength against equivalent age, fitted to the cylinders; null where there are too few."),
    ] = None
    changes: Annotated[
        tuple[Change, ...],
        means("The differences from the issue that this one replaces; empty in a first issue."),
    ] = ()
    tasks: Annotated[
        tuple[Task, ...],
        means("What owner and crew have to do, and what the owner may do, in order of time."),
    ] = ()

    def tasks_of(self, by: Party, *kinds: str) -> tuple[Task, ...]:
        """Return the tasks of a party, of some kinds or of all, in order of time."""
        return tuple(each for each in self.tasks if each.by == by and (not kinds or each.kind in kinds))

    def milestone(self, kind: MilestoneKind) -> Milestone | None:
        """Return the milestone of a kind, or None where the job has none."""
        return next((each for each in self.milestones if each.kind == kind), None)

    @property
    def is_first_issue(self) -> bool:
        """Whether no earlier papers say anything of the slab."""
        return self.revision <= 1 and not self.has_own_papers

    def is_ahead(self, when: datetime) -> bool:
        """Return whether an instant is still to come at the time of issue."""
        return when.astimezone(UTC) > self.issued_at.astimezone(UTC)

    @property
    def air_c(self) -> Floats:
        """The air around the slab at the hours of the weather, in degC: that of its room, or outdoors."""
        return self.weather.air_c if self.room is None else self.room.air_c

    def has_caution(self, code: str) -> bool:
        """Return whether the job calls for a caution."""
        return any(each.code == code for each in self.cautions)

    @property
    def cure_mode(self) -> CureMode:
        """What the curing method keeps on the slab: water, a cover, or the coat of a compound."""
        if self.is_covered_for_coat:
            return "cover"
        return CURE_MODES.get(self.curing_method, "wet")

    @property
    def is_covered_for_coat(self) -> bool:
        """Whether a cover against frost stays on the slab in place of its curing compound."""
        return self.surface is not None and self.surface.choices[0].how == COVER_FOR_COAT

    @property
    def finishing_ends(self) -> datetime:
        """When the crew has finished the slab: as recorded, else at the end of the placement."""
        return self.finished or self.placement_end

    @property
    def dries_before_frost(self) -> bool:
        """Whether moist curing ends early, so that the slab is dry when it freezes again and again."""
        return any(each.is_before_frosts for each in self.milestones)

    @property
    def covered_for_frost(self) -> bool:
        """Whether the slab is covered instead of watered on some days, because it may freeze."""
        return self.cure_mode == "wet" and any(day.skipped_because == "frost" for day in self.watering)

    @property
    def covered_in_cold(self) -> bool:
        """Whether blankets lie on the slab for some days, because of its curing or of frost."""
        return self.curing_method == "insulating blanket" or self.covered_for_frost

    @property
    def forecast_age(self) -> timedelta | None:
        """Age of the forecast at the time of issue; None if the source does not say when it issued it."""
        made = self.weather.issued_at
        return None if made is None else max(self.issued_at - made, timedelta())
