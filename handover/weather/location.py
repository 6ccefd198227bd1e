"""The place of the slab, as far as the weather needs it."""

from __future__ import annotations

from dataclasses import dataclass
from math import asin, cos, radians, sin, sqrt
from typing import Protocol

EARTH_RADIUS_KM = 6371.0088  # mean radius, IUGG 1980


class HasLocation(Protocol):
    """Anything that has a place: a `Location`, the site of a job record."""

    @property
    def latitude(self) -> float | None:
        """Degrees north, or None where not known."""

    @property
    def longitude(self) -> float | None:
        """Degrees east, or None where not known."""

    @property
    def timezone(self) -> str:
        """IANA name of the time zone."""


@dataclass(frozen=True)
class Location:
    """A place on the map.

    Attributes:
        latitude: Degrees north, or None where not known.
        longitude: Degrees east, or None where not known.
        timezone: IANA name of the time zone.
    """

    latitude: float | None
    longitude: float | None
    timezone: str = "UTC"


def distance_km(latitude: float, longitude: float, other_latitude: float, other_longitude: float) -> float:
    """Return the great-circle distance between two places given in degrees, in km.

    Source:
        Haversine formula, on a sphere of the mean radius of the Earth (IUGG 1980); good to 0.5 %.
    """
    phi, other_phi = radians(latitude), radians(other_latitude)
    half_north = (other_phi - phi) / 2
    half_east = radians(other_longitude - longitude) / 2
    chord = sin(half_north) ** 2 + cos(phi) * cos(other_phi) * sin(half_east) ** 2
    return 2 * EARTH_RADIUS_KM * asin(min(1.0, sqrt(chord)))
