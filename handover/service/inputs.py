"""Steps 1 to 3: read the job record and the weather, check them, compute the schedule."""

from __future__ import annotations

import logging
from datetime import UTC, timedelta
from math import ceil
from typing import TYPE_CHECKING, NamedTuple
from zoneinfo import ZoneInfo

import numpy as np

from handover.base.file_names import ascii_name
from handover.documents.pictures import MAX_PICTURE_BYTES
from handover.errors import Finding, UnusableInput
from handover.jobs.future_times import find_future_times
from handover.jobs.logger import MAX_LOG_BYTES
from handover.jobs.reading import examine_job
from handover.practice.rules import general_rules
from handover.schedule.cover_times import frost_covers
from handover.schedule.model import MilestoneKind
from handover.schedule.plan import plan_cure
from handover.schedule.printed_times import frost_safe_under_blankets, half_hour_down
from handover.schedule.slab_simulation import DAYS
from handover.schedule.surface_observations import SET_CONTRADICTED
from handover.schedule.tasks import FROST_COVER, are_joints_in_doubt, unwatched_covers
from handover.service.job_inputs import JobInputs, WeatherFile, unique_names
from handover.service.reader_needs import reader_findings
from handover.service.settings import SETTINGS_FILE, Settings
from handover.units import to_reader
from handover.weather.earlier_hours import JoinedWeather, NamedSeries, add_earlier_hours
from handover.weather.fit_check import check_fit
from handover.weather.location import Location
from handover.weather.reading import examine_weather_bytes, read_bytes
from handover.weather.series import Origin

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping, Sequence
    from datetime import datetime
    from pathlib import Path

    from handover.jobs.attached_files import AttachedFiles
    from handover.jobs.reading import ExaminedRecord
    from handover.jobs.record import JobRecord
    from handover.schedule.model import Caution, CureSchedule, Measurement
    from handover.weather import WeatherSeries
    from handover.weather.location import HasLocation
    from handover.weather.reading import ExaminedWeather as WeatherExamined

LOG = logging.getLogger("handover")


# ---- 1 read and 2 check -----------------------------------------------------------------------------


def read_record(path: Path) -> tuple[JobRecord, tuple[Finding, ...]]:
    """Return a job record, and its cautions.

    Raises:
        UnusableInput: It has faults; carries all findings.
    """
    examined = examine_job(path)
    if examined.record is None:
        raise UnusableInput(examined.findings)
    return examined.record, examined.findings


def check_inputs(
    examined: ExaminedRecord,
    weather_file: WeatherFile,
    as_of: datetime,
    *,
    typical_file: WeatherFile | None = None,
    examine: Callable[..., WeatherExamined] = examine_weather_bytes,
    settings: Settings | None = None,
    earlier_weather: Sequence[WeatherFile] = (),
) -> JobInputs:
    """Check a job record and its weather, each alone and together.

    Args:
        examined: The result of reading the job record.
        weather_file: The weather as received.
        as_of: Time of issue, aware.
        typical_file: A typical year of the place, as received.
        examine: Reads the weather, like `examine_weather_bytes`.
        settings: The choices of an issue; None: no documents are written, so nothing is asked for them.
        earlier_weather: The weather of earlier issues, the newest first: it has the hours from the pour on
            where the weather does not go back to the pour.

    Raises:
        UnusableInput: They have faults, alone or together; carries all findings.
    """
    LOG.info("2 check")
    job, source = examined.record, examined.source
    series, doubts, used = _examine(weather_file, job, as_of, examine, earlier_weather)
    typical, typical_findings = (
        (None, ()) if typical_file is None else _examine_typical(typical_file, job, examine)
    )
    ahead = () if job is None else find_future_times(job, source, as_of)
    said = {each.problem for each in doubts}
    of_service = (each for each in weather_file.cautions if each.problem not in said)
    for_readers = (
        ()
        if job is None or settings is None
        else reader_findings(
            job,
            source.name,
            chosen=settings.languages,
            firm=settings.firm_language,
            templates=settings.templates,
        )
    )
    findings = (*examined.findings, *ahead, *for_readers, *of_service, *doubts, *typical_findings)
    if job is None or series is None or any(each.severity == "fault" for each in findings):
        raise UnusableInput(findings)
    pictures = pictures_of(job, source.files)
    inputs = unique_names(
        [
            (ascii_name(source.name), source.data),
            *_logs(job, source.files),
            *pictures.items(),
            *(
                (ascii_name(each.name), each.data)
                for each in (weather_file, typical_file)
                if each is not None
            ),
        ],
        reserved=(SETTINGS_FILE,),
    )
    names = list(inputs)  # the weather is the last of them
    return JobInputs(
        job=job,
        weather=series,
        files=inputs,
        pictures=pictures,
        cautions=findings,
        typical=typical,
        weather_file=names[-1 if typical_file is None else -2],
        typical_file=None if typical_file is None else names[-1],
        received_at=weather_file.received_at,
        earlier_weather=used,
    )


