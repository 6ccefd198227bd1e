"""Records as people write them: one meaning is read, several are asked about, with the lines to paste.

What a text means is common knowledge, no source: in the United States the month is written first, in Britain,
Australia and Spain the day (Unicode CLDR has the same); "PM" makes one reading of a clock; a comma before
three figures is a thousand in English and a decimal in Spanish; a map shows the latitude first.
"""

# ruff: noqa: DTZ001 - times on the clock of a site, as people write them

from __future__ import annotations

import json
import re
import tomllib
from dataclasses import replace
from datetime import date, datetime, time
from typing import TYPE_CHECKING, Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from handover.base.number_text import plain_spellings
from handover.base.time_text import date_order, read_time_text
from handover.concrete.strength import aci209_ratio, en1992_ratio
from handover.errors import Finding
from handover.jobs.cement import CementName
from handover.jobs.fields import NumberField, QuantityField, other_names
from handover.jobs.place_text import read_pair
from handover.jobs.record import declaration_of, mark_of
from handover.jobs.time_spelling import spell_times
from handover.practice.cement_names import blend_names, cement_names
from handover.practice.rules import practice
from handover.units import quantity

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.reading import ExaminedRecord
    from handover.practice.rules import CementRule

    Spoil = Callable[..., ExaminedRecord]

TEXAS = {"site.latitude": 30.27, "site.longitude": -97.74}
LONDON = {"site.latitude": 51.51, "site.longitude": -0.12}
NOON = {**TEXAS, "placement.start": "2026-08-12 12:10", "placement.end": "2026-08-12 13:20"}
FAST = settings(max_examples=80, deadline=None, derandomize=True)


def about(examined: ExaminedRecord, field: str) -> Finding:
    (finding,) = [each for each in examined.findings if each.field == field]
    return replace(finding, example=as_toml(finding.example))


def as_toml(example: str) -> str:
    """Return the lines of an example as TOML has them; `spoil` writes JSON."""
    return re.sub(r'"([a-z_]+)": ', r"\1 = ", example)


def pasted(spoil: Spoil, changes: dict[str, Any], field: str, line: str) -> ExaminedRecord:
    """Return the record with the line that a finding shows, pasted in place of the one at fault."""
    ((key, value),) = tomllib.loads(line).items()
    assert field.endswith(key)
    return spoil(changes | {field: value})


# ---- times


@pytest.mark.parametrize(
    "written",
    [
        "8/12/2026 12:10 PM",
        "08/12/2026 12:10pm",
        "8/12/26 12:10 p.m.",
        "8/12/2026, 12:10",
        "12:10 PM 8/12/2026",
        "8/12/2026 noon",
    ],
)
def test_in_the_united_states_the_month_is_first_and_it_is_said(spoil: Spoil, written: str) -> None:
    examined = spoil(NOON | {"placement.start": written})
    if "noon" in written:
        assert examined.record.placement.start.hour == 12
    else:
        assert examined.record.placement.start.replace(tzinfo=None) == datetime(2026, 8, 12, 12, 10)
    assert about(examined, "placement.start").severity == "caution"


@pytest.mark.parametrize(
    "written",
    [
        "2026-08-12 12:10 PM",
        "2026/8/12 12:10",
        "Aug 12, 2026 12:10 PM",
        "12 August 2026 at 12:10",
        "12 de agosto de 2026 a las 12:10",
        "12th Aug 2026, 12.10 pm",
        "2026-08-12 1210 hrs",
        "2026-08-12T12:10:00-05:00",
    ],
)
def test_a_time_of_one_meaning_is_read_in_silence(spoil: Spoil, written: str) -> None:
    examined = spoil(NOON | {"placement.start": written})
    assert examined.findings == ()
    assert examined.record.placement.start.replace(tzinfo=None) == datetime(2026, 8, 12, 12, 10)


@pytest.mark.parametrize(
    ("place", "written"),
    [
        (LONDON, "3/4/2026 12:10"),
        (LONDON, "3/4/26 12:10"),
        ({"site.latitude": 43.65, "site.longitude": -79.38}, "3/4/2026 12:10"),  # Toronto: both are in use
        (TEXAS, "2026-08-12 1:10"),
        (TEXAS, "8/12/2026 1:10"),
        (TEXAS, "3.4.2026 12:10"),
    ],
)
def test_a_time_of_several_meanings_is_asked_about(spoil: Spoil, place: dict[str, Any], written: str) -> None:
    changes = NOON | place | {"placement.start": written}
    examined = spoil(changes)
    assert examined.record is None
    finding = about(examined, "placement.start")
    assert "may mean" in finding.problem
    lines = finding.example.split("   or   ")
    assert len(lines) >= 2
    starts = {
        pasted(spoil, changes | {"placement.end": None}, "placement.start", each).findings[0].field
        for each in lines
    }
    assert starts == {"placement.end"}  # the line itself is read


