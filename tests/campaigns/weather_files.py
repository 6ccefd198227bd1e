"""Weather and loggers' files as disks, programs and people spoil them: read whole, or refused in words."""

from __future__ import annotations

import json
from datetime import datetime
from functools import cache
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

from campaign import Case, campaign
from mutations import spoil, spoil_tree
from program import suite
from records import check_findings

from handover.jobs.attached_files import MemoryFiles
from handover.jobs.logger import examine_log
from handover.weather.location import Location
from handover.weather.reading import examine_weather_bytes

if TYPE_CHECKING:
    from random import Random

SITE = Location(36.1, -79.95, "America/New_York")
ZONE = ZoneInfo("America/New_York")
PLACED = datetime(2026, 7, 14, 6, 10, tzinfo=ZONE)
TREES = ("open_meteo", "nws", "met_norway", "ensemble", "joined", "power")
TEXTS = ("table", "epw", "tmy3")
HEADINGS = ("time_utc,temperature_c", "Time (UTC);Concrete temp [degF]", "time_local\ttemperature [K]")


@cache
def _year(kind: str) -> str:
    """Return a typical year as EPW, or as the TMY3 file that pvlib ships."""
    shared = suite("weather/test_typical_year.py")
    return shared.epw() if kind == "epw" else shared.GREENSBORO.read_text("utf-8")


def _tree(kind: str) -> Any:
    files = suite("weather/conftest.py").Files()
    if kind == "joined":
        alerts = files.alerts("Freeze Warning", "Heat Advisory")
        return {"forecast": files.open_meteo(30), "members": files.ensemble(30, 6), "alerts": alerts}
    if kind == "power":
        return files.power(range(2019, 2022), 3)
    return {"ensemble": lambda: files.ensemble(30, 6)}.get(kind, getattr(files, kind))()


def draw_weather(random: Random) -> bytes:
    """Return a weather file of any format, with some changes."""
    kind = random.choice(
        [*TREES, *TREES, "table", "table", "epw", "tmy3"] if random.random() < 0.3 else [*TREES, "table"]
    )
    if kind not in TEXTS:
        tree = _tree(kind)
        for _ in range(random.randrange(1, 5)):
            spoil_tree(random, tree)
        text = json.dumps(tree, ensure_ascii=random.random() < 0.5)
        return spoil(random, text) if random.random() < 0.2 else text.encode("utf-8", "surrogatepass")
    return spoil(
        random, suite("weather/conftest.py").Files().table(hours=40) if kind == "table" else _year(kind)
    )


@campaign(in_suite=30)
def weather_files(case: Case) -> None:
    """A weather file is a series without gaps, or has a fault."""
    file = case.keep("weather", draw_weather(case.random))
    year = case.random.choice([None, 2026])
    case.keep("year", str(year).encode())
    examined = examine_weather_bytes(file.read_bytes(), "weather", SITE, year)
    suite("weather/test_any_input.py").judged(examined)
    check_findings(tuple(examined[1]))


@campaign(in_suite=60)
def logger_files(case: Case) -> None:
    """A logger's file is readings in order of time, or has a fault."""
    random = case.random
    shared = suite("jobs/test_logger.py")
    _, _, rows = shared.table(
        shared.day(random.choice([3, 30, 200])), minutes=random.choice([1, 15, 60])
    ).partition("\n")
    heading = random.choice(HEADINGS)
    mark = next(each for each in "\t;," if each in heading)
    file = case.keep("logger.csv", spoil(random, f"{heading}\n{rows.replace(',', mark)}"))
    attached = MemoryFiles({"logger.csv": file.read_bytes()})
    readings, findings = examine_log(
        attached, "logger.csv", random.choice([ZONE, None]), random.choice([PLACED, None])
    )
    check_findings(tuple(findings))
    faults = any(each.severity == "fault" for each in findings)
    assert not (readings and faults)
    assert readings or findings
    assert [each.time for each in readings] == sorted({each.time for each in readings})
