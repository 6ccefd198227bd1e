"""A sealer waits for air above 50 degF, or the paper says what to wait for.

Source: Virginia Ready-Mixed Concrete Association, on driveways: 30 days after placement, a dry surface, air
above 50 degF, preferably before the first freeze.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
import pytest

from handover.documents.wording import Wording
from handover.schedule.model import Milestone, MilestoneKind
from handover.schedule.plan import plan_cure
from handover.weather.climate import climate_at

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.jobs.record import JobRecord, Site
    from handover.weather.series import WeatherSeries

    Job = Callable[..., JobRecord]
    Weather = Callable[..., WeatherSeries]

HALF_A_YEAR = timedelta(days=181)
RULE = "seal.mild-days"


def moved(record: JobRecord) -> JobRecord:
    """Return a job of July placed in January, the weather of which `winter` gives."""
    times = {name: getattr(record.placement, name) - HALF_A_YEAR for name in ("start", "end")}
    placement = record.placement.model_copy(update={**times, "finished": None})
    return record.model_copy(update={"placement": placement})


def winter(series: WeatherSeries) -> WeatherSeries:
    issued = series.issued_at
    assert issued is not None
    return replace(series, time=series.time - np.timedelta64(HALF_A_YEAR), issued_at=issued - HALF_A_YEAR)


def seal_of(record: JobRecord, series: WeatherSeries, as_of: datetime) -> Milestone:
    found = plan_cure(record, series, as_of).milestone(MilestoneKind.SEAL)
    assert found is not None
    return found


def test_in_summer_it_waits_30_days(job: Job, weather: Weather, as_of: datetime) -> None:
    record = job()
    found = seal_of(record, weather(), as_of)
    assert found.not_before == record.placement.end + timedelta(days=30)
    assert RULE in {each.rule for each in found.because.others}


def test_after_a_winter_pour_it_waits_for_mild_air(job: Job, weather: Weather, as_of: datetime) -> None:
    """Seen: a sealer in February. The days then have 50 degF for some hours, but not in the mean."""
    record = moved(job())
    found = seal_of(record, winter(weather(-6.0, 2.0)), as_of - HALF_A_YEAR)
    assert found.not_before is not None
    assert found.not_before > record.placement.end + timedelta(days=35)
    assert found.because.governing.rule == RULE
    by_then, a_month_after = (
        float(_season_c(record.site, found.not_before + timedelta(days=days))) for days in (0, 30)
    )
    assert 5.0 < by_then < a_month_after


def _season_c(site: Site, when: datetime) -> float:
    climate = climate_at(site)
    assert climate is not None
    return float(climate.air_c(np.array([when.replace(tzinfo=None)], dtype="datetime64[s]"))[0])


def test_where_no_warmth_is_in_sight_there_is_no_date_but_what_to_wait_for(
    job: Job, lasting: Weather, as_of: datetime
) -> None:
    record = moved(job())
    nowhere = record.site.model_copy(update={"latitude": None, "longitude": None})
    record = record.model_copy(update={"site": nowhere})
    found = seal_of(record, winter(lasting(-6.0, 2.0)), as_of - HALF_A_YEAR)
    assert (found.likely, found.not_before) == (None, None)
    assert found.because.governing.rule == RULE


def test_indoors_no_season_is_asked_for(job: Job, weather: Weather, as_of: datetime) -> None:
    """The source is about driveways; a room has its own air."""
    record = moved(job(slab={"exposure": "indoors"}))
    found = seal_of(record, winter(weather(-6.0, 2.0)), as_of - HALF_A_YEAR)
    assert RULE not in {each.rule for each in (found.because.governing, *found.because.others)}


@pytest.mark.parametrize(
    ("lowest_c", "exposure", "words"),
    [
        (22.0, "outdoors", "before the first freeze"),
        (-6.0, "outdoors", "too cold before"),
        (22.0, "indoors", ""),
    ],
)
def test_the_sentence_says_what_the_season_asks(
    job: Job, weather: Weather, as_of: datetime, lowest_c: float, exposure: str, words: str
) -> None:
    record, series, at = job(slab={"exposure": exposure}), weather(lowest_c, lowest_c + 8.0), as_of
    if lowest_c < 0.0:
        record, series, at = moved(record), winter(series), as_of - HALF_A_YEAR
    schedule = plan_cure(record, series, at)
    seal = next(each for each in Wording(record, schedule).dates.milestones if each.kind == "seal")
    assert words in seal.sentence
    assert "mild day" in seal.sentence
    assert ("freeze" in seal.sentence) == ("freeze" in words)