def test_a_day_after_the_twelfth_has_one_meaning_everywhere(spoil: Spoil) -> None:
    for place in (TEXAS, LONDON):
        for written in ("13/8/2026 12:10 PM", "8/13/2026 12:10 PM"):
            changes = {"placement.start": written, "placement.end": "2026-08-13 13:20"}
            examined = spoil(NOON | place | changes)
            assert examined.findings == ()
            assert examined.record.placement.start.date() == date(2026, 8, 13)


def test_a_year_of_two_digits_is_last_where_people_write_it_last(spoil: Spoil) -> None:
    auckland = {"site.latitude": -36.85, "site.longitude": 174.76}
    day = {"placement.start": "14/02/26 7:15am", "placement.end": "8:45 am"}
    examined = spoil(
        auckland | day | {"slab.length": "10 m", "slab.width": "3 m", "slab.thickness": "100 mm"}
    )
    assert examined.findings == ()
    assert examined.record.placement.start.date() == date(2026, 2, 14)
    tokyo = {"site.latitude": 35.68, "site.longitude": 139.69}
    assert "may mean" in about(spoil(tokyo | day), "placement.start").problem


def test_a_time_of_day_is_on_the_day_of_the_pour(spoil: Spoil) -> None:
    times = {"placement.end": "1:20 PM", "placement.finished": "16:00", "ticket": [{"batched": "11:25 AM"}]}
    examined = spoil(NOON | times)
    assert examined.findings == ()
    placement = examined.record.placement
    read = [placement.end, placement.finished, examined.record.ticket[0].batched]
    assert [each.replace(tzinfo=None) for each in read] == [
        datetime(2026, 8, 12, 13, 20),
        datetime(2026, 8, 12, 16),
        datetime(2026, 8, 12, 11, 25),
    ]


def test_a_pour_past_midnight_ends_the_next_day(spoil: Spoil) -> None:
    late = {"placement.start": "2026-08-12 21:30", "placement.end": "12:40 AM"}
    assert spoil(NOON | late).record.placement.end.date() == date(2026, 8, 13)


@pytest.mark.parametrize("written", ["04:00", "4:00"])
def test_four_after_a_start_at_noon_is_asked_about(spoil: Spoil, written: str) -> None:
    finding = about(spoil(NOON | {"placement.finished": written}), "placement.finished")
    assert finding.severity == "fault"
    first = finding.example.split("   or   ")[0]
    assert first == 'finished = "2026-08-12 16:00"'
    assert pasted(spoil, NOON, "placement.finished", first).findings == ()


@pytest.mark.parametrize(
    ("changes", "field", "severity", "line"),
    [
        ({"placement.finished": "2026-08-12 04:00"}, "placement.finished", "fault", "2026-08-12 16:00"),
        ({"placement.finished": "2026-08-13 04:00"}, "placement.finished", "caution", "2026-08-12 16:00"),
        ({"placement.end": "2026-08-12 01:20"}, "placement.end", "fault", "2026-08-12 13:20"),
        ({"placement.end": "2026-08-13 01:20"}, "placement.end", "caution", "2026-08-12 13:20"),
        (
            {"placement.start": "2026-08-12 00:10", "placement.end": "2026-08-12 01:20"},
            "placement.start",
            "caution",
            "2026-08-12 12:10",
        ),
    ],
)
def test_morning_and_afternoon_mixed_up_is_a_question(
    spoil: Spoil, changes: dict[str, Any], field: str, severity: str, line: str
) -> None:
    finding = about(spoil(NOON | changes), field)
    assert finding.severity == severity
    assert "is it " in finding.problem
    assert finding.example == f'{field.rpartition(".")[2]} = "{line}"'


def test_a_pour_in_the_cool_of_the_night_is_no_question(spoil: Spoil) -> None:
    early = {"placement.start": "2026-07-07 02:00", "placement.end": "2026-07-07 04:30"}
    assert spoil(TEXAS | early | {"placement.finished": "2026-07-07 08:30"}).findings == ()


@FAST
@given(
    moment=st.datetimes(datetime(2020, 1, 1), datetime(2099, 12, 31)),
    country=st.sampled_from(["US", "GB", "AU", "DE", "MX", "CA", "PH", None]),
    order=st.sampled_from(["{0.month}/{0.day}/{0.year}", "{0.day}/{0.month}/{0.year}", "{0:%Y-%m-%d}"]),
    clock=st.sampled_from(["%H:%M", "%I:%M %p", "%I:%M%p"]),
)
def test_what_is_read_in_silence_is_what_was_written(
    moment: datetime, country: str | None, order: str, clock: str
) -> None:
    """Whoever writes and wherever: a time that is read without a word is the one meant."""
    moment = moment.replace(second=0, microsecond=0)
    written = f"{order.format(moment)} {moment:{clock}}"
    tables, found = spell_times({"placement": {"start": written}}, lambda: country)
    value = tables["placement"].get("start")
    if isinstance(value, str):
        value = datetime.fromisoformat(value)
    assert found or value == moment
    if order.startswith("{0:"):
        assert (found, value) == ([], moment)
    ambiguous = moment.day <= 12 and moment.day != moment.month and not order.startswith("{0:")
    assert bool(found) == ambiguous
    if found and found[0][1].severity == "fault":
        lines = found[0][1].example.split("   or   ")
        assert moment in {datetime.fromisoformat(tomllib.loads(each)["start"]) for each in lines}
    elif found:
        assert country in ("US", "PH")


