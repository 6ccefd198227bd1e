"""Whether the weather fits the job: its place, its hours, its age, the warnings in force."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from handover.errors import Finding
from handover.practice.rules import general_rules
from handover.weather.alerts import alerts_in_force
from handover.weather.location import distance_km
from handover.weather.series import Origin

if TYPE_CHECKING:
    from datetime import datetime, tzinfo

    from handover.weather.location import HasLocation
    from handover.weather.series import WeatherSeries

_M_PER_KM = 1000.0
MAX_DISTANCE_KM = general_rules()["forecast.far"] / _M_PER_KM
FORECAST_OLD_AGE = general_rules().duration("forecast.old")
FORECAST_STALE_AGE = general_rules().duration("forecast.stale")
MIN_HOURS_AFTER_POUR = general_rules().duration("forecast.least")

_HOW_TO_GET_HOURS = (
    "weather from the hour of the pour on: download it with its past hours (handover forecast JOB -o FILE), "
    "or put the observed hours and the forecast together into one CSV"
)


def check_fit(
    series: WeatherSeries,
    site: HasLocation,
    start: datetime,
    needed_until: datetime,
    as_of: datetime,
    *,
    file: str | None = None,
) -> tuple[Finding, ...]:
    """Return the findings against using a series for a pour.

    Faults: a place over 50 km off, another time, the hours of the pour missing, less than a day of weather
    after it. Cautions: a forecast over 6 h or 24 h old, of unknown age, or issued after the time of issue; an
    end before ``needed_until``, past which typical weather is used; each warning of cold, heat
    or wind in force.

    Args:
        series: Any weather; a typical year has no age.
        site: Place of the slab.
        start: When the first concrete was placed, aware; findings have times in its zone.
        needed_until: Up to when the schedule needs weather, aware.
        as_of: Time of issue of the documents, aware.
        file: Name of the weather file, for the findings.
    """
    check = _Check(series, file, start.tzinfo)
    check.place(site)
    check.time(start, needed_until)
    check.age(as_of)
    check.alerts(start, as_of)
    return tuple(check.findings)


def is_near(series: WeatherSeries, site: HasLocation) -> bool:
    """Return whether a series is of a place near the site; one that names no place counts as near."""
    places = (series.latitude, series.longitude, site.latitude, site.longitude)
    known = [each for each in places if each is not None]
    return len(known) < len(places) or distance_km(*known) <= MAX_DISTANCE_KM


class _Check:
    """The findings so far."""

    def __init__(self, series: WeatherSeries, file: str | None, zone: tzinfo | None) -> None:
        self.zone = zone
        self.series = series
        self.file = file
        self.findings: list[Finding] = []

    def fault(self, problem: str, expected: str) -> None:
        self.findings.append(Finding(problem, file=self.file, expected=expected))

    def caution(self, problem: str, expected: str | None = None) -> None:
        self.findings.append(Finding(problem, file=self.file, expected=expected, severity="caution"))

    def moment(self, moment: datetime) -> str:
        """Return a time on the clock of the site."""
        local = moment.astimezone(self.zone)
        return f"{local:%Y-%m-%d %H:%M} {local.tzname()}"

    def day(self, moment: datetime) -> str:
        """Return a day at the site."""
        return f"{moment.astimezone(self.zone):%Y-%m-%d}"

    def place(self, site: HasLocation) -> None:
        """The weather is of the site, or near it."""
        series = self.series
        if series.latitude is None or series.longitude is None:
            return
        if site.latitude is None or site.longitude is None:
            self.caution(
                f"the weather is for {_place(series.latitude, series.longitude)}; the job names no latitude "
                "and longitude to compare it with"
            )
            return
        distance = distance_km(series.latitude, series.longitude, site.latitude, site.longitude)
        if distance > MAX_DISTANCE_KM:
            self.fault(
                f"the weather is for {_place(series.latitude, series.longitude)}, the job is at "
                f"{_place(site.latitude, site.longitude)}: {distance:.0f} km away",
                f"weather for the site, within {MAX_DISTANCE_KM:.0f} km",
            )

    def time(self, start: datetime, needed_until: datetime) -> None:
        """The weather holds the hours of the pour and a day after it."""
        first, last = self.series.first_hour, self.series.last_hour
        if start > last or needed_until < first:
            self.fault(
                f"the weather is for {self.day(first)} to {self.day(last)}, the job is on {self.day(start)}",
                _HOW_TO_GET_HOURS,
            )
        elif start < first:
            self.fault(
                f"the weather begins at {self.moment(first)}, {_hours(first - start):.1f} h after the pour "
                f"at {self.moment(start)}",
                _HOW_TO_GET_HOURS,
            )
        elif last - start < MIN_HOURS_AFTER_POUR and last < needed_until:
            self.fault(
                f"the weather ends at {self.moment(last)}, {_hours(last - start):.1f} h after the pour",
                "at least 24 h of weather after the pour, better ten days",
            )
        elif last < needed_until:
            self.caution(
                f"the weather ends at {self.moment(last)}; from then until {self.moment(needed_until)} "
                "typical weather is used: the mean day of its last three days, moving over to the mean of "
                "the month, or past years or a typical year (--typical)"
            )

    def age(self, as_of: datetime) -> None:
        """A forecast is fresh, and not from the future."""
        if not (self.series.origin == Origin.FORECAST).any():
            return
        issued = self.series.issued_at
        if issued is None:
            self.caution("the forecast does not say when it was issued, so its age is unknown")
            return
        age = as_of - issued
        if age < timedelta(0):
            self.caution(
                f"the forecast was issued at {self.moment(issued)}, after the time of issue "
                f"{self.moment(as_of)}"
            )
        elif age > FORECAST_STALE_AGE:
            self.caution(
                f"the forecast is {_age(age)} old; much of it may have changed",
                "a new forecast before documents are handed over (handover forecast JOB -o FILE)",
            )
        elif age > FORECAST_OLD_AGE:
            self.caution(f"the forecast is {_age(age)} old", "a new forecast (handover forecast JOB -o FILE)")

    def alerts(self, start: datetime, as_of: datetime) -> None:
        """No warning is in force."""
        for each in alerts_in_force(self.series.alerts, start, as_of):
            onset, until = (self.moment(when) for when in (each.onset, each.until))
            self.caution(
                f"{each.event} ({each.kind}) from {onset} to {until}, issued by {each.sender}; no date is "
                "moved by it"
            )


def _place(latitude: float, longitude: float) -> str:
    north = f"{abs(latitude):.3f} {'N' if latitude >= 0 else 'S'}"
    return f"{north}, {abs(longitude):.3f} {'E' if longitude >= 0 else 'W'}"


def _hours(span: timedelta) -> float:
    return span / timedelta(hours=1)


def _age(age: timedelta) -> str:
    hours = _hours(age)
    return f"{hours:.0f} h" if hours < 48 else f"{hours / 24:.0f} days"  # noqa: PLR2004 - two days