def read_weather_file(path: Path) -> WeatherFile:
    """Return a weather file unchanged."""
    data, fault = read_bytes(path)
    return WeatherFile(str(path), data or b"", fault=fault)


def download_weather(job: JobRecord, now: datetime, *, key: str | None = None) -> WeatherFile:
    """Download the forecast for a job's site, exactly as the service sends it.

    Raises:
        UnusableInput: The record has no contact for the service.
        DownloadFailed: No service sent a forecast.
    """
    return download_weather_for(
        job.site, job.placement.start, needed_until(job), contact=_contact_of(job), now=now, key=key
    )


def _contact_of(job: JobRecord) -> str:
    """Return the mail address that the weather services ask for."""
    if not job.contractor.email:
        finding = Finding(
            "is missing; the forecast services require a contact",
            field="contractor.email",
            expected="an email address, or a weather file with -w",
            example='email = "office@example.com"',
        )
        raise UnusableInput([finding])
    return job.contractor.email


def download_weather_for(
    site: HasLocation,
    start: datetime,
    until: datetime,
    *,
    contact: str,
    now: datetime,
    key: str | None = None,
) -> WeatherFile:
    """Download the forecast for a place and a time span. Raises as `download_forecast`."""
    from handover.weather.download import (  # noqa: PLC0415 - only to download
        SERVICE_TITLES,
        cache_folder,
        download_forecast,
    )

    answer = download_forecast(site, start, until, now=now, contact=contact, key=key, cache=cache_folder())
    said = tuple(each for each in answer.findings if each.file is None and each.severity == "caution")
    name = f"{answer.service}-forecast.json"
    return WeatherFile(
        name,
        answer.data,
        received_at=answer.fetched_at,
        cautions=said,
        service=SERVICE_TITLES[answer.service],
    )


def download_climate(job: JobRecord, now: datetime, *, key: str | None = None) -> WeatherFile:
    """Return the weeks of a job in the past years at its site, as the service sends them.

    They are downloaded once for each grid cell, and kept.

    Raises:
        UnusableInput: The record has no contact for the service.
        DownloadFailed: No service sent past years.
    """
    from handover.weather.download import climate_folder, download_past_years  # noqa: PLC0415 - only to download
    from handover.weather.past_years import cut_weeks  # noqa: PLC0415 - only to download

    answer = download_past_years(job.site, now=now, contact=_contact_of(job), key=key, cache=climate_folder())
    start = job.placement.start.astimezone(UTC) - _BEFORE_THE_POUR
    return WeatherFile("past-years.json", cut_weeks(answer.data, start, needed_until(job) + _BEFORE_THE_POUR))


_BEFORE_THE_POUR = timedelta(days=1)
"""How much earlier than the placement the past years begin, and later than the simulation they end."""


def needed_until(job: JobRecord) -> datetime:
    """Return until when the schedule of a job needs weather."""
    return job.placement.end.astimezone(UTC) + timedelta(days=DAYS)


class _CheckedWeather(NamedTuple):
    """The weather of a job, its faults and cautions, and the earlier files from which its first hours are."""

    series: WeatherSeries | None
    findings: tuple[Finding, ...]
    earlier: tuple[WeatherFile, ...] = ()