@FAST
@given(text=st.text(max_size=40) | st.from_regex(r"[0-9/:. apmAPM-]{3,20}", fullmatch=True))
def test_any_text_is_a_time_or_none(text: str) -> None:
    readings = read_time_text(text)
    assert readings is None or readings.days or readings.clocks


def test_countries_write_dates_as_people_there_do() -> None:
    assert date_order("US") == "mdy"
    assert {date_order(each) for each in ("GB", "AU", "NZ", "DE", "ES", "MX")} == {"dmy"}
    assert date_order("CA") == "ymd"
    assert date_order("XX") is None


# ---- numbers


@pytest.mark.parametrize(
    ("field", "written", "plain"),
    [
        ("mix.specified_strength", "3,500 psi", "3500 psi"),
        ("mix.specified_strength", "3.500 psi", "3500 psi"),
        ("mix.specified_strength", "24,5 MPa", "24.5 MPa"),
        ("mix.specified_strength", "3 500 psi", "3500 psi"),
        ("slab.thickness", "4,5 in", "4.5 in"),
        ("slab.area", "1,200 sq ft", "1200 ft2"),
        ("slab.length", "12,5 m", "12.5 m"),
        ("slab.length", "0,500 m", "0.5 m"),  # no thousand begins with nought
    ],
)
def test_a_number_of_one_meaning_is_read(field: str, written: str, plain: str) -> None:
    reader = mark_of(declaration_of(field), QuantityField)
    parsed = reader.parse(written)
    assert parsed == pytest.approx(quantity(plain, reader.kind))


def test_a_comma_of_two_meanings_is_asked_about(spoil: Spoil) -> None:
    changes = {"slab.length": None, "slab.width": None, "slab.area": "40,000 ft2"}
    finding = about(spoil(changes), "slab.area")
    assert "comma" in finding.problem
    assert '"40000 ft2"' in finding.example
    assert '"40.000 ft2"' in finding.example


@FAST
@given(thousands=st.integers(1, 999), rest=st.integers(0, 999), fraction=st.integers(0, 99))
def test_every_spelling_of_a_number_has_its_value_among_its_readings(
    thousands: int, rest: int, fraction: int
) -> None:
    value = thousands * 1000 + rest
    for written in (f"{value:,}", f"{value:,}".replace(",", "."), f"{value:,}".replace(",", " "), f"{value}"):
        readings = [float(each) for each in plain_spellings(written)]
        assert value in readings
        assert len(readings) == (2 if "," in written or "." in written else 1)
    exact = f"{value:,}.{fraction:02d}"
    for written in (exact, exact.translate(str.maketrans(",.", ".,"))):
        assert [float(each) for each in plain_spellings(written)] == [float(exact.replace(",", ""))]


@pytest.mark.parametrize(
    ("written", "share"),
    [
        ("20%", 0.2),
        ("20 %", 0.2),
        ("20 percent", 0.2),
        ("20 por ciento", 0.2),
        ("0,2", 0.2),
        (".2", 0.2),
        (0.2, 0.2),
    ],
)
def test_a_share_may_be_in_percent(spoil: Spoil, written: Any, share: float) -> None:
    assert spoil({"mix.fly_ash": written}).record.mix.fly_ash == pytest.approx(share)


def test_a_bare_number_of_percent_shows_the_share(spoil: Spoil) -> None:
    assert about(spoil({"mix.fly_ash": 20}), "mix.fly_ash").example == "fly_ash = 0.2"


def test_percent_is_only_for_shares(spoil: Spoil) -> None:
    assert spoil({"mix.water_cementitious": "50%"}).record is None
    assert NumberField(0, 1, "", "0.5").parse("1,234") is not None


@pytest.mark.parametrize(
    ("field", "written", "line"),
    [
        ("placement.concrete_temperature", "29 degF", 'concrete_temperature = "29 degC"'),
        ("placement.concrete_temperature", "84 C", 'concrete_temperature = "84 degF"'),
    ],
)
def test_the_other_scale_is_a_question(spoil: Spoil, field: str, written: str, line: str) -> None:
    finding = about(spoil({field: written}), field)
    assert finding.example == line
    assert "or is it" in finding.problem


# ---- places


