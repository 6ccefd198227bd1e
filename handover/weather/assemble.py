"""From the columns of a file to an unbroken hourly series: limits, order, gaps, humidity, sky, origin.

    raw columns -> limits -> one value an hour -> common span -> gaps -> humidity -> sky -> rain -> origin

Gaps of one hour are interpolated and reported; longer ones are faults and are never filled.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import numpy as np

from handover.air.psychrometrics import humidity_from_dew_point
from handover.base.arrays import ONE_HOUR, Floats, distinct
from handover.errors import Finding
from handover.weather import sunshine
from handover.weather.quantities import QUANTITY_LIMITS, WeatherQuantity
from handover.weather.raw_weather import RawColumn, RawWeather, TimeArray, format_moment
from handover.weather.resample import instants_at_hours, means_over_hours
from handover.weather.series import Origin, WeatherSeries, aware, utc64

if TYPE_CHECKING:
    from datetime import tzinfo

    from numpy.typing import NDArray

    from handover.weather.location import HasLocation

HUMIDITY_METHOD = "saturation pressures of the ASHRAE handbook, over water"

LONGEST_HOURS = 1100 * 24  # three years; more is a mistake, and would only take memory
_GROUND_M = (-500.0, 9000.0)  # no ground is lower or higher; anything else is refused

Hours = dict[WeatherQuantity, Floats]
Sparse = dict[WeatherQuantity, tuple[TimeArray, Floats]]

_STATES = (
    WeatherQuantity.AIR,
    WeatherQuantity.DEW_POINT,
    WeatherQuantity.HUMIDITY,
    WeatherQuantity.WIND,
    WeatherQuantity.CLOUD,
)
_SKY = (WeatherQuantity.CLOUD, WeatherQuantity.SHORTWAVE)


@dataclass
class _Notes:
    """The findings and methods of a series in the making."""

    file: str
    zone: tzinfo
    findings: list[Finding] = field(default_factory=list)
    methods: list[str] = field(default_factory=list)

    def fault(
        self,
        problem: str,
        *,
        expected: str | None = None,
        example: str | None = None,
        field: str | None = None,
        line: int | None = None,
    ) -> None:
        self.findings.append(Finding(problem, self.file, line, field, expected, example))

    def moment(self, moment: np.datetime64) -> str:
        """Return a time on the clock of the site, for a caution; a fault has it as the file does, in UTC."""
        local = aware(moment).astimezone(self.zone)
        return f"{local:%Y-%m-%d %H:%M} {local.tzname()}"

    def caution(self, problem: str) -> None:
        self.findings.append(Finding(problem, file=self.file, severity="caution"))

    def has_fault(self) -> bool:
        return any(finding.severity == "fault" for finding in self.findings)


def assemble(
    raw: RawWeather, file: str, site: HasLocation
) -> tuple[WeatherSeries | None, tuple[Finding, ...]]:
    """Return the series without gaps from the columns of a file, with faults and cautions.

    Args:
        raw: What the reader found.
        file: Name of the file, for the findings.
        site: Place of the slab; used for the sun where the file names no place of its own.

    Returns:
        The series, or None where there is a fault; and the findings.
    """
    notes = _Notes(file, ZoneInfo(site.timezone or "UTC"), methods=list(raw.methods))
    series = _series(raw, site, notes)
    return (None if notes.has_fault() else series), tuple(notes.findings)


def _series(raw: RawWeather, site: HasLocation, notes: _Notes) -> WeatherSeries | None:
    sparse: Sparse = {}
    for quantity, column in raw.columns.items():
        accepted = _within_limits(quantity, column, notes)
        sparse[quantity] = _resample(quantity, column, accepted, notes)
    _require_columns(sparse, raw, notes)
    if notes.has_fault() or raw.unread:
        return None
    sparse = _whole_hours(sparse, notes)
    _require_columns(sparse, raw, notes)
    if notes.has_fault():
        return None
    time = _common_span(sparse, notes)
    if time is None:
        return None
    hours = {quantity: _on_grid(time, *known) for quantity, known in sparse.items()}
    _fill_humidity(hours, raw, notes)
    _fill_gaps(time, hours, raw, notes)
    if notes.has_fault():
        return None
    _fill_sky(time, hours, raw, site, notes)
    _fill_rain(time, hours, notes)
    if notes.has_fault():
        return None
    return WeatherSeries(
        time=time,
        air_c=hours[WeatherQuantity.AIR],
        relative_humidity=hours[WeatherQuantity.HUMIDITY],
        wind_ms=hours[WeatherQuantity.WIND],
        cloud=hours[WeatherQuantity.CLOUD],
        shortwave_wm2=hours[WeatherQuantity.SHORTWAVE],
        precipitation_mm=hours[WeatherQuantity.RAIN],
        precipitation_probability=hours.get(WeatherQuantity.RAIN_CHANCE, np.full(len(time), np.nan)),
        origin=_origin(time, raw),
        source=raw.source,
        issued_at=raw.issued_at,
        latitude=raw.latitude,
        longitude=raw.longitude,
        methods=tuple(notes.methods),
        uncertainty=raw.uncertainty,
        alerts=raw.alerts,
    )


def _within_limits(quantity: WeatherQuantity, column: RawColumn, notes: _Notes) -> Floats:
    """Return the column clipped to its limits; a value far beyond them is a fault."""
    limits = QUANTITY_LIMITS[quantity]
    wild = (column.value < limits.low) | (column.value > limits.high) | np.isinf(column.value)
    if wild.any():
        first = int(np.flatnonzero(wild)[np.argmin(column.time[wild])])
        others = int(wild.sum()) - 1
        also = f" (and in {others} more hour{'s' if others > 1 else ''})" if others else ""
        notes.fault(
            f"{limits.title} of {column.value[first]:g} {limits.unit} at "
            f"{format_moment(column.time[first])}{also} "
            "is not possible",
            line=int(column.line[first]) if column.line is not None else None,
            field=column.name,
            expected=f"{limits.low:g} to {limits.high:g} {limits.unit}; look at the unit the file names",
        )
    return np.clip(column.value, limits.clip_low, limits.clip_high)


def _resample(
    quantity: WeatherQuantity, column: RawColumn, value: Floats, notes: _Notes
) -> tuple[TimeArray, Floats]:
    """Return the known values in order of time; two different values for one hour are a fault."""
    known = ~np.isnan(value)
    order = np.lexsort((value[known], column.time[known]))
    time, value = column.time[known][order], value[known][order]
    again = np.flatnonzero(time[1:] == time[:-1]) + 1
    disagree = again[~np.isclose(value[again], value[again - 1], rtol=1e-9, atol=1e-9)]
    if len(disagree):
        at = disagree[0]
        others = len(disagree) - 1
        notes.fault(
            f"two values of {QUANTITY_LIMITS[quantity].title} for {format_moment(time[at])}: "
            f"{value[at - 1]:g} and {value[at]:g}" + (f", and {others} more such" if others else ""),
            field=column.name,
            expected="one value for each hour",
        )
    once = np.ones(len(time), dtype=bool)
    once[again] = False
    return time[once], value[once]


def _require_columns(sparse: Sparse, raw: RawWeather, notes: _Notes) -> None:
    """Find quantities that are missing altogether."""
    available = {quantity for quantity, (time, _) in sparse.items() if len(time)}

    def miss(what: str, *wanted: WeatherQuantity) -> None:
        if available.isdisjoint(wanted) and raw.unread.isdisjoint(wanted):
            null = next((raw.columns[each].name for each in wanted if each in raw.columns), None)
            notes.fault(
                f"no value of {what} in the whole column" if null else f"no {what}",
                field=null,
                expected=" or ".join(f"{QUANTITY_LIMITS[each].title}" for each in wanted) + ", hour by hour",
                example=QUANTITY_LIMITS[wanted[0]].example,
            )

    miss("air temperature", WeatherQuantity.AIR)
    miss("humidity", WeatherQuantity.HUMIDITY, WeatherQuantity.DEW_POINT)
    miss("wind speed", WeatherQuantity.WIND)
    miss("sunshine and no cloud", WeatherQuantity.SHORTWAVE, WeatherQuantity.CLOUD)


def _whole_hours(sparse: Sparse, notes: _Notes) -> Sparse:
    """Bring readings that are not whole hours apart to whole hours."""
    moments = distinct(np.concatenate([time for time, _ in sparse.values()]))
    if not ((moments - moments[0]) % ONE_HOUR).astype(np.int64).any():
        return sparse
    if (moments[-1] - moments[0]) // ONE_HOUR > LONGEST_HOURS:
        return sparse  # reported for the common span
    notes.methods.append(
        "Readings brought to whole hours: states interpolated between readings at most two hours apart, "
        "sunshine averaged, precipitation summed, its highest probability kept."
    )
    return {
        quantity: instants_at_hours(time, value)
        if quantity in _STATES
        else means_over_hours(quantity, time, value)
        for quantity, (time, value) in sparse.items()
        if len(time)
    }


def _common_span(sparse: Sparse, notes: _Notes) -> TimeArray | None:
    """Return the hours that every needed quantity spans; report a quantity that cuts the others short."""
    groups = {
        "air temperature": (WeatherQuantity.AIR,),
        "humidity": (WeatherQuantity.HUMIDITY, WeatherQuantity.DEW_POINT),
        "wind speed": (WeatherQuantity.WIND,),
        "sunshine and cloud": _SKY,
    }
    ends = {title: _ends(sparse, quantities) for title, quantities in groups.items()}
    first, last = max(ends, key=lambda title: ends[title][0]), min(ends, key=lambda title: ends[title][1])
    start, stop = ends[first][0], ends[last][1]
    if stop < start:
        notes.fault(f"{last} ends at {format_moment(stop)}, before {first} begins at {format_moment(start)}")
        return None
    count = int((stop - start) // ONE_HOUR) + 1
    if count > LONGEST_HOURS:
        notes.fault(
            f"the hours run from {format_moment(start)} to {format_moment(stop)}",
            expected="the weeks around the pour, at most three years",
        )
        return None
    earliest, latest = min(end[0] for end in ends.values()), max(end[1] for end in ends.values())
    if start - earliest > ONE_HOUR:
        notes.caution(f"{first} begins only at {notes.moment(start)}; the hours before it are not used")
    if latest - stop > ONE_HOUR:
        notes.caution(f"{last} ends at {notes.moment(stop)}; the hours after it are not used")
    return np.asarray(start + np.arange(count) * ONE_HOUR)


def _ends(sparse: Sparse, quantities: tuple[WeatherQuantity, ...]) -> tuple[np.datetime64, np.datetime64]:
    """Return the first and the last instant at which any of the quantities has a value."""
    times = [
        sparse[quantity][0] for quantity in quantities if quantity in sparse and len(sparse[quantity][0])
    ]
    return min(time[0] for time in times), max(time[-1] for time in times)


def _on_grid(time: TimeArray, known: TimeArray, value: Floats) -> Floats:
    """Return the values on the axis, NaN where the file has none."""
    grid = np.full(len(time), np.nan)
    within = (known >= time[0]) & (known <= time[-1])
    grid[((known[within] - time[0]) // ONE_HOUR).astype(np.int64)] = value[within]
    return grid


def _fill_humidity(hours: Hours, raw: RawWeather, notes: _Notes) -> None:
    """Fill the humidity from the dew point where the file has no humidity."""
    measured = hours.get(WeatherQuantity.HUMIDITY, np.full(len(hours[WeatherQuantity.AIR]), np.nan))
    if WeatherQuantity.DEW_POINT in hours:
        computed = humidity_from_dew_point(hours[WeatherQuantity.AIR], hours[WeatherQuantity.DEW_POINT])
        filled = np.isnan(measured) & ~np.isnan(computed)
        if filled.any():
            measured = np.where(filled, computed, measured)
            which = "all" if filled.all() else f"{int(filled.sum())}"
            name = raw.columns[WeatherQuantity.DEW_POINT].name
            notes.methods.append(
                f"Relative humidity of {which} hours from the dew point ({name}): {HUMIDITY_METHOD}."
            )
    hours[WeatherQuantity.HUMIDITY] = measured


def _fill_gaps(time: TimeArray, hours: Hours, raw: RawWeather, notes: _Notes) -> None:
    """Interpolate gaps of one hour; gather longer ones, the same hours of several columns in one finding."""
    gaps: dict[tuple[int, int], list[WeatherQuantity]] = {}
    for quantity in (
        WeatherQuantity.AIR,
        WeatherQuantity.HUMIDITY,
        WeatherQuantity.WIND,
        *_SKY,
        WeatherQuantity.RAIN,
    ):
        if quantity not in hours:
            continue
        value = hours[quantity]
        for first, last in _inner_gaps(value):
            if first == last:
                value[first] = (value[first - 1] + value[first + 1]) / 2
                notes.methods.append(
                    f"{QUANTITY_LIMITS[quantity].title.capitalize()} at {format_moment(time[first])} "
                    "interpolated "
                    "between the hours beside it."
                )
            else:
                gaps.setdefault((first, last), []).append(quantity)
    for (first, last), quantities in sorted(gaps.items()):
        notes.fault(
            f"{last - first + 1} hours are missing, from {format_moment(time[first])} to "
            f"{format_moment(time[last])}: "
            + ", ".join(QUANTITY_LIMITS[quantity].title for quantity in quantities),
            field=", ".join(raw.columns[q].name for q in quantities if q in raw.columns) or None,
            expected="every hour; a gap of one hour is interpolated, a longer one is not",
        )


def _inner_gaps(value: Floats) -> list[tuple[int, int]]:
    """Return first and last index of each stretch of NaN that has a value on both sides."""
    known_hours = np.flatnonzero(~np.isnan(value))
    jumps = np.flatnonzero(np.diff(known_hours) > 1)
    return [(int(known_hours[at]) + 1, int(known_hours[at + 1]) - 1) for at in jumps]


def _fill_sky(time: TimeArray, hours: Hours, raw: RawWeather, site: HasLocation, notes: _Notes) -> None:
    """Compute sunshine from cloud, or cloud from sunshine, where the file has only one of them."""
    nothing = np.full(len(time), np.nan)
    cloud = hours.get(WeatherQuantity.CLOUD, nothing)
    shortwave = hours.get(WeatherQuantity.SHORTWAVE, nothing)
    hours[WeatherQuantity.CLOUD], hours[WeatherQuantity.SHORTWAVE] = cloud, shortwave
    no_cloud, no_sun = np.isnan(cloud), np.isnan(shortwave)
    if not (no_cloud.any() or no_sun.any()):
        return
    if (no_cloud & no_sun).any():
        at = time[no_cloud & no_sun][0]
        notes.fault(
            f"neither sunshine nor cloud at {format_moment(at)}", expected="one of them for every hour"
        )
        return
    place = _place_of_sky(raw, site, notes)
    if place is None:
        return
    if no_sun.any():
        held = np.interp(np.arange(len(time)), np.flatnonzero(~no_cloud), cloud[~no_cloud])
        computed = sunshine.sunshine_from_cloud(time, held, *place)
        hours[WeatherQuantity.SHORTWAVE] = np.where(no_sun, computed, shortwave)
        notes.methods.append(
            f"Sunshine of {_hours_in_words(no_sun)} hours from cloud: {sunshine.CLEAR_SKY}; "
            f"{sunshine.CLOUD_REDUCTION}."
        )
    if no_cloud.any():
        hours[WeatherQuantity.CLOUD] = _cloud(time, cloud, shortwave, place, notes)


def _cloud(
    time: TimeArray, cloud: Floats, shortwave: Floats, place: tuple[float, float, float | None], notes: _Notes
) -> Floats:
    """Return the cloud with what is missing computed from the sunshine."""
    missing = np.isnan(cloud)
    lit = ~np.isnan(shortwave)
    computed = sunshine.cloud_from_sunshine(time[lit], shortwave[lit], *place)
    if computed is None:
        notes.methods.append(
            f"Cloud of {_hours_in_words(missing)} hours taken as one half: no daylight to compute it from."
        )
        return np.where(missing, 0.5, cloud)
    notes.methods.append(
        f"Cloud of {_hours_in_words(missing)} hours from sunshine: {sunshine.CLOUD_REDUCTION}, turned round, "
        f"with {sunshine.CLEAR_SKY}; carried through the night."
    )
    grid = np.full(len(time), np.nan)
    grid[lit] = computed
    return np.where(missing, grid, cloud)


def _hours_in_words(which: NDArray[np.bool_]) -> str:
    return "all" if which.all() else str(int(which.sum()))


def _place_of_sky(
    raw: RawWeather, site: HasLocation, notes: _Notes
) -> tuple[float, float, float | None] | None:
    low, high = _GROUND_M
    elevation = raw.elevation_m if raw.elevation_m is not None and low <= raw.elevation_m <= high else None
    if raw.latitude is not None and raw.longitude is not None:
        return raw.latitude, raw.longitude, elevation
    if site.latitude is not None and site.longitude is not None:
        return site.latitude, site.longitude, elevation
    notes.fault(
        "sunshine or cloud is missing and has to be computed, but the place is not known",
        expected="site.latitude and site.longitude in the job record, or both columns in the weather file",
        example="latitude = 36.07",
    )
    return None


def _fill_rain(time: TimeArray, hours: Hours, notes: _Notes) -> None:
    """Assume no rain where the file has none: watering then continues, which is the cautious side."""
    rain = hours.get(WeatherQuantity.RAIN)
    if rain is None or np.isnan(rain).all():
        hours[WeatherQuantity.RAIN] = np.zeros(len(time))
        notes.methods.append("The file has no precipitation; none is assumed.")
        notes.caution("no precipitation in the file; the watering plan takes every day as dry")
        return
    known_hours = np.flatnonzero(~np.isnan(rain))
    before, after = int(known_hours[0]), len(time) - 1 - int(known_hours[-1])
    if before:
        notes.methods.append(
            f"Precipitation begins at {format_moment(time[known_hours[0]])}; none is assumed before."
        )
    if after:
        notes.methods.append(
            f"Precipitation ends at {format_moment(time[known_hours[-1]])}; none is assumed after."
        )
    if after > 1:
        notes.caution(
            f"precipitation ends at {notes.moment(time[known_hours[-1]])}, before the rest of the forecast; "
            "later days are taken as dry"
        )
    hours[WeatherQuantity.RAIN] = np.nan_to_num(rain)


def _origin(time: TimeArray, raw: RawWeather) -> NDArray[np.int8]:
    """Return where each hour's values come from; of several readings within an hour, the weakest."""
    if isinstance(raw.origin, Origin):
        return np.full(len(time), raw.origin, dtype=np.int8)
    if raw.origin is not None:
        origins = np.array(list(raw.origin), dtype="datetime64[s]")
        hour = -((time[0] - origins) // ONE_HOUR)  # the first hour at or after each reading
        origin = np.full(len(time), -1, dtype=np.int8)
        within = (hour >= 0) & (hour < len(time))
        codes = np.array(list(raw.origin.values()), dtype=np.int8)
        np.maximum.at(origin, hour[within].astype(np.int64), codes[within])
        return np.where(origin < 0, Origin.FORECAST, origin).astype(np.int8)
    if raw.issued_at is None:
        return np.full(len(time), Origin.FORECAST, dtype=np.int8)
    return np.where(time <= utc64(raw.issued_at), Origin.OBSERVED, Origin.FORECAST).astype(np.int8)
