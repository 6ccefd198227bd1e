"""schedule.json says what the schedule holds, in one way only, and its schema says what that means."""

from __future__ import annotations

import dataclasses
import json
import typing
from datetime import UTC, date, datetime, timedelta
from importlib.resources import files
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from jsonschema import Draft202012Validator, ValidationError

from handover.cli import main
from handover.documents.schedule_json import LEFT_OUT_IF_EMPTY, read_schedule, schedule_json, schedule_schema
from handover.schedule import model
from handover.schedule.json_types import SIGNIFICANT_DIGITS, Floats
from handover.schedule.model import MilestoneKind

ZONE = ZoneInfo("America/New_York")
POUR = datetime(2026, 10, 31, 7, 25, tzinfo=ZONE)  # the day before clocks go back
HOURS = 48


def hourly(first: float) -> Floats:
    return first + np.arange(HOURS) / 7


def instants() -> np.ndarray:
    return np.datetime64("2026-10-31T11:25:00", "s") + np.arange(HOURS) * np.timedelta64(3600, "s")


def band(first: float) -> model.EstimateBand:
    depths = [model.Depths(*(hourly(first + 10 * level + depth) for depth in range(3))) for level in range(3)]
    return model.EstimateBand(*depths)


def gate(rule: str, met: datetime | None) -> model.Gate:
    later = met and met + timedelta(hours=3)
    figure = model.Figure("strength share", 1 / 3, "1")
    return model.Gate(rule, met, later, "common practice", "common practice", (figure,))


def milestone(kind: MilestoneKind, met: datetime | None) -> model.Milestone:
    reason = model.Reason(gate("strength", met), (gate("age", met),))
    later = met and met + timedelta(hours=3)
    return model.Milestone(kind, met, later, reason, "forecast", 0.9, later)


def weather_basis() -> model.WeatherBasis:
    end = POUR + timedelta(hours=HOURS)
    unknown = np.full(HOURS, np.nan)
    columns = [hourly(first) for first in (11, 0.5, 3, 200, 0)]
    return model.WeatherBasis(
        "a forecast", POUR, POUR, end, None, ("sunshine from cloud",), instants(), *columns, unknown
    )


def slab_history() -> model.SlabHistory:
    bands = [band(first) for first in (20, 40, 60, 80)]
    rates = [hourly(first) for first in (0.4, 0.2, 0.6)]
    return model.SlabHistory(hourly(0), instants(), *bands, *rates, 23.0, hourly(5), 0.0)


@pytest.fixture
def schedule() -> model.CureSchedule:
    first = POUR + timedelta(hours=7)
    visits = (model.Visit(first, first + timedelta(minutes=45), 2000 / 3),)
    day = model.WateringDay(date(2026, 10, 31), visits, None, 0.0, None, 4.56789012, 1.5, "forecast")
    dry = model.WateringDay(date(2026, 11, 1), (), "rain", 12.0, 0.8, 1.0, 3.0, "typical")
    night = POUR + timedelta(hours=18)
    frost = model.Risk("frost", night, night + timedelta(hours=6), night + timedelta(hours=4))
    return model.CureSchedule(
        job="2026-10-31-älder",
        revision=2,
        issued_at=datetime(2026, 10, 31, 16, 0, tzinfo=UTC),
        timezone="America/New_York",
        placement_start=POUR - timedelta(hours=1),
        placement_end=POUR,
        finished=None,
        area_m2=82.12345678,
        thickness_m=0.127,
        specified_strength_mpa=20.684271879,
        curing_method="sprinkler",
        weather=weather_basis(),
        milestones=(
            milestone(MilestoneKind.FOOT_TRAFFIC, POUR + timedelta(hours=20, seconds=1, milliseconds=600)),
            milestone(MilestoneKind.HEAVY_VEHICLES, None),
        ),
        watering=(day, dry),
        risks=(frost,),
        cautions=(model.Caution("caustic", (model.Figure("pH", 12.5, "1"),)),),
        history=slab_history(),
        assumed=(model.Assumption("mix.cement", "I", "most common"),),
        refusals=(model.Refusal("tendons", "engineer-decides-tendons"),),
        figures=(model.Figure("peak", float("nan"), "degC"),),
    )