@pytest.mark.parametrize(
    "written",
    [
        "30.27, -97.74",
        "30.27,-97.74",
        "(30.27, -97.74)",
        "30.27 N 97.74 W",
        "97.74°W, 30.27°N",
        "-97.74, 30.27",
        "30°16'12\"N 97°44'24\"W",
    ],
)
@pytest.mark.parametrize("field", ["latitude", "longitude"])
def test_a_place_pasted_into_one_field(spoil: Spoil, written: str, field: str) -> None:
    place: dict[str, Any] = {"site.latitude": None, "site.longitude": None, f"site.{field}": written}
    examined = spoil(place)
    assert examined.findings == ()
    site = examined.record.site
    assert (site.latitude, site.longitude) == (pytest.approx(30.27), pytest.approx(-97.74))
    assert site.timezone == "America/Chicago"


def test_two_places_are_asked_about(spoil: Spoil) -> None:
    examined = spoil({"site.latitude": "30.27, -97.74", "site.longitude": -79.95})
    assert about(examined, "site.latitude").example == "latitude = 30.27   and   longitude = -97.74"


def test_a_decimal_comma_is_no_pair(spoil: Spoil) -> None:
    site = spoil({"site.latitude": "30,27", "site.longitude": "-97,74"}).record.site
    assert (site.latitude, site.longitude) == (30.27, -97.74)


@FAST
@given(latitude=st.floats(-89, 89), longitude=st.floats(-179, 179))
def test_a_pasted_pair_is_the_place(latitude: float, longitude: float) -> None:
    latitude, longitude = round(latitude, 6), round(longitude, 6)
    assert read_pair(f"{latitude:.6f}, {longitude:.6f}") == (latitude, longitude)


@pytest.mark.parametrize(
    ("changes", "line"),
    [
        ({"site.latitude": 33.87, "site.longitude": 151.21, "site.country": "AU"}, "latitude = -33.87"),
        (
            {"site.latitude": 33.87, "site.longitude": 151.21, "site.timezone": "Australia/Sydney"},
            "latitude = -33.87",
        ),
        ({"site.longitude": 79.95, "site.country": "US"}, "longitude = -79.95"),
        ({"site.longitude": 79.95, "site.timezone": "America/New_York"}, "longitude = -79.95"),
        (
            {"site.latitude": 33.45, "site.longitude": 70.67, "site.country": "CL"},
            "latitude = -33.45   and   longitude = -70.67",
        ),
    ],
)
def test_a_missing_minus_is_one_question(spoil: Spoil, changes: dict[str, Any], line: str) -> None:
    (finding,) = spoil(changes).findings
    assert as_toml(finding.example) == line
    assert "is its sign right?" in finding.problem
    at_sea = "site.timezone" not in changes and "is at sea" in finding.problem
    assert finding.severity == ("fault" if at_sea else "caution")


# ---- names


@pytest.mark.parametrize(
    ("field", "written", "option"),
    [
        ("curing.method", "garden hose", "hose by hand"),
        ("curing.method", "Manguera", "hose by hand"),
        ("curing.method", "cure and seal", "curing compound"),
        ("curing.method", "Cure & Seal", "curing compound"),
        ("curing.method", "damp hessian", "wet burlap"),
        ("curing.method", "manta t\u00e9rmica", "insulating blanket"),
        ("slab.use", "Garage", "garage floor"),
        ("slab.use", "footpath", "walk"),
        ("slab.on", "vapour barrier", "vapor retarder"),
        ("slab.joints", "saw-cut", "sawn"),
        ("slab.exposure", "outside", "outdoors"),
        ("slab.finish", "Broom finish", "broomed"),
        ("slab.finish", "exposed agg", "exposed aggregate"),
        ("slab.finish", "troweled", "trowelled"),
    ],
)
def test_other_usual_names(spoil: Spoil, field: str, written: str, option: str) -> None:
    examined = spoil({field: written})
    assert examined.findings == ()
    table, key = field.split(".")
    assert getattr(getattr(examined.record, table), key) == option


@pytest.mark.parametrize(
    ("written", "seals"),
    [
        ({"curing.method": "cure and seal"}, True),
        ({"curing.method": "Cure & Seal"}, True),
        ({"curing.method": "cure and seal", "curing.seals": False}, False),
        ({"curing.method": "cure compound"}, None),
        ({"curing.method": "curing compound", "curing.seals": True}, True),
    ],
)
def test_a_compound_that_seals_is_known_by_its_name(
    spoil: Spoil, written: dict[str, Any], *, seals: bool | None
) -> None:
    record = spoil(written).record
    assert record is not None
    assert record.curing.method == "curing compound"
    assert record.curing.seals is seals