def _examine(
    weather_file: WeatherFile,
    job: JobRecord | None,
    as_of: datetime,
    examine: Callable[..., WeatherExamined],
    earlier: Sequence[WeatherFile],
) -> _CheckedWeather:
    """Return the weather of a file, with its faults and cautions, alone and for the job."""
    if weather_file.fault is not None:
        return _CheckedWeather(None, (weather_file.fault,))
    if job is None:  # its own faults can still be reported; cautions go by the place, which is not known
        series, findings = examine(weather_file.data, weather_file.name, Location(0.0, 0.0), as_of.year)
        return _CheckedWeather(series, tuple(each for each in findings if each.severity == "fault"))
    series, findings = _examine_for(job, weather_file, examine)
    if series is None:
        return _CheckedWeather(None, findings)
    start = job.placement.start
    joined, used = join_weather(job, NamedSeries(weather_file.name, series), earlier, examine)
    fit = check_fit(joined.series, job.site, start, needed_until(job), as_of, file=weather_file.name)
    return _CheckedWeather(joined.series, (*findings, *joined.findings, *fit), used)


def _examine_for(
    job: JobRecord, file: WeatherFile, examine: Callable[..., WeatherExamined] = examine_weather_bytes
) -> WeatherExamined:
    year = job.placement.start.year
    return examine(file.data, file.name, job.site, year, received_at=file.received_at)


def join_weather(
    job: JobRecord,
    new: NamedSeries,
    earlier: Sequence[WeatherFile],
    examine: Callable[..., WeatherExamined] = examine_weather_bytes,
) -> tuple[JoinedWeather, tuple[WeatherFile, ...]]:
    """Return new weather with the hours before it, and the earlier files from which these are.

    Args:
        job: The record.
        new: The new weather.
        earlier: The weather of earlier issues, the newest first; what cannot be read any more is left out.
        examine: Reads it, like `examine_weather_bytes`.
    """
    start = job.placement.start
    if new.series.first_hour <= start:
        return JoinedWeather(new.series), ()
    readable = [
        (file, NamedSeries(file.name, series))
        for file in earlier
        if (series := _examine_for(job, file, examine)[0]) is not None
    ]
    joined = add_earlier_hours(new, [each for _, each in readable], start, job.site)
    return joined, tuple(readable[order][0] for order in joined.used)


def read_joined_weather(
    job: JobRecord,
    files: Sequence[WeatherFile],
    examine: Callable[..., WeatherExamined] = examine_weather_bytes,
) -> WeatherSeries | None:
    """Return the weather of an issued set; None where this program cannot read it.

    Args:
        job: The record.
        files: The weather of the set, then that of earlier issues, as `read_issued_weather` returns it.
        examine: Reads it, like `examine_weather_bytes`.
    """
    own, *earlier = files
    series, _ = _examine_for(job, own, examine)
    if series is None:
        return None
    return join_weather(job, NamedSeries(own.name, series), earlier, examine)[0].series


def _examine_typical(
    weather_file: WeatherFile, job: JobRecord | None, examine: Callable[..., WeatherExamined]
) -> tuple[WeatherSeries | None, tuple[Finding, ...]]:
    """Return the typical year of a file, moved to the year of the job, and its faults."""
    if weather_file.fault is not None or job is None:
        return None, () if weather_file.fault is None else (weather_file.fault,)
    series, findings = examine(weather_file.data, weather_file.name, job.site, job.placement.start.year)
    if series is not None and not np.all(series.origin == Origin.TYPICAL):
        fault = Finding(
            "is not a typical year",
            weather_file.name,
            expected="a TMY3 or EPW file, or past years of the place (handover climate JOB -o FILE)",
            example="a TMY3 file of a town nearby",
        )
        return None, (*findings, fault)
    return series, findings


def attached_files(job: JobRecord, files: AttachedFiles) -> dict[str, bytes]:
    """Return the files that a record names, by their names in the record."""
    return dict([*_logs(job, files), *pictures_of(job, files).items()])


def _logs(job: JobRecord, files: AttachedFiles) -> list[tuple[str, bytes]]:
    """Return the logger's file of a job; whether it may be read is checked with the record."""
    log = job.temperature_log
    return [(log.file, files.read(log.file, MAX_LOG_BYTES + 1))] if log else []


def pictures_of(job: JobRecord, files: AttachedFiles) -> dict[str, bytes]:
    """Return the logo and the photos of a job; whether they may be read is checked with the record.

    Of one that is larger than a picture may be, no more is read than shows it.
    """
    names = [job.contractor.logo, *(each.photo for each in job.walkthrough)]
    return {name: files.read(name, MAX_PICTURE_BYTES + 1) for name in names if name}