def read(schedule: model.CureSchedule) -> dict[str, typing.Any]:
    def refuse(constant: str) -> None:
        pytest.fail(f"{constant} is not JSON")

    return json.loads(schedule_json(schedule), parse_constant=refuse)


def optional(name: str) -> set[str]:
    """Return the fields of a type that are left out where they are empty."""
    return {each for kind, fields in LEFT_OUT_IF_EMPTY.values() if kind == name for each in fields}


def written(part: object) -> set[str]:
    """Return the fields of a part of a schedule that are written."""
    return {name for name, value in vars(part).items() if name not in optional(type(part).__name__) or value}


def same(result: object, held: object) -> bool:  # noqa: PLR0911 - one answer to a type
    """Whether JSON has the value of the model, apart from rounding."""
    match held:
        case np.ndarray() if held.dtype.kind == "M":
            return same(result, tuple(each.replace(tzinfo=UTC) for each in held.tolist()))
        case np.ndarray():
            return same(result, tuple(held.tolist()))
        case tuple():
            return len(result) == len(held) and all(map(same, result, held))
        case datetime():
            return abs(datetime.fromisoformat(result) - held) <= timedelta(seconds=0.5)
        case date():
            return date.fromisoformat(result) == held
        case float() if np.isnan(held):
            return result is None
        case float():
            return result == pytest.approx(held, rel=0.5 * 10 ** (1 - SIGNIFICANT_DIGITS), abs=0)
        case _ if dataclasses.is_dataclass(held):
            return set(result) == written(held) and all(
                same(result[name], vars(held)[name]) for name in result
            )
        case _:
            return result == held


def test_read_back_it_is_the_whole_schedule(schedule: model.CureSchedule) -> None:
    assert same(read(schedule), schedule)


def test_what_a_service_says_of_its_forecast_is_written_where_there_is_any(
    schedule: model.CureSchedule,
) -> None:
    until = POUR + timedelta(days=5)
    weather = dataclasses.replace(
        schedule.weather,
        spread=model.WeatherSpread("members", "an ensemble", 31, until),
        alerts=(model.Alert("cold", "Freeze Warning", POUR, until, "an office"),),
    )
    told = dataclasses.replace(schedule, weather=weather)
    document = read(told)
    assert same(document, told)
    assert document["weather"]["spread"]["members"] == 31
    assert [each["event"] for each in document["weather"]["alerts"]] == ["Freeze Warning"]
    Draft202012Validator(schedule_schema()).validate(document)
    assert read_schedule(schedule_json(told)).weather.alerts == weather.alerts
    assert {"spread", "alerts"}.isdisjoint(read(schedule)["weather"])


def test_it_satisfies_its_schema(schedule: model.CureSchedule) -> None:
    Draft202012Validator.check_schema(schedule_schema())
    Draft202012Validator(schedule_schema()).validate(read(schedule))


@pytest.mark.parametrize(
    ("place", "wrong"),
    [
        (("issued_at",), "2026-10-31T16:00:00"),
        (("milestones", 0, "kind"), "strip-soffit"),
        (("milestones", 0, "confidence"), 90),
        (("watering", 0, "rain_mm"), -1),
        (("history", "hours", 0), "0"),
        (("joints",), {}),
        (("watering", 0, "visits", 0, "litres"), "667"),
        (("history", "strength_mpa", "low", "surface"), None),
        (("unheard_of",), 1),
    ],
)
def test_the_schema_refuses_what_is_not_a_schedule(
    schedule: model.CureSchedule, place: tuple[str | int, ...], wrong: object
) -> None:
    document = read(schedule)
    node: typing.Any = document
    for step in place[:-1]:
        node = node[step]
    node[place[-1]] = wrong
    with pytest.raises(ValidationError):
        Draft202012Validator(schedule_schema()).validate(document)