@pytest.mark.parametrize(
    ("field", "written"),
    [("curing.method", "sealer"), ("slab.joints", "control joints"), ("slab.on", "concrete")],
)
def test_a_name_of_two_meanings_is_asked_about(spoil: Spoil, field: str, written: str) -> None:
    finding = about(spoil({field: written}), field)
    assert finding.example.startswith(f"{field.rpartition('.')[2]} = ")


@pytest.mark.parametrize(
    "field", ["slab.use", "slab.on", "slab.exposure", "slab.joints", "slab.finish", "curing.method"]
)
def test_every_other_name_means_an_option_and_only_one(field: str) -> None:
    annotation = declaration_of(field)
    options = next(each.options for each in annotation.metadata if hasattr(each, "options"))
    assert set(other_names(field).values()) <= set(options)
    assert all(name not in options or other_names(field)[name] == name for name in other_names(field))


@pytest.mark.parametrize("written", ["GP", "Type GP", "AS 3972 GP", "GP cement"])
def test_australian_general_purpose_cement(written: str) -> None:
    assert CementName().parse(written) == "I"


@pytest.mark.parametrize(
    ("written", "rule"),
    [
        ("CPC 30R", "I"),
        ("cpc-30 r", "I"),
        ("Cemento CPO 40R", "I"),
        ("NMX-C-414 CPO 40 R BRA", "I"),
        ("CPC 30", "II"),
        ("CPO 20", "II"),
        ("CPO 40", "II"),
        ("CPS 40R", "I"),
        ("CPO 30R RS", "II"),
        ("CPO 40R RS/BRA", "II"),
        ("CPZ 40R", None),
    ],
)
def test_mexican_cement_by_its_class(written: str, rule: str | None) -> None:
    """NMX-C-414: R is high early strength; without it no strength is required at 3 days."""
    taken = CementName().parse(written)
    assert (None if isinstance(taken, Finding) else taken) == rule


def test_mexican_cement_is_named_as_ordered_and_its_rule_is_an_assumption(spoil: Spoil) -> None:
    examined = spoil({"mix.cement": "CPC 30R"})
    assert examined.findings == ()
    assert examined.record.mix.cement_ordered == "CPC 30R"
    (why,) = (each.why for each in examined.record.assumed if each.field == "mix.cement")
    assert why.startswith("CPC 30R: class 30R of NMX-C-414")


@pytest.mark.parametrize(
    ("written", "line"),
    [
        ("CPC", 'cement = "CPC 30R"'),
        ("CPP 30R", 'cement = "I", and below it fly_ash = 0.25'),
        ("CPEG 30", 'cement = "II", and below it slag = 0.35'),
        ("CEG 30", 'cement = "II", and below it slag = 0.70'),
    ],
)
def test_mexican_cement_that_says_too_little_shows_the_line(spoil: Spoil, written: str, line: str) -> None:
    assert about(spoil({"mix.cement": written}), "mix.cement").example == line


def test_australian_blended_cement_is_asked_about(spoil: Spoil) -> None:
    finding = about(spoil({"mix.cement": "GB"}), "mix.cement")
    assert "how much slag or ash" in finding.problem
    assert finding.example == 'cement = "GP", and below it fly_ash = 0.25'


def test_a_sum_of_trucks_that_does_not_match_is_a_question(spoil: Spoil) -> None:
    for volumes, question in ((["5 yd3"], "ticket missing"), (["9 yd3", "9 yd3"], "another job")):
        finding = about(spoil({"ticket": [{"volume": each} for each in volumes]}), "ticket")
        assert finding.severity == "caution"
        assert question in finding.problem


def test_json_and_toml_are_read_alike(examine: Callable[..., Any], good: str) -> None:
    times = 'start = "8/12/2026 12:10 PM"\nend = 13:20:00\n'
    text = good.replace("start = 2026-07-14T06:10:00\nend = 2026-07-14T07:25:00\n", times)
    tables = tomllib.loads(text)
    tables["placement"]["end"] = "13:20"
    assert examine(text).record == examine(json.dumps(tables)).record
    assert examine(text).record.placement.end.time() == time(13, 20)


# ---- usual texts that say less than they should: the line in full is shown


@pytest.mark.parametrize(
    ("field", "written", "line"),
    [
        ("mix.specified_strength", "C28/35", 'specified_strength = "28 MPa"'),  # EN 206: cylinders first
        ("mix.specified_strength", "N25", 'specified_strength = "25 MPa"'),  # AS 1379
        ("mix.specified_strength", 4000, 'specified_strength = "4000 psi"'),
        ("mix.specified_strength", "3500#", 'specified_strength = "3500 psi"'),
        ("placement.concrete_temperature", "93°", 'concrete_temperature = "93 degF"'),
        ("placement.concrete_temperature", "93 deg", 'concrete_temperature = "93 degF"'),
        ("mix.cementitious", "540 lbs", 'cementitious = "540 lb/yd3"'),
        ("mix.cementitious", "6 sack", 'cementitious = "564 lb/yd3"'),  # sacks of 94 lb
        ("mix.water_cementitious", "50%", "water_cementitious = 0.5"),
        ("mix.admixtures", "retarder, fibres", 'admixtures = ["retarder", "fibres"]'),
        ("slab.thickness", 100, 'thickness = "100 mm"'),
        ("id", "Smith driveway 8/12", 'id = "smith-driveway-8-12"'),
        ("site.timezone", "Central", 'timezone = "America/New_York"'),  # the place is known
    ],
)
def test_the_line_in_full_is_shown_and_is_read(spoil: Spoil, field: str, written: Any, line: str) -> None:
    finding = about(spoil({field: written}), field)
    assert finding.severity == "fault"
    assert finding.example == line
    ((_, value),) = tomllib.loads(line).items()
    assert spoil({field: value}).record is not None


