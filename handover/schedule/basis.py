"""The weather behind a schedule: its hours, and the kind of the hours that a date depends on."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import TYPE_CHECKING

import numpy as np

from handover.schedule.model import Alert, Basis, Room, WeatherBasis, WeatherSpread
from handover.schedule.surroundings import room_state
from handover.weather.alerts import alerts_in_force
from handover.weather.series import Origin, aware
from handover.weather.uncertainty import ForecastMembers

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from handover.base.arrays import Floats
    from handover.jobs.record import JobRecord
    from handover.weather.series import WeatherSeries

BasisOf = Callable[[datetime], Basis]
"""The weakest kind of weather hour up to an instant."""

_HUMIDITY_OF_ROOM = (
    "Relative humidity of the room: air from outdoors at the temperature of the room, at most that outdoors. "
    "Wind in the room: a share of that outdoors; no sun, no sky, no rain."
)

_KINDS: dict[int, Basis] = {
    Origin.OBSERVED: "observed",
    Origin.FORECAST: "forecast",
    Origin.TYPICAL: "typical",
}


def basis_of(weather: WeatherSeries) -> BasisOf:
    """Return a function that gives the weakest kind of hour up to an instant."""
    known = weather.seconds
    weakest = np.maximum.accumulate(weather.origin)

    def basis(until: datetime) -> Basis:
        at = int(np.searchsorted(known, until.timestamp()))
        return _KINDS[int(weakest[min(at, len(weakest) - 1)])]

    return basis


def weather_basis(
    job: JobRecord, received: WeatherSeries, extended: WeatherSeries, as_of: datetime
) -> WeatherBasis:
    """Return the weather of a schedule: its source, its age, and its hours from the placement on.

    Args:
        job: The record.
        received: The weather as received.
        extended: The same, extended to the horizon.
        as_of: Time of issue, aware: a warning that has ended by then is left out.
    """
    kept = _from_placement(job, extended)
    typical_from = extended.typical_from
    columns = ("air_c", "relative_humidity", "wind_ms", "shortwave_wm2", "precipitation_mm")
    return WeatherBasis(
        source=received.source,
        issued_at=received.issued_at,
        first_hour=received.first_hour.astimezone(job.zone),
        last_hour=received.last_hour.astimezone(job.zone),
        typical_from=typical_from and typical_from.astimezone(job.zone),
        methods=(*extended.methods, *(() if room_state(job) is None else (_HUMIDITY_OF_ROOM,))),
        time=extended.time[kept],
        precipitation_probability=extended.precipitation_probability[kept],
        spread=_spread(job, received),
        alerts=tuple(
            Alert(
                each.kind,
                each.event,
                each.onset.astimezone(job.zone),
                each.until.astimezone(job.zone),
                each.sender,
            )
            for each in alerts_in_force(received.alerts, job.placement.start, as_of)
        ),
        **{name: getattr(extended, name)[kept] for name in columns},
    )


def room_basis(job: JobRecord, extended: WeatherSeries, air_c: Floats) -> Room | None:
    """Return the air of the room from the placement on; None where the slab is not indoors.

    Args:
        job: The record.
        extended: The weather, extended to the horizon, n hours.
        air_c: Around the slab at these hours, in degC, shape (n,).
    """
    state = room_state(job)
    return None if state is None else Room(state, air_c[_from_placement(job, extended)])


def _from_placement(job: JobRecord, extended: WeatherSeries) -> NDArray[np.bool_]:
    """Return which hours are those from the placement on, shape (n,)."""
    first = np.datetime64(int(job.placement.start.timestamp()) // 3600 * 3600, "s")
    return np.asarray(extended.time >= first)


def _spread(job: JobRecord, received: WeatherSeries) -> WeatherSpread | None:
    """Return where the spread of the forecast comes from, None where its service gives none."""
    stated = received.uncertainty
    forecast = received.time[received.origin == Origin.FORECAST]
    last = None if stated is None else stated.last_hour(forecast)
    if stated is None or last is None:
        return None
    members = stated.count if isinstance(stated, ForecastMembers) else 0
    return WeatherSpread(stated.kind, stated.source, members, aware(last).astimezone(job.zone))
