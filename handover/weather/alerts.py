"""Warnings of cold, heat and wind that come with a forecast.

A warning is reported to people in the words of its sender. No date is computed from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from datetime import datetime

AlertKind = Literal["cold", "heat", "wind"]


@dataclass(frozen=True)
class WeatherAlert:
    """A warning as its sender issued it.

    Attributes:
        kind: Of what it warns.
        event: Its name, as its sender calls it.
        onset: When the event begins, aware.
        until: When the event ends, or the warning expires where it names no end, aware.
        sender: Who issued it.
    """

    kind: AlertKind
    event: str
    onset: datetime
    until: datetime
    sender: str


def alerts_in_force(
    alerts: tuple[WeatherAlert, ...], start: datetime, at: datetime
) -> tuple[WeatherAlert, ...]:
    """Return the warnings that end after a pour has begun and after a time of issue, both aware."""
    return tuple(each for each in alerts if each.until > max(start, at))