@pytest.mark.parametrize(
    ("field", "written", "value"),
    [
        ("curing.timer", "no", False),
        ("curing.timer", "Yes", True),
        ("curing.timer", "s\u00ed", True),
        ("owner.language", "espa\u00f1ol", "es"),
        ("owner.language", "English", "en"),
        (
            "curing.available",
            ["7am-8am", "5 pm to 9 pm", "noon - 1 pm"],
            ("07:00-08:00", "17:00-21:00", "12:00-13:00"),
        ),
        ("curing.available", ["00:00-24:00"], ("00:00-24:00",)),
        ("curing.available", ["24 hours"], ("00:00-24:00",)),
        ("curing.available", ["todo el d\u00eda"], ("00:00-24:00",)),
        ("curing.available", ["6:30 to 8 am", "6 pm to midnight"], ("06:30-08:00", "18:00-24:00")),
        ("owner.phone", 3365550142, "3365550142"),
        ("contractor.license", 55501, "55501"),
        ("mix.air", "none", 0.0),
        ("mix.fly_ash", "ninguna", 0.0),
        ("owner.phone", "office (336) 555-0142 ext. 3", "office (336) 555-0142 ext. 3"),
        ("owner.phone", "+52 662 555 0142", "+52 662 555 0142"),
    ],
)
def test_words_of_one_meaning_are_read(spoil: Spoil, field: str, written: Any, value: Any) -> None:
    examined = spoil({field: written})
    assert examined.findings == ()
    table, key = field.split(".")
    assert getattr(getattr(examined.record, table), key) == value


def test_the_number_of_a_ticket_needs_no_quotes(spoil: Spoil) -> None:
    examined = spoil({"ticket": [{"number": 40117}]})
    assert examined.record.ticket[0].number == "40117"


def test_a_slump_without_a_unit_is_asked_for_as_a_slump(spoil: Spoil) -> None:
    """Nobody orders a slump of 5 mm, common practice, no source; 100 can only be millimetres."""
    finding = about(spoil({"ticket": [{"slump": "5"}]}), "ticket[1].slump")
    assert (finding.expected, finding.example) == ("a slump with its unit", 'slump = "5 in"')
    finding = about(spoil({"ticket": [{"slump": 100}]}), "ticket[1].slump")
    assert finding.example == 'slump = "100 mm"'
    finding = about(spoil({"ticket": [{"slump": "5 psi"}]}), "ticket[1].slump")
    assert finding.problem == '"5 psi" is not in a unit of a slump'


def test_hours_of_several_meanings_or_past_midnight_are_asked_about(spoil: Spoil) -> None:
    field = "curing.available[1]"
    assert about(spoil({"curing.available": ["6-8 pm"]}), field).example == '"06:00-20:00" or "18:00-20:00"'
    assert about(spoil({"curing.available": ["18:30-7am"]}), field).example == '"18:30-24:00", "00:00-07:00"'


def test_measures_in_spanish_and_french_words(spoil: Spoil) -> None:
    record = spoil({"slab.length": "34 pies", "slab.width": "8 metros", "slab.thickness": "4 po"}).record
    assert (record.slab.length, record.slab.width) == (pytest.approx(34 * 0.3048), 8)
    assert record.slab.thickness == pytest.approx(0.1016)


def test_an_example_for_json_is_json(examine: Callable[..., Any], good: str) -> None:
    tables = tomllib.loads(good)
    tables["slab"]["thickness"] = 4
    (finding,) = examine(json.dumps(tables, default=datetime.isoformat)).findings
    assert json.loads("{" + finding.example + "}") == {"thickness": "4 in"}


def test_blankets_beside_another_method_are_those_against_frost(spoil: Spoil) -> None:
    changes = {"curing.method": "hose by hand", "curing.blanket_r_value": "R-4"}
    finding = about(spoil(changes), "curing.blanket_r_value")
    assert finding.severity == "caution"
    assert "against frost" in finding.problem
    assert spoil(changes | {"curing.method": "insulating blanket"}).findings == ()