def named_parts(node: typing.Any) -> typing.Iterator[tuple[str, dict[str, typing.Any]]]:
    """Give every property of a schema with its name."""
    if isinstance(node, dict):
        yield from node.get("properties", {}).items()
        for below in node.values():
            yield from named_parts(below)
    elif isinstance(node, list):
        for below in node:
            yield from named_parts(below)


def test_every_field_of_the_schema_says_what_it_means_and_every_number_its_unit() -> None:
    schema = schedule_schema()
    for name, part in named_parts(schema):
        printed = part if "description" in part else schema["$defs"][part["$ref"].split("/")[-1]]
        assert printed["description"], name
        numeric = "number" in part.get("type", ()) or "number" in part.get("items", {}).get("type", ())
        if numeric and name not in {"value", "surface", "middle", "bottom"}:  # units beside or around these
            assert part["description"].endswith("]"), name


def test_the_schema_knows_every_milestone_and_only_those() -> None:
    assert schedule_schema()["$defs"]["MilestoneKind"]["enum"] == list(MilestoneKind)


def test_times_carry_the_offset_of_the_site_across_a_clock_change(schedule: model.CureSchedule) -> None:
    # Eastern time falls back on the first Sunday of November at 2:00 (15 USC 260a).
    offsets = {printed[-6:] for printed in read(schedule)["history"]["time"]}
    assert offsets == {"-04:00", "-05:00"}
    assert read(schedule)["history"]["time"][0] == "2026-10-31T07:25:00-04:00"
    assert read(schedule)["issued_at"] == "2026-10-31T12:00:00-04:00"


@pytest.mark.parametrize("zone", ["Australia/Adelaide", "Asia/Kolkata", "Pacific/Kiritimati", "UTC"])
def test_the_zone_a_time_comes_in_changes_nothing(schedule: model.CureSchedule, zone: str) -> None:
    elsewhere = dataclasses.replace(schedule, issued_at=schedule.issued_at.astimezone(ZoneInfo(zone)))
    assert schedule_json(elsewhere) == schedule_json(schedule)


def test_the_last_bit_of_a_number_changes_no_byte(schedule: model.CureSchedule) -> None:
    nudged = dataclasses.replace(
        schedule, area_m2=np.nextafter(schedule.area_m2, 100), thickness_m=np.nextafter(0.127, 0)
    )
    assert schedule_json(nudged) == schedule_json(schedule)


def test_keys_are_in_order_and_one_to_a_line(schedule: model.CureSchedule) -> None:
    lines = schedule_json(schedule).decode().splitlines()
    keys = [line.split('"')[1] for line in lines[1:-1]]
    assert keys == sorted(each.name for each in dataclasses.fields(model.CureSchedule))


def test_keys_are_in_order_all_the_way_down(schedule: model.CureSchedule) -> None:
    def ordered(pairs: list[tuple[str, object]]) -> None:
        assert [key for key, _ in pairs] == sorted(key for key, _ in pairs)

    json.loads(schedule_json(schedule), object_pairs_hook=ordered)


def test_a_time_without_a_zone_is_refused(schedule: model.CureSchedule) -> None:
    naive = dataclasses.replace(schedule, issued_at=datetime(2026, 10, 31, 16, 0))  # noqa: DTZ001 - that is the test
    with pytest.raises(ValueError, match="no time zone"):
        schedule_json(naive)


def test_the_published_schema_is_the_one_that_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    """After a change that is meant, print it into that file: it is a snapshot of what the model says."""
    published = files("handover.documents").joinpath("schedule.schema.json").read_text(encoding="utf-8")
    assert main(["schema", "schedule"]) == 0
    assert capsys.readouterr().out == published


def test_the_model_and_the_schema_have_the_same_fields() -> None:
    defs = schedule_schema()["$defs"]
    for name, part in (*defs.items(), ("CureSchedule", schedule_schema())):
        if name in {"MilestoneKind", "Respirator"}:
            continue
        fields = [each.name for each in dataclasses.fields(getattr(model, name))]
        assert [*part["properties"]] == fields, name
        assert part["required"] == [each for each in fields if each not in optional(name)], name
        assert part["additionalProperties"] is False
