"""A schedule written by hand: plausible, not computed, to try the documents on without the physics."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from handover.documents.translations import load_translations
from handover.jobs.record import JobRecord
from handover.schedule.model import (
    Assumption,
    Caution,
    CureSchedule,
    Depths,
    EstimateBand,
    Figure,
    Gate,
    Milestone,
    MilestoneKind,
    Reason,
    Risk,
    SlabHistory,
    Visit,
    WateringDay,
    WeatherBasis,
)

ZONE = ZoneInfo("America/New_York")
START = datetime(2026, 7, 14, 6, 40, tzinfo=ZONE)
END = datetime(2026, 7, 14, 8, 5, tzinfo=ZONE)
FINISHED = datetime(2026, 7, 14, 12, 10, tzinfo=ZONE)
STRENGTH_MPA = 20.68

Kind = MilestoneKind

# Kind, hours after the last concrete (likely, not before), basis.
DATES: tuple[tuple[MilestoneKind, float | None, float | None, str], ...] = (
    (Kind.INITIAL_SET, 3.4, 3.9, "observed"),
    (Kind.FINAL_SET, 5.1, 5.8, "forecast"),
    (Kind.SAW_JOINTS, 5.4, 6.1, "forecast"),
    (Kind.FIRST_WATER, 5.1, 5.75, "forecast"),
    (Kind.STRIP_EDGE_FORMS, 22.0, 24.0, "forecast"),
    (Kind.FOOT_TRAFFIC, 24.0, 25.1, "forecast"),
    (Kind.LIGHT_WORK, 70.0, 76.0, "forecast"),
    (Kind.FROST_SAFE, 14.0, 19.0, "forecast"),
    (Kind.CURING_ENDS, 168.0, 168.0, "forecast"),
    (Kind.LIGHT_VEHICLES, 168.0, 171.0, "forecast"),
    (Kind.HEAVY_VEHICLES, 672.0, 684.0, "typical"),
    (Kind.FLOOR_COVERING, 24 * 35.0, 24 * 37.0, "typical"),
    (Kind.SEAL, 24 * 35.0, 24 * 37.0, "typical"),
    (Kind.DEICING_SALT, 24 * 300.0, 24 * 300.0, "typical"),
)


ALWAYS = tuple(
    Caution(code) for code in ("caustic", "silica", "slips", "electricity", "nails", "children-animals")
)


def curve(shape: np.ndarray) -> Depths:
    return Depths(surface=shape * 0.97, middle=shape, bottom=shape * 1.01)


def band(likely: np.ndarray, spread: float) -> EstimateBand:
    return EstimateBand(curve(likely), curve(likely * (1 - spread)), curve(likely * (1 + spread)))


def history(hours_long: int) -> SlabHistory:
    hours = np.arange(hours_long + 1, dtype=np.float64)
    start = np.datetime64(END.astimezone(UTC).replace(tzinfo=None), "s")
    days = hours / 24
    temperature = 27 + 9 * np.exp(-(((hours - 12) / 14) ** 2)) + 4 * np.sin((hours - 2) / 24 * 2 * np.pi)
    strength = STRENGTH_MPA * np.where(days > 0.2, (days - 0.2) / (3.6 + 0.87 * days), 0.0)
    evaporation = 0.25 + 0.55 * np.maximum(0, np.sin((hours + 2) / 24 * 2 * np.pi))
    return SlabHistory(
        hours=hours,
        time=start + (hours * 3600).astype("timedelta64[s]"),
        temperature_c=band(temperature, 0.06),
        equivalent_age_h=band(hours * 1.25, 0.1),
        hydration=band(0.7 * np.exp(-((14 / np.maximum(hours, 0.1)) ** 0.7)), 0.05),
        strength_mpa=band(strength, 0.16),
        evaporation=evaporation,
        evaporation_low=evaporation * 0.6,
        evaporation_high=evaporation * 1.4,
        reference_c=23.0,
        temperature_time_factor=np.cumsum(temperature),
        datum_c=0.0,
    )


def weather(hours_long: int) -> WeatherBasis:
    hours = np.arange(hours_long + 1, dtype=np.float64)
    start = datetime(2026, 7, 14, 10, tzinfo=UTC)
    day = np.sin((hours - 5) / 24 * 2 * np.pi)
    rain = np.zeros(hours_long + 1)
    rain[58:63] = (0.5, 2.5, 4.0, 2.0, 0.4)
    return WeatherBasis(
        source="National Weather Service, grid forecast",
        issued_at=datetime(2026, 7, 14, 9, 12, tzinfo=UTC),
        first_hour=start.astimezone(ZONE),
        last_hour=(start + timedelta(hours=hours_long)).astimezone(ZONE),
        typical_from=(start + timedelta(hours=162)).astimezone(ZONE) if hours_long > 162 else None,
        methods=(
            "Sunshine computed from cloud cover.",
            "Wind brought from 10 m to 0.5 m by a log profile.",
        ),
        time=np.datetime64("2026-07-14T10:00:00", "s") + (hours * 3600).astype("timedelta64[s]"),
        air_c=26 + 6 * day,
        relative_humidity=0.6 - 0.2 * day,
        wind_ms=4 + 2 * day,
        shortwave_wm2=np.maximum(0, 900 * day),
        precipitation_mm=rain,
        precipitation_probability=np.where(rain > 0, 0.7, 0.1),
    )


def gate(rule: str, likely: datetime | None, not_before: datetime | None, *figures: Figure) -> Gate:
    return Gate(rule, likely, not_before, "a standard named here", "common practice", figures)


OF_THE_COLD: tuple[tuple[MilestoneKind, float | None, float | None, str], ...] = (
    (Kind.PROTECTION_ENDS, 80.0, 99.0, "forecast"),
    (Kind.FREEZE_THAW, 300.0, 350.0, "typical"),
)
"""Dates that a slab has in the cold alone."""


def in_the_cold(schedule: CureSchedule) -> CureSchedule:
    return replace(schedule, milestones=(*schedule.milestones, *milestones(OF_THE_COLD)))


def milestones(dates: tuple[Any, ...] = DATES) -> tuple[Milestone, ...]:
    made = []
    for kind, likely_h, cautious_h, basis in dates:
        likely = None if likely_h is None else END + timedelta(hours=likely_h)
        cautious = None if cautious_h is None else END + timedelta(hours=cautious_h)
        rules = list(load_translations("en").lookup(f"rule.{kind}"))
        governing = gate(f"{kind}.{rules[0]}", likely, cautious, Figure("needed", cautious_h or 0.0, "h"))
        other = gate(f"{kind}.{rules[-1]}", likely, cautious, Figure("needed", 3.5, "MPa"))
        after = END + timedelta(hours=14.7) if kind == Kind.SAW_JOINTS else None
        made.append(
            Milestone(kind, likely, cautious, Reason(governing, (other,)), basis, 0.9, after)  # type: ignore[arg-type]
        )
    return tuple(made)


def watering(days: int) -> tuple[WateringDay, ...]:
    made = []
    for number in range(days):
        day = (START + timedelta(days=number)).replace(hour=0, minute=0)
        hours = (
            ((6.5, 7.5), (12.0, 13.0), (17.0, 18.0), (20.0, 20.75))
            if number
            else ((14.0, 15.0), (18.0, 19.0), (21.0, 21.5))
        )
        visits = tuple(
            Visit(day + timedelta(hours=a), day + timedelta(hours=b), 410.0 * (b - a)) for a, b in hours
        )
        rainy = number == 2
        made.append(
            WateringDay(
                date=day.date(),
                visits=() if rainy else visits,
                skipped_because="rain" if rainy else None,
                rain_mm=9.4 if rainy else 0.0,
                rain_probability=0.8 if rainy else 0.4 if number == 4 else 0.1,
                lost_mm=7.5,
                coldest_c=19.0,
                basis="typical" if number >= 7 else "forecast",
            )
        )
    return tuple(made)


def make_job(**parts: Any) -> JobRecord:
    record: dict[str, Any] = {
        "id": "2026-07-14-alder-garage",
        "site": {
            "name": "Alder Lane garage",
            "address": "118 Alder Lane, Fenwick Mills, NC 27300",
            "latitude": 36.1,
            "longitude": -79.8,
            "timezone": "America/New_York",
        },
        "owner": {"name": "Rosa Delgado", "email": "rosa@example.com", "phone": "336-555-0142"},
        "contractor": {
            "name": "Three Rivers Flatwork",
            "phone": "336-555-0117",
            "email": "office@example.net",
            "address": "9 Quarry Road, Fenwick Mills, NC 27300",
            "license": "NC 00000",
        },
        "slab": {
            "use": "garage floor",
            "length": 10.363,
            "width": 7.925,
            "area": 82.13,
            "thickness": 0.127,
            "on": "gravel",
            "joint_spacing": 3.05,
            "reinforcement": "No. 3 bars at 18 in",
        },
        "placement": {"start": START, "end": END, "finished": FINISHED, "concrete_temperature": 28.9},
        "mix": {
            "supplier": "Fenwick Ready Mix",
            "specified_strength": STRENGTH_MPA,
            "cementitious": 334.6,
            "water_cementitious": 0.5,
            "fly_ash": 0.15,
            "air": 0.02,
            "admixtures": ("retarder",),
            "placed_as_planned": True,
        },
        "ticket": (
            {
                "number": "40117",
                "batched": START - timedelta(minutes=35),
                "volume": 7.6,
                "slump": 0.114,
                "temperature": 28.9,
            },
            {"number": "40119", "batched": START + timedelta(minutes=15), "volume": 3.1, "water_added": 0.0},
        ),
        "cylinder": ({"age": 168.0, "strength": 16.9, "cured": "field"},),
        "walkthrough": (
            {"item": "Door line checked with a straightedge", "ok": True},
            {
                "item": "Edges rubbed after the boards come off",
                "ok": False,
                "note": "Crew comes back on Wednesday",
            },
        ),
    }
    record.update(parts)
    return JobRecord.model_validate(record)


def make_schedule(*, days: int = 7, method: str = "sprinkler", **parts: Any) -> CureSchedule:
    schedule = CureSchedule(
        job="2026-07-14-alder-garage",
        revision=1,
        issued_at=datetime(2026, 7, 14, 12, 30, tzinfo=ZONE),
        timezone="America/New_York",
        placement_start=START,
        placement_end=END,
        finished=FINISHED,
        area_m2=82.13,
        thickness_m=0.127,
        specified_strength_mpa=STRENGTH_MPA,
        curing_method=method,
        weather=weather(700),
        milestones=milestones(),
        watering=watering(days),
        risks=(
            Risk(
                "drying-watch",
                START.replace(hour=13, minute=0),
                START.replace(hour=17, minute=0),
                START.replace(hour=15, minute=0),
                (Figure("peak", 0.83, "kg/m2/h"),),
            ),
        ),
        cautions=(Caution("caustic", source="a source named here"),),
        history=history(700),
        assumed=(Assumption("mix.cement", "I", "the most common cement"),),
        refusals=(),
    )
    return replace(schedule, **parts)


@pytest.fixture
def job() -> JobRecord:
    return make_job()


@pytest.fixture
def schedule() -> CureSchedule:
    return make_schedule()


@pytest.fixture
def cold_schedule(schedule: CureSchedule) -> CureSchedule:
    """A schedule with the dates of the cold."""
    return in_the_cold(schedule)


@pytest.fixture
def job_with() -> Any:
    """Return the maker of job records: parts of the record by name."""
    return make_job


@pytest.fixture
def schedule_with() -> Any:
    """Return the maker of schedules: days of curing, method, parts by name."""
    return make_schedule


@pytest.fixture(scope="module")
def module_inputs() -> tuple[JobRecord, CureSchedule]:
    """Return a job and its schedule for a whole module: rendering takes its time."""
    return make_job(), in_the_cold(make_schedule(cautions=ALWAYS))