@pytest.mark.parametrize(
    "written", ["2026-08-12 0710", "20260812 0710", "8/12/2026 0710", "2026-08-12, 07:10"]
)
def test_a_clock_of_four_figures_after_a_date(written: str) -> None:
    """As soldiers, hospitals and some ready-mix plants write it."""
    readings = read_time_text(written)
    assert readings is not None
    assert datetime(2026, 8, 12, 7, 10) in readings.moments
    assert {each.hour for each in readings.moments} == {7}


def test_a_year_in_words_is_no_clock() -> None:
    readings = read_time_text("12 Aug 2026")
    assert readings is not None
    assert (readings.clocks, [*readings.days.values()]) == ((), [date(2026, 8, 12)])


@pytest.mark.parametrize(
    ("written", "lines"),
    [
        ("12x24 ft", 'length = "24 ft"   and   width = "12 ft"'),
        ("12' x 24'", 'length = "24 ft"   and   width = "12 ft"'),
        ("3.5 m x 7 m", 'length = "7 m"   and   width = "3.5 m"'),
        (
            "12 by 24",
            'length = "24 ft"   and   width = "12 ft"   or   length = "24 m"   and   width = "12 m"',
        ),
    ],
)
@pytest.mark.parametrize("field", ["slab.length", "slab.area"])
def test_two_sides_in_one_field_are_shown_as_two_lines(
    spoil: Spoil, field: str, written: str, lines: str
) -> None:
    assert about(spoil({field: written}), field).example == lines


@pytest.mark.parametrize(
    ("latitude", "longitude"),
    [
        ("30 16 12 N", "97 44 24 W"),
        ("N 30\u00b0 16.2'", "W 97\u00b0 44.4'"),
        ("N30.27", "W97.74"),
        ("30\u00b0 16' 12\" N", "97\u00b0 44' 24\" W"),
    ],
)
def test_degrees_minutes_and_seconds_are_read(spoil: Spoil, latitude: str, longitude: str) -> None:
    """30 + 16/60 + 12/3600 = 30.27; 97 + 44/60 + 24/3600 = 97.74."""
    site = spoil({"site.latitude": latitude, "site.longitude": longitude}).record.site
    assert (site.latitude, site.longitude) == (pytest.approx(30.27), pytest.approx(-97.74))


@pytest.mark.parametrize("written", ["30 16 12 N, 97 44 24 W", "N 30\u00b0 16.2', W 97\u00b0 44.4'"])
def test_degrees_minutes_and_seconds_of_a_pair_are_read(written: str) -> None:
    assert read_pair(written) == (pytest.approx(30.27), pytest.approx(-97.74))


def test_a_letter_of_the_other_axis_is_no_latitude(spoil: Spoil) -> None:
    assert spoil({"site.latitude": "30 16 12 W"}).record is None


def test_lines_may_end_as_on_an_old_macintosh(examine: Callable[..., Any], good: str) -> None:
    assert examine(good.replace("\n", "\r")).record == examine(good).record


# ---- a time without its year or date


@pytest.mark.parametrize(
    ("written", "line"),
    [
        ("8/12 7am", 'start = "2026-08-12 07:00"'),
        ("7 am 8/12", 'start = "2026-08-12 07:00"'),
        ("Wednesday 7am", 'start = "2026-08-12 07:00"'),
        ("miércoles 7:00 am", 'start = "2026-08-12 07:00"'),
        ("Wed 8/12 7 am", 'start = "2026-08-12 07:00"'),
        ("Aug 12 7am", 'start = "2026-08-12 07:00"'),
        ("Thursday 7am", 'start = "2026-08-13 07:00"'),
    ],
)
def test_a_time_without_year_or_date_is_asked_about_by_the_other_times(
    spoil: Spoil, written: str, line: str
) -> None:
    """12 August 2026 is a Wednesday."""
    examined = spoil(NOON | {"placement.start": written})
    finding = about(examined, "placement.start")
    assert finding.severity == "fault"
    assert "Is it" in finding.problem
    assert finding.example == line
    assert examined.record is None


def test_a_date_in_figures_without_its_year_may_be_two(spoil: Spoil) -> None:
    finding = about(spoil(NOON | {"placement.start": "8/9 7am"}), "placement.start")
    assert finding.example == 'start = "2026-08-09 07:00"   or   start = "2026-09-08 07:00"'


def test_the_id_of_a_record_may_have_the_date(spoil: Spoil) -> None:
    changes = {"id": "2026-08-12-drive", "placement.start": "8/12 7am", "placement.end": "9 am"}
    finding = about(spoil(TEXAS | changes | {"placement.finished": None}), "placement.start")
    assert finding.example == 'start = "2026-08-12 07:00"'


@pytest.mark.parametrize("written", ["next week", "Wednesday", "7am-ish", "soon 8/12"])
def test_what_is_no_time_at_all_is_left_to_the_reader_of_the_field(spoil: Spoil, written: str) -> None:
    assert "Is it" not in about(spoil(NOON | {"placement.start": written}), "placement.start").problem