# ---- 3 compute --------------------------------------------------------------------------------------


def compute(
    inputs: JobInputs,
    as_of: datetime,
    revision: int = 1,
    settings: Settings = Settings(),  # noqa: B008 - it does not change
    cover: str | None = None,
    covered_since: datetime | None = None,
    brought_by: datetime | None = None,
) -> CureSchedule:
    """Return the schedule of the inputs; the time of issue is aware, the covers those of the issue before.

    Raises:
        UnusableInput: The slab gets hotter than the calculation holds for.
    """
    LOG.info("3 compute")
    schedule = plan_cure(
        inputs.job,
        inputs.weather,
        as_of,
        revision=revision,
        typical=inputs.typical,
        rules=settings.rules,
        share=settings.share,
        cover=cover,
        covered_since=covered_since,
        brought_by=brought_by,
    )
    _refuse_too_hot(schedule, inputs)
    return schedule


def _refuse_too_hot(schedule: CureSchedule, inputs: JobInputs) -> None:
    """Refuse a slab that gets hotter than the calculation holds for: its dates would mean nothing."""
    most = general_rules()["heat.inside-model"]
    inside = max(
        (
            each.value
            for caution in schedule.cautions
            if caution.code == "hot-inside"
            for each in caution.figures
            if each.name == "hottest_inside"
        ),
        default=0.0,
    )
    if inside > most:
        raise UnusableInput([too_hot(inside, most, next(iter(inputs.files), None))])


def too_hot(inside_c: float, most_c: float, record: str | None) -> Finding:
    """Return the fault of a slab that gets hotter than the calculation holds for."""
    reached, limit = (f"{each:.0f} degC ({each * 1.8 + 32:.0f} degF)" for each in (inside_c, most_c))
    return Finding(
        f"the slab would reach {reached} inside, and the calculation holds up to {limit} only",
        file=record,
        field="mix.cementitious",
        expected="a mix that heats less, cooler concrete, or a plan of an engineer for mass concrete",
    )


ASKS = (SET_CONTRADICTED, "frozen-ground", "coloured", FROST_COVER)
"""What is in every schedule that asks the contractor something."""


def questions(schedule: CureSchedule, record: str | None = None) -> tuple[Finding, ...]:
    """Return what a schedule asks of the contractor.

    That is an hour of the record that the weather contradicts, ground that may be frozen before the pour,
    blankets against frost that the dates do not count, a slab that falls dry between waterings though a
    cover would mark it, joints whose hours of sawing are past, and blankets that nobody looks after.

    Args:
        schedule: The schedule.
        record: The file of the job record.
    """
    finishes = (
        _early_finish(each, schedule, record)
        for each in schedule.measurements
        if each.outcome == SET_CONTRADICTED
    )
    cautions = {each.code: each for each in schedule.cautions}
    dry = cautions.get("wet-dry") if "coloured" in cautions else None
    frozen = cautions.get("frozen-ground") if schedule.is_ahead(schedule.placement_start) else None
    return (
        *finishes,
        *((_frozen_ground(frozen, record),) if frozen else ()),
        *filter(None, (_uncounted_blankets(schedule, record),)),
        *((_dry_without_cover(dry, record),) if dry else ()),
        *filter(None, (_joints_past(schedule, record),)),
        *((_lack_of_watch(record),) if unwatched_covers(schedule) else ()),
    )


def _lack_of_watch(record: str | None) -> Finding:
    """Return the question who looks after blankets where the record has nobody there."""
    return Finding(
        "has no hour, so that nobody looks after the blankets against frost: wind lifts them",
        file=record,
        field="curing.available",
        expected="hours at which somebody looks at them every day, or a visit of the crew every day",
        example='available = ["16:00-17:00"]',
        severity="caution",
    )


def _joints_past(schedule: CureSchedule, record: str | None) -> Finding | None:
    """Return the question whether the joints were cut; None before their last hour and after curing."""
    if not are_joints_in_doubt(schedule):
        return None
    return Finding(
        "is not true, and the hours of the saw are past: were they cut? The papers have no hours for the saw",
        file=record,
        field="slab.joints_cut",
        expected="joints that are cut; if not, a look for cracks today, and a cut where there is none",
        example="joints_cut = true",
        severity="caution",
    )


