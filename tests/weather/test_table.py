"""Tables with a heading that names quantity and unit."""

# ruff: noqa: DTZ001 - times on the clock of a place; a wanted outcome

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pytest

from handover.weather import Location, Origin, WeatherSeries
from handover.weather.table import read_table

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from handover.weather.reading import ExaminedWeather


def test_a_plain_table(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    series = sound(files.table())
    assert series.first_hour == files.start
    np.testing.assert_allclose(series.air_c, [20, 21, 22, 23, 24, 25])
    np.testing.assert_allclose(series.wind_ms, 5)
    np.testing.assert_allclose(series.relative_humidity, 0.6)
    np.testing.assert_allclose(series.shortwave_wm2, [100, 101, 102, 103, 104, 105])
    np.testing.assert_allclose(series.precipitation_mm, 0.5)
    assert np.isnan(series.precipitation_probability).all()


@pytest.mark.parametrize(
    ("heading", "expected", "attribute", "si"),
    [
        ("air temperature [degF]", 77, "air_c", 25),
        ("Air_Temperature_F", 77, "air_c", 25),
        ("temperature_2m (°C)", 25, "air_c", 25),
        ("temp_deg_f", 77, "air_c", 25),
        ("dry bulb [Fahrenheit]", 77, "air_c", 25),
        ("Temperature (K)", 298.15, "air_c", 25),
    ],
)
def test_spellings_of_temperature(
    files: Any, sound: Callable[..., WeatherSeries], heading: str, expected: float, attribute: str, si: float
) -> None:
    text = files.table(
        f"time_utc,{heading},rh_percent,wind_ms,cloud_percent", "{time}," + f"{expected},50,3,50"
    )
    np.testing.assert_allclose(getattr(sound(text), attribute), si)


@pytest.mark.parametrize(
    ("heading", "expected", "metres_a_second"),
    [
        ("wind speed (km/h)", 36, 10),
        ("wind_speed_m/s", 10, 10),
        ("wind_speed_m_s", 10, 10),
        ("Wind_mph", 10, 4.4704),
        ("wind [knots]", 36, 18.52),
        ("wind_speed_10m_kmh", 36, 10),
        ("wind speed at 10m [km/h]", 36, 10),
        # log(10 / 0.03) / log(2 / 0.03) = 1.3832, by the logarithmic profile.
        ("wind_speed_2m_ms", 3, 4.1497),
    ],
)
def test_spellings_of_wind(
    files: Any, sound: Callable[..., WeatherSeries], heading: str, expected: float, metres_a_second: float
) -> None:
    text = files.table(
        f"time_utc,temp_c,rh_percent,{heading},cloud_percent", "{time}," + f"20,50,{expected},50"
    )
    np.testing.assert_allclose(sound(text).wind_ms, metres_a_second, rtol=2e-5)


@pytest.mark.parametrize(
    ("heading", "expected", "share"),
    [("cloud_tenths", 4, 0.4), ("cloud cover [oktas]", 4, 0.5), ("clouds_fraction", 0.3, 0.3)],
)
def test_spellings_of_cloud(
    files: Any, sound: Callable[..., WeatherSeries], heading: str, expected: float, share: float
) -> None:
    text = files.table(f"time_utc,temp_c,rh_percent,wind_ms,{heading}", "{time}," + f"20,50,3,{expected}")
    np.testing.assert_allclose(sound(text).cloud, share)


def test_the_height_of_the_wind_is_said(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    methods = " ".join(sound(files.table()).methods)
    assert "Wind is taken as measured at 10 m" in methods


def test_times_with_offsets(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    text = files.table(
        "time,air_temperature_c,relative_humidity_percent,wind_speed_kmh,cloud_cover_percent",
        "{time},20,60,18,40",
        form="%Y-%m-%dT%H:%M:%S-04:00",
    )
    assert sound(text).first_hour == datetime(2026, 7, 14, 4, tzinfo=UTC)


LOCAL = "time,air_temperature_c,relative_humidity_percent,wind_speed_kmh,cloud_cover_percent,rain_mm"


def local_table(form: str, first: datetime, hours: int = 30) -> str:
    """Return a table on the clock of a place, one row for each hour of that clock."""
    rows = [
        f"{(first + timedelta(hours=hour)).strftime(form)},{20 + hour % 10},60,18,40,0"
        for hour in range(hours)
    ]
    return "\n".join([LOCAL, *rows])


@pytest.mark.parametrize(
    "form",
    [
        "%Y-%m-%d %H:%M",
        "%Y-%m-%dT%H:%M:%S",
        "%m/%d/%Y %H:%M",
        "%m/%d/%Y %I:%M %p",
        "%d/%m/%Y %H:%M",
        "%d.%m.%y %H:%M",
    ],
)
def test_local_times_are_on_the_clock_of_the_site(examine: Callable[..., ExaminedWeather], form: str) -> None:
    """Greensboro keeps UTC-4 in July; the 14th and 15th are days of one meaning in any order."""
    series, findings = examine(local_table(form, datetime(2026, 7, 14, 1)))
    assert series.first_hour == datetime(2026, 7, 14, 5, tzinfo=UTC)
    (said,) = [each for each in findings if "without an offset" in each.problem]
    assert said.severity == "caution"
    assert "America/New_York" in said.problem
    assert any("America/New_York" in each for each in series.methods)


@pytest.mark.parametrize("form", ["%m/%d/%Y %H:%M", "%d/%m/%Y %H:%M"])
def test_the_order_of_a_date_follows_from_the_hours(
    examine: Callable[..., ExaminedWeather], form: str
) -> None:
    """From 3 to 4 August: in the other order the hours would jump by a month."""
    series, _ = examine(local_table(form, datetime(2026, 8, 3, 1)))
    assert series.first_hour == datetime(2026, 8, 3, 5, tzinfo=UTC)


def test_one_day_of_two_readings_is_asked_about(faults: Callable[..., list[str]]) -> None:
    (fault,) = faults(local_table("%m/%d/%Y %H:%M", datetime(2026, 8, 3, 1), hours=20))
    assert "may be day first or month first" in fault


def test_hours_of_one_digit_need_a_clock_of_24_hours(
    examine: Callable[..., ExaminedWeather], faults: Callable[..., list[str]]
) -> None:
    text = local_table("%Y-%m-%d %H:%M", datetime(2026, 8, 13, 1)).replace(" 0", " ")
    assert examine(text)[0].first_hour == datetime(2026, 8, 13, 5, tzinfo=UTC)
    (fault,) = faults("\n".join(text.splitlines()[:8]))
    assert "may be before noon or after noon" in fault


@pytest.mark.parametrize(
    ("first", "words"),
    [(datetime(2026, 11, 1, 0), "occurs twice"), (datetime(2026, 3, 8, 0), "does not exist")],
)
def test_a_day_of_clock_change_is_a_finding(
    faults: Callable[..., list[str]], first: datetime, words: str
) -> None:
    """The clocks of New York changed on those days."""
    fault, *_ = faults(local_table("%Y-%m-%d %H:%M", first))  # the others are about the hour left out
    assert words in fault
    assert "weather:3" in fault or "weather:4" in fault
    assert "-05:00" in fault or "-04:00" in fault


def test_without_a_zone_local_times_are_refused(files: Any) -> None:
    """As where a table is read without a site."""
    raw, findings = read_table(files.table().replace("time_utc", "time"), "weather")
    assert raw is None
    assert "6 times without an offset from UTC" in findings[0].problem


@pytest.mark.parametrize(
    ("place", "month", "unit", "value", "wrong"),
    [
        (Location(30.27, -97.74, "America/Chicago"), 8, "f", 30, True),  # 30 degC in an August of Texas
        (Location(30.27, -97.74, "America/Chicago"), 8, "f", 86, False),
        (Location(44.98, -93.27, "America/Chicago"), 1, "c", 18, True),  # 18 degF in a January of Minnesota
        (Location(44.98, -93.27, "America/Chicago"), 1, "c", -8, False),
        (Location(-33.87, 151.21, "Australia/Sydney"), 1, "f", 24, True),
        (Location(-33.87, 151.21, "Australia/Sydney"), 1, "c", 24, False),
        (Location(-33.87, 151.21, "Australia/Sydney"), 7, "c", 12, False),
    ],
)
def test_celsius_under_a_heading_of_fahrenheit_is_asked_about(
    files: Any,
    examine: Callable[..., ExaminedWeather],
    place: Location,
    month: int,
    unit: str,
    value: int,
    wrong: bool,
) -> None:
    """Means of these months are known to anybody who has been there; see also the map in `climate`."""
    text = files.table(
        f"time_utc,temp_{unit},rh_percent,wind_ms,cloud_percent", "{time}," + f"{value},50,3,40"
    )
    _, findings = examine(text.replace("2026-07-", f"2026-{month:02d}-"), place=place)
    doubts = [each for each in findings if "are the figures in" in each.problem]
    assert bool(doubts) is wrong
    if wrong:
        assert (doubts[0].field, doubts[0].line) == (f"temp_{unit}", 1)
        assert doubts[0].example == f"air_temperature_{'c' if unit == 'f' else 'f'}"


@pytest.mark.parametrize(
    ("place", "month", "value", "question"),
    [
        # Winnipeg in January, near -16 degC (climate normals); its figures without their minus signs
        (Location(49.9, -97.14, "America/Winnipeg"), 1, 16, "are minus signs missing"),
        # Johannesburg's July, near 10 degC, at the latitude of Egypt, where it is 30
        (Location(26.2, 28.05, "Africa/Cairo"), 7, 10, "is the sign of the latitude in the record right"),
    ],
)
def test_a_missing_minus_is_asked_about(
    files: Any,
    examine: Callable[..., ExaminedWeather],
    place: Location,
    month: int,
    value: int,
    question: str,
) -> None:
    text = files.table("time_utc,temp_c,rh_percent,wind_ms,cloud_percent", "{time}," + f"{value},50,3,40")
    _, findings = examine(text.replace("2026-07-", f"2026-{month:02d}-"), place=place)
    [doubt] = [each for each in findings if "is usual at the site" in each.problem]
    assert question in doubt.problem
    assert doubt.severity == "caution"


@pytest.mark.parametrize(
    "name", ["time (UTC)", "Timestamp_UTC", "datetime utc", "date_time [GMT]", "TIME UTC"]
)
def test_headings_that_say_utc(files: Any, sound: Callable[..., WeatherSeries], name: str) -> None:
    assert sound(files.table().replace("time_utc", name)).first_hour == files.start


@pytest.mark.parametrize("delimiter", [";", "\t"])
def test_other_delimiters(files: Any, sound: Callable[..., WeatherSeries], delimiter: str) -> None:
    np.testing.assert_allclose(sound(files.table().replace(",", delimiter)).wind_ms, 5)


def test_decimal_commas_between_semicolons(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    text = files.table().replace(",", ";").replace("0.5", "0,5")
    np.testing.assert_allclose(sound(text).precipitation_mm, 0.5)


def test_spreadsheet_bytes(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    text = files.table().replace("air_temperature_c", "air temperature [°C]").replace("\n", "\r\n")
    for encoding in ("utf-8-sig", "cp1252", "utf-16"):
        np.testing.assert_allclose(sound(text.encode(encoding)).air_c[0], 20)


def test_dew_point_instead_of_humidity(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    text = files.table("time_utc,temp_c,dew_point_c,wind_ms,cloud_percent", "{time},25,15,3,40")
    np.testing.assert_allclose(sound(text).relative_humidity, 0.538, atol=0.003)  # as in test_nws


def test_what_the_file_says_of_itself(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    about = (
        "# source: Alder Lane mast\n# issued_at: 2026-07-14T02:30:00Z\n# latitude: 36.2\n# longitude: -79.9\n"
    )
    series = sound(about + files.table())
    assert series.source == "Alder Lane mast"
    assert (series.latitude, series.longitude) == (36.2, -79.9)
    assert series.origin.tolist() == [Origin.OBSERVED] * 3 + [Origin.FORECAST] * 3


def test_a_column_of_origins(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    text = files.table(
        "time_utc,temp_c,rh_percent,wind_ms,cloud_percent,origin", "{time},{air},50,3,40,observed"
    ).replace("25,50,3,40,observed", "25,50,3,40,Typical")
    assert sound(text).origin.tolist() == [Origin.OBSERVED] * 5 + [Origin.TYPICAL]


def test_no_rain_column_is_a_caution(files: Any, examine: Callable[..., ExaminedWeather]) -> None:
    series, findings = examine(
        files.table("time_utc,temp_c,rh_percent,wind_ms,cloud_percent", "{time},20,50,3,40")
    )
    assert (series.precipitation_mm == 0).all()
    assert [finding.severity for finding in findings] == ["caution"]
    assert "takes every day as dry" in findings[0].problem


def test_other_columns_are_ignored_and_reported(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    text = files.table(
        "time_utc,temp_c,rh_percent,wind_ms,cloud_percent,surface_temperature_c,note",
        "{time},20,50,3,40,99,warm",
    )
    series = sound(text)
    np.testing.assert_allclose(series.air_c, 20)
    assert "Columns not used: surface_temperature_c, note." in series.methods


def test_a_column_of_an_unknown_name_is_a_caution(
    files: Any, examine: Callable[..., ExaminedWeather]
) -> None:
    """Seen: a column of the chance of rain by another name was left out, and nothing said so."""
    heading = "time_utc,time,temp_c,rh_percent,wind_ms,cloud_percent,precip_mm,rain_risk_percent,origin"
    text = files.table(heading, "{time},{time},20,50,3,40,0,90,forecast")
    series, (finding,) = examine(text)
    assert series is not None
    assert str(finding).startswith("weather:1: column is not read: 'rain_risk_percent'; expected precip")
    assert finding.expected == "precipitation probability under this name, with the unit"
    assert finding.severity == "caution"


def test_of_a_column_that_nothing_lacks_no_other_name_is_expected(
    files: Any, examine: Callable[..., ExaminedWeather]
) -> None:
    heading = "time_utc,temp_c,rh_percent,wind_ms,cloud_percent,precip_mm,pop_percent,wind gust (mph)"
    _, (finding,) = examine(files.table(heading, "{time},20,50,3,40,0,10,9"))
    assert str(finding) == "weather:1: column is not read: 'wind gust (mph)'"


def test_a_name_that_is_nearly_known_is_named_too(
    files: Any, examine: Callable[..., ExaminedWeather]
) -> None:
    """Of rain there is a column already, so that `rain_risk` is no fault; but it is not read."""
    series, (finding,) = examine(
        files.table(
            "time_utc,temp_c,rh_percent,wind_ms,cloud_percent,rain_mm,rain_risk", "{time},20,50,3,40,0,9"
        )
    )
    assert series is not None
    assert finding.problem == "column is not read: 'rain_risk'"


def test_many_unknown_columns_are_one_caution(files: Any, examine: Callable[..., ExaminedWeather]) -> None:
    others = [f"sensor_{number}" for number in range(40)]
    heading = ",".join(["time_utc,temp_c,rh_percent,wind_ms,cloud_percent,precip_mm", *others])
    series, (finding,) = examine(files.table(heading, "{time},20,50,3,40,0" + ",1" * 40))
    assert series is not None
    assert "'sensor_0', 'sensor_1'" in finding.problem
    assert finding.problem.endswith(" and 32 more")


def test_all_faults_at_once_with_their_lines(files: Any, faults: Callable[..., list[str]]) -> None:
    text = files.table(hours=6).splitlines()
    text[2] = text[2].replace("21", "warm")
    text[4] = text[4] + ",1,2"
    text[5] = "noon" + text[5][16:]
    text[0] = text[0].replace("wind_speed_kmh", "wind_speed")
    problems = faults("\n".join(text))
    assert any(fault.startswith("weather:1: wind_speed: names no unit") for fault in problems)
    assert any(fault.startswith("weather:3: air_temperature_c: 'warm' is not a number") for fault in problems)
    assert any(fault.startswith("weather:5: 9 cells under 7 headings") for fault in problems)
    assert any(fault.startswith("weather:6: time_utc: 'noon' is not a time") for fault in problems)


def test_two_columns_of_one_quantity(files: Any, faults: Callable[..., list[str]]) -> None:
    text = files.table("time_utc,temp_c,rh_percent,wind_ms,cloud_percent,air_temp_f", "{time},20,50,3,40,70")
    assert "two columns of air temperature" in faults(text)[0]


def test_not_ten_thousand_findings(files: Any, faults: Callable[..., list[str]]) -> None:
    assert len(faults(files.table(row="{time},x,y,z,u,v,w", hours=500))) < 40


@pytest.mark.parametrize("number", ["1e999", "inf", "0x10", "1_000", "--5", "1e5"])
def test_strange_numbers_are_refused(files: Any, faults: Callable[..., list[str]], number: Any) -> None:
    text = files.table().replace("2026-07-14T02:00,22", f"2026-07-14T02:00,{number}")
    assert any("weather:4" in fault for fault in faults(text))


def test_order_of_rows_and_columns_changes_nothing(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    text = files.table(hours=30)
    heading, *rows = text.splitlines()
    rows = [rows[at] for at in np.random.default_rng(3).permutation(len(rows))]
    swapped = "\n".join(",".join(reversed(line.split(","))) for line in [heading, *rows])
    one, other = sound(text), sound(swapped)
    assert (one.time == other.time).all()
    for name in ("air_c", "cloud", "shortwave_wm2", "precipitation_mm"):
        assert (getattr(one, name) == getattr(other, name)).all()


HALF_HOURS = """\
time_utc,temp_c,rh_percent,wind_ms,cloud_percent,shortwave_wm2,rain_mm,chance_of_rain_percent
2026-07-14T06:00,20,50,2,0,100,0.0,0
2026-07-14T06:30,21,50,2,0,200,0.2,10
2026-07-14T07:00,22,50,2,0,300,0.4,30
2026-07-14T07:30,23,50,2,0,400,0.0,20
2026-07-14T08:00,24,50,2,0,500,1.0,10
"""


def test_half_hours_become_hours(sound: Callable[..., WeatherSeries]) -> None:
    series = sound(HALF_HOURS)
    assert series.first_hour == datetime(2026, 7, 14, 6, tzinfo=UTC)
    np.testing.assert_allclose(series.air_c, [20, 22, 24])
    # Of the hour that ended: the mean of its two readings, their sum, the higher of them.
    np.testing.assert_allclose(series.shortwave_wm2[1:], [250, 450])
    np.testing.assert_allclose(series.precipitation_mm[1:], [0.6, 1.0])
    np.testing.assert_allclose(series.precipitation_probability[1:], [0.3, 0.2])
    assert any("brought to whole hours" in sentence for sentence in series.methods)


def test_readings_at_odd_minutes_are_interpolated(sound: Callable[..., WeatherSeries]) -> None:
    """As airports report: at 07:00, 7 of 60 minutes from 20 to 21 degC; at 08:00, 7 of 63 from 21 to 22."""
    text = """\
time_utc,temp_c,rh_percent,wind_ms,cloud_percent
2026-07-14T06:53,20,50,2,0
2026-07-14T07:53,21,50,2,0
2026-07-14T08:56,22,50,2,0
"""
    series = sound(text)
    assert series.first_hour == datetime(2026, 7, 14, 7, tzinfo=UTC)
    np.testing.assert_allclose(series.air_c, [20 + 7 / 60, 21 + 7 / 63])


def test_readings_an_hour_apart_keep_their_minute(files: Any, sound: Callable[..., WeatherSeries]) -> None:
    series = sound(files.table(form="%Y-%m-%dT%H:53"))
    assert series.first_hour == datetime(2026, 7, 14, 0, 53, tzinfo=UTC)
    np.testing.assert_allclose(series.air_c, [20, 21, 22, 23, 24, 25])


def test_a_long_gap_between_short_readings_is_a_fault(faults: Callable[..., list[str]]) -> None:
    lines = HALF_HOURS.splitlines()
    later = [line.replace("T0", "T1") for line in lines[1:]]
    (fault,) = [each for each in faults("\n".join(lines + later)) if "missing" in each]
    assert "from 2026-07-14 09:00 UTC to 2026-07-14 15:00 UTC" in fault


def test_sunshine_and_place_both_missing(files: Any, faults: Callable[..., list[str]]) -> None:
    text = files.table("time_utc,temp_c,rh_percent,wind_ms,cloud_percent", "{time},20,50,3,40")
    assert "site.latitude" in faults(text, place=Location(None, None, "UTC"))[0]


def test_real_road_station(
    weather_folder: Path, sound: Callable[..., WeatherSeries], faults: Callable[..., list[str]]
) -> None:
    """Readings about every 20 minutes; the station has no sun and no cloud, which is the only fault."""
    text = (weather_folder / "concrete-road-2006-04-05.csv").read_text(encoding="utf-8")
    (fault,) = faults(text)
    assert "no sunshine and no cloud" in fault
    clear = "\n".join(f"{line},{0 if at else 'cloud_percent'}" for at, line in enumerate(text.splitlines()))
    series = sound(clear, place=Location(44.128, -77.597, "America/Toronto"))
    # 22:44:28 to 23:04:19 is 3.30 to 3.50 degC, and 23:00 is 932/1191 of the way.
    assert series.first_hour == datetime(2006, 4, 5, 23, tzinfo=UTC)
    assert series.air_c[0] == pytest.approx(3.30 + 0.20 * 932 / 1191)


def test_a_heading_that_says_local_needs_no_caution(examine: Callable[..., ExaminedWeather]) -> None:
    text = local_table("%Y-%m-%d %H:%M", datetime(2026, 7, 14, 1)).replace("time,", "time_local,", 1)
    series, findings = examine(text)
    assert series.first_hour == datetime(2026, 7, 14, 5, tzinfo=UTC)
    assert not [each for each in findings if "without an offset" in each.problem]


def test_the_time_of_issue_of_a_table_may_be_on_the_clock_of_the_site(
    files: Any, sound: Callable[..., WeatherSeries]
) -> None:
    series = sound("# issued_at: 2026-07-13 22:30\n" + files.table())
    assert series.issued_at == datetime(2026, 7, 14, 2, 30, tzinfo=UTC)