# ---- a telephone number in letters


@pytest.mark.parametrize(
    ("written", "digits"), [("1-800-CONCRETE", "1-800-26627383"), ("1-800-POUR-NOW", "1-800-7687-669")]
)
def test_letters_of_a_telephone_are_asked_about_with_their_digits(
    spoil: Spoil, written: str, digits: str
) -> None:
    """The keys of ITU-T E.161: ABC 2, DEF 3, GHI 4, JKL 5, MNO 6, PQRS 7, TUV 8, WXYZ 9."""
    finding = about(spoil({"contractor.phone": written}), "contractor.phone")
    assert finding.example == f'phone = "{digits}"'
    assert pasted(spoil, {}, "contractor.phone", finding.example).record is not None


def test_words_are_no_telephone_number(spoil: Spoil) -> None:
    finding = about(spoil({"contractor.phone": "ask at the office"}), "contractor.phone")
    assert finding.example == 'phone = "336-555-0142"'


@pytest.mark.parametrize(
    ("written", "rule"),
    [
        ("OPC 43", "I"),
        ("53 grade OPC", "I"),
        ("IS 269 OPC-43", "I"),
        ("CEM II/A-LL 42.5 N", "42.5 N"),
        ("EN 197-1 CEM II/A-LL 42,5N", "42.5 N"),
        ("CEM I 42,5 R-SR3", "42.5 R"),
        ("CEM II/B-M (S-LL) 42,5 N", "42.5 N"),
        ("CSA A3001 GUL", "I"),
        ("HE", "III"),
        ("Type MS", "II"),
        ("SL", "II"),
        ("IL(10)", "I"),
        ("II(MH)", "II"),
        ("Portland cement", "I"),
    ],
)
def test_cements_of_other_standards(written: str, rule: str) -> None:
    """One meaning each: the standards name them so."""
    assert CementName().parse(written) == rule


@pytest.mark.parametrize(
    ("written", "line"),
    [
        ("PPC", 'cement = "OPC 43", and below it fly_ash = 0.30'),
        ("IS 1489 PPC", 'cement = "OPC 43", and below it fly_ash = 0.30'),
        ("PSC", 'cement = "OPC 43", and below it slag = 0.50'),
        ("GUb-8SF", 'cement = "GU", and below it fly_ash = 0.25'),
        ("CEM III/A 42,5 N-LH", 'cement = "I", and below it slag = 0.50'),
        ("Type IS(40)", 'cement = "I", and below it slag = 0.40'),
        ("IT(S25)(P10)", 'cement = "I", and below it slag = 0.25 and fly_ash = 0.10'),
        ("CEM I 52.5", 'cement = "52.5 N" or "52.5 R"'),
        ("CEM II/A-LL", 'cement = "42.5 N" or "42.5 R"'),
    ],
)
def test_cement_whose_name_leaves_something_open_shows_the_line(
    spoil: Spoil, written: str, line: str
) -> None:
    assert about(spoil({"mix.cement": written}), "mix.cement").example == line


@pytest.mark.parametrize("grade", [(16.0, 22.0, 33.0), (23.0, 33.0, 43.0), (27.0, 37.0, 53.0)])
def test_no_indian_grade_may_be_slower_than_the_rule_it_takes(grade: tuple[float, ...]) -> None:
    """IS 269, IS 8112, IS 12269, as quoted: what a grade must reach at 3, 7 and 28 days.

    They are tested at 27 degC, which is ahead of our 23 by a few per cent early on: 5 % of tolerance.
    """
    rule = practice().cements[CementName().parse("OPC 33")]
    for age, strength in zip((3.0, 7.0), grade[:2], strict=True):
        assert slowest_share(rule, age) <= 1.05 * strength / grade[2]


def slowest_share(rule: CementRule, age_d: float) -> float:
    """Return the share of the 28-day strength at an age, by the slowest curve of a cement."""
    shares = []
    for curve in rule.curves:
        given = curve.constants
        if curve.form == "ACI 209":
            shares.append(float(aci209_ratio(age_d, given["a"], given["b"])))
        else:
            shares.append(float(en1992_ratio(age_d, given["s"])))
    return min(shares)


def test_every_name_of_a_cement_takes_the_rule_of_a_cement() -> None:
    assert {each.rule for each in cement_names().values()} <= set(practice().cements)
    assert not set(cement_names()) & set(blend_names())


def test_the_line_to_write_for_a_blend_is_read() -> None:
    for blend in blend_names().values():
        base, shares = blend.line.split(", and below it ")
        table = tomllib.loads("\n".join([f"cement = {base}", *shares.split(" and ")]))
        assert isinstance(CementName().parse(table.pop("cement")), str)
        assert set(table) <= {"slag", "fly_ash"}