def _frozen_ground(frozen: Caution, record: str | None) -> Finding:
    coldest_c = frozen.figures[0].value
    return Finding(
        f"comes after air of {coldest_c:.0f} degC ({coldest_c * 1.8 + 32:.0f} degF) on average: "
        "is the ground thawed? No concrete on frozen ground, frost or ice",
        file=record,
        field="placement.start",
        expected="ground thawed before the pour, with blankets for days or with heat, or a later pour",
        severity="caution",
    )


def _dry_without_cover(dry: Caution, record: str | None) -> Finding:
    figures = {each.name: each.value for each in dry.figures}
    days, wet_days = (
        ceil(figures[each] / 24.0) if each in figures else None for each in ("curing_time", "curing_time_wet")
    )
    cost = "" if days is None else f", and so takes {days} days of watering"
    if days is not None and wet_days is not None and wet_days < days:
        cost += f" where {wet_days} would do if it never fell dry"
    return Finding(
        f"leaves the slab dry for about {ceil(figures['dry_hours'])} h a day{cost}; no plastic or burlap may "
        "lie on it in between: on a coloured or stamped top they leave marks",
        file=record,
        field="curing.method",
        expected=_ways_to_keep_wet(figures, wet_days),
        example='method = "curing compound"',
        severity="caution",
    )


def _ways_to_keep_wet(figures: Mapping[str, float], wet_days: int | None) -> str:
    """Return the choices before the crew leaves, with the days and dry hours of each.

    A timer is one where it leaves the slab dry for fewer hours than the plan.
    """
    by_timer, limit = figures["dry_with_timer"], general_rules()["water.dry-too-long"]
    compound = "no watering" if wet_days is None else f"no watering, {wet_days} days"
    if by_timer >= figures["dry_hours"]:
        timer = ""
    elif by_timer >= limit:
        timer = f"a hose timer (dry for {ceil(by_timer)} h a day), "
    else:
        timer = "a hose timer, " if wet_days is None else f"a hose timer ({wet_days} days), "
    return f"a clear compound that the maker of the colour names ({compound}), {timer}or more visits a day"


def _uncounted_blankets(schedule: CureSchedule, record: str | None) -> Finding | None:
    """Return that covers against frost lie for days that dates under blankets would save; None: they do not.

    The dates of a slab that is not cured by blankets count none, though the crew lays them against frost.
    """
    ends, protection = schedule.milestone(MilestoneKind.PROTECTION_ENDS), schedule.protection
    covers = frost_covers(schedule)
    if not covers or not schedule.is_ahead(covers[0].start) or protection is None or not protection.enough:
        return None
    late, zone = None if ends is None else ends.not_before, ZoneInfo(schedule.timezone)
    safe = frost_safe_under_blankets(schedule, late)
    if safe is None:
        return None
    until = "past the estimate" if late is None else f"until {late.astimezone(zone):%Y-%m-%d}"
    in_feet, _ = to_reader(protection.enough, "thermal resistance", "us")
    named = f"R-{float(in_feet):.0f}"
    return Finding(
        f"counts no blankets in its dates, so that those against frost lie {until}. Under {named} "
        f"({protection.enough:.2g} m2K/W) day and night, the slab stands a frost from "
        f"{safe.instant.astimezone(zone):%Y-%m-%d}",
        file=record,
        field="curing.method",
        expected="blankets as the method, where they lie from the last pass on",
        example=f'method = "insulating blanket", and below it blanket_r_value = "{named}"',
        severity="caution",
    )


def _early_finish(finishing: Measurement, schedule: CureSchedule, record: str | None) -> Finding:
    age = finishing.measured[0].value
    zone, placed = ZoneInfo(schedule.timezone), schedule.placement_end.astimezone(UTC)
    early, likely = (
        f"{half_hour_down((placed + timedelta(hours=each.value)).astimezone(zone)):%H:%M}"
        for each in finishing.estimated
    )
    return Finding(
        f"is {age:.1f} h after the last concrete. By the mix and the weather, first set comes about "
        f"{likely}, and not before {early}. Is the hour right? If it is, the surface was closed over bleed "
        "water: it may dust and scale",
        file=record,
        field="placement.finished",
        expected="the end of the last pass of the trowel or broom",
        severity="caution",
    )
