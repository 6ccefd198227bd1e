"""The comparison of start hours before a pour, from a record and its weather to a table and a page.

request     read_start_request, or values in memory
comparison  compare_start_hours
documents   start_picture, start_page, start_data; start_words for a table of one's own
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from typing import TYPE_CHECKING

from handover.base.local_time import impossible_year
from handover.base.time_text import read_time_text
from handover.documents.charts.start_hours import start_hours
from handover.documents.pages import sheet_pdf
from handover.documents.start_page import start_page_html
from handover.documents.starts_json import starts_json
from handover.documents.words.reader import Reader
from handover.documents.words.starts import StartWording
from handover.errors import Finding, UnusableInput
from handover.jobs.before_pour import examine_before_pour
from handover.jobs.reading import read_source
from handover.schedule.rule_selection import rules_for
from handover.schedule.start_hours import begin_at, compare_starts, full_hours, placing_time, usual_starts
from handover.service.inputs import check_inputs, download_weather, needed_until, read_weather_file, too_hot
from handover.service.settings import Settings
from handover.weather.fit_check import check_fit

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path
    from zoneinfo import ZoneInfo

    from handover.jobs.reading import RecordSource
    from handover.jobs.record import JobRecord
    from handover.practice.rules import Practice
    from handover.schedule.start_hours import StartComparison
    from handover.service.job_inputs import WeatherFile

_BOUND = "2026-07-14T05:00"

MAX_STARTS = 96
"""Of one comparison: four days and nights."""


@dataclass(frozen=True)
class StartWindow:
    """From when to when a pour may begin, as a person says it.

    Attributes:
        earliest: A day ("2026-07-14") or a moment of the site ("2026-07-14T05:00"); None: from now on.
        latest: Likewise, the last start; None: two days after the earliest.
        placing_h: From the first concrete to the last; None: as the record says, else by practice. [h]
    """

    earliest: str | None = None
    latest: str | None = None
    placing_h: float | None = None


@dataclass(frozen=True)
class StartRequest:
    """The inputs and choices of a comparison.

    Attributes:
        record: The job record as received; it needs no times of the placement.
        weather: Its weather as received.
        as_of: Time of the question, aware.
        window: The starts to compare.
        settings: The choices: language, units, paper, templates, rules, certainty.
        typical: A typical year of the place, for the hours past the forecast.
    """

    record: RecordSource
    weather: WeatherFile
    as_of: datetime
    window: StartWindow = field(default_factory=StartWindow)
    settings: Settings = field(default_factory=Settings)
    typical: WeatherFile | None = None


@dataclass(frozen=True)
class ComparedStarts:
    """The record, the comparison of its start hours, and the cautions of the inputs."""

    job: JobRecord
    comparison: StartComparison
    findings: tuple[Finding, ...] = ()


# ---- the request and the comparison -----------------------------------------------------------------


def read_start_request(
    record: Path,
    weather: Path | None,
    as_of: datetime,
    *,
    window: StartWindow = StartWindow(),
    settings: Settings = Settings(),  # noqa: B008 - it does not change
    typical: Path | None = None,
    key: str | None = None,
) -> StartRequest:
    """Return a request from the files of a record and of its weather.

    Args:
        record: The file of the job record.
        weather: The file of the weather; None to download it.
        as_of: Time of the question, aware; also that of the download.
        window: The starts to compare.
        settings: The choices.
        typical: The file of a typical year of the place.
        key: Of a customer of the forecast service, for the download.

    Raises:
        UnusableInput: The weather is to be downloaded, and the record or the window has faults.
        DownloadFailed: The forecast could not be downloaded.
    """
    source = read_source(record)
    year = None if typical is None else read_weather_file(typical)
    if weather is not None:
        return StartRequest(source, read_weather_file(weather), as_of, window, settings, year)
    planned = examine_before_pour(source, as_of)
    if planned.examined.record is None:
        raise UnusableInput(planned.examined.findings)
    schedule = _plan_starts(planned.examined.record, planned.placing, window, settings, as_of)
    downloaded = download_weather(schedule.job, as_of, key=key)
    return StartRequest(source, downloaded, as_of, window, settings, year)


def compare_start_hours(
    request: StartRequest, on_findings: Callable[[tuple[Finding, ...]], None] = lambda _: None
) -> ComparedStarts:
    """Return the comparison that a request asks for.

    Args:
        request: The inputs and choices.
        on_findings: Called with the cautions, before anything is computed.

    Raises:
        UnusableInput: Record, weather or window have faults, alone or together; carries all findings. Or the
            slab gets too hot for an estimate at each start.
    """
    planned = examine_before_pour(request.record, request.as_of)
    examined, record = planned.examined, planned.examined.record
    settings = request.settings
    if record is None:  # the weather may have faults as well
        check_inputs(examined, request.weather, request.as_of, typical_file=request.typical)
        raise UnusableInput(examined.findings)
    plan = _plan_starts(record, planned.placing, request.window, settings, request.as_of)
    inputs = check_inputs(
        replace(examined, record=plan.job), request.weather, request.as_of, typical_file=request.typical
    )
    last = plan.starts[-1]
    fit = check_fit(
        inputs.weather, plan.job.site, last, needed_until(plan.job), request.as_of, file=request.weather.name
    )
    if faults := [each for each in fit if each.severity == "fault"]:
        raise UnusableInput(faults)
    on_findings(inputs.cautions)
    comparison = compare_starts(
        inputs.job,
        inputs.weather,
        request.as_of,
        plan.starts,
        plan.placing,
        typical=inputs.typical,
        share=settings.share,
        rules=settings.rules,
    )
    if not comparison.starts:
        coolest = min(each.hottest_inside_c for each in comparison.refused)
        raise UnusableInput([too_hot(coolest, comparison.inside_limit, next(iter(inputs.files), None))])
    return ComparedStarts(inputs.job, comparison, inputs.cautions)


@dataclass(frozen=True)
class _StartPlan:
    """The starts to compare, and the job as if placed from the first of them to the end of the last."""

    job: JobRecord
    starts: tuple[datetime, ...]
    placing: timedelta


def _plan_starts(
    record: JobRecord, recorded: timedelta | None, window: StartWindow, settings: Settings, as_of: datetime
) -> _StartPlan:
    """Return the starts of a window. Raises `UnusableInput`."""
    practice = rules_for(record, settings.rules)[0]
    placing = recorded or placing_time(record, practice)
    if window.placing_h is not None:
        longest = practice["placement.longest"]
        if not 0.0 < window.placing_h <= longest:
            problem = f"{window.placing_h:g} h is not how long a crew places a slab"
            raise UnusableInput.with_finding(
                problem, field="--crew-hours", expected=f"more than 0 and at most {longest:g}", example="2.5"
            )
        placing = timedelta(hours=window.placing_h)
    starts = _starts_of(window, as_of, record.zone, practice)
    first, last = (begin_at(record, each, placing) for each in (starts[0], starts[-1]))
    placement = first.placement.model_copy(update={"end": last.placement.end})
    return _StartPlan(first.model_copy(update={"placement": placement}), starts, placing)


def _starts_of(
    window: StartWindow, as_of: datetime, zone: ZoneInfo, practice: Practice
) -> tuple[datetime, ...]:
    """Return the starts of a window: of days, the hours of the day; between two moments, every hour."""
    earliest, latest = _bound(window.earliest, zone, "--from"), _bound(window.latest, zone, "--until")
    if earliest is None and latest is None:
        return usual_starts(as_of, zone, practice)
    moment = timedelta(seconds=1)
    after = as_of if earliest is None else _begin_of(earliest, zone) - moment
    until = after + practice.duration("start.window") if latest is None else _end_of(latest, zone)
    at_night = isinstance(earliest, datetime) and isinstance(latest, datetime)
    # A window of years need not be listed to be too long.
    until = min(until, after + timedelta(hours=24 * MAX_STARTS), key=datetime.timestamp)
    starts = full_hours(after, until, zone, practice, at_night=at_night)
    if not starts or len(starts) > MAX_STARTS:
        problem = (
            f"more than {MAX_STARTS} start hours are in this window"
            if starts
            else "no start hour is in this window"
        )
        raise UnusableInput.with_finding(
            problem,
            field="--from, --until",
            expected=f"a window of 1 to {MAX_STARTS} full hours; of a day, those from morning to afternoon",
            example="--from 2026-07-14 --until 2026-07-15",
        )
    return starts


def _bound(text: str | None, zone: ZoneInfo, field: str) -> date | datetime | None:
    """Return a day, or a moment in the zone of the site; None for none."""
    if text is None:
        return None
    found = _read_bound(text, zone, field)
    if (wrong := impossible_year(found)) is not None:
        raise UnusableInput.with_finding(wrong.problem, field=field, expected=wrong.expected, example=_BOUND)
    return found.astimezone(zone) if isinstance(found, datetime) else found


def _read_bound(text: str, zone: ZoneInfo, field: str) -> date | datetime:
    """Return a day, or a moment, aware."""
    for read in (date.fromisoformat, datetime.fromisoformat):
        try:
            found = read(text)
        except ValueError:
            continue
        if isinstance(found, datetime):
            return found if found.tzinfo else found.replace(tzinfo=zone)
        return found
    readings = read_time_text(text)
    if readings is not None and len(readings.moments) == 1:
        moment = readings.moments[0]
        return moment if moment.tzinfo else moment.replace(tzinfo=zone)
    if readings is not None and not readings.clocks and len(readings.days) == 1:
        return next(iter(readings.days.values()))
    raise UnusableInput.with_finding(
        f'"{text}" is neither a day nor a moment'
        if readings is None or not readings.days
        else f'"{text}" has several meanings',
        field=field,
        expected="a day, or a day and an hour at the site",
        example=_BOUND,
    )


def _begin_of(bound: date | datetime, zone: ZoneInfo) -> datetime:
    return bound if isinstance(bound, datetime) else datetime.combine(bound, time(), zone)


def _end_of(bound: date | datetime, zone: ZoneInfo) -> datetime:
    return bound if isinstance(bound, datetime) else datetime.combine(bound + timedelta(days=1), time(), zone)


# ---- documents --------------------------------------------------------------------------------------


def start_words(compared: ComparedStarts, settings: Settings = Settings()) -> StartWording:  # noqa: B008
    """Return a comparison in words, in the language of crew and office."""
    reader = Reader.load(settings.office_language, settings.units_for(compared.job), settings.templates)
    job = compared.job
    reader = replace(reader, country=job.site.country)
    return StartWording(reader, job.site.name, compared.comparison, job.contractor.name)


def start_picture(words: StartWording) -> bytes:
    """Return the picture of a comparison: SVG, in UTF-8."""
    return f"{start_hours(words).svg}\n".encode()


def start_page(words: StartWording, settings: Settings = Settings()) -> bytes:  # noqa: B008
    """Return the page with the picture and the table, as PDF.

    Raises:
        MissingLibraries: The PDF engine cannot start on this machine.
        RenderingFailed: The page could not be rendered cleanly.
    """
    return sheet_pdf(start_page_html(words, paper=settings.paper))


def start_data(compared: ComparedStarts) -> bytes:
    """Return a comparison as JSON, for other programs."""
    return starts_json(compared.comparison)
