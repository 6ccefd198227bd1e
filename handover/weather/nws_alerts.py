"""Warnings of frost, heat and wind of the United States National Weather Service (``/alerts/active``).

    {"type": "FeatureCollection", "features": [{"properties": {"event": "Freeze Warning", "status": "Actual",
      "messageType": "Alert", "onset": ..., "ends": ..., "expires": ..., "senderName": ...}}, ...]}

Source:
    National Weather Service, documentation of api.weather.gov, alerts; names of the events as it issues them.
    Those of cold and heat were renamed in 2024 and 2025; the earlier names are read as well.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from handover.base.text import short_line
from handover.errors import Finding
from handover.weather.alerts import WeatherAlert
from handover.weather.raw_weather import parse_instant

if TYPE_CHECKING:
    from datetime import datetime

    from handover.weather.alerts import AlertKind

_EVENTS: dict[AlertKind, tuple[str, ...]] = {
    "cold": (
        "Frost Advisory",
        "Freeze Watch",
        "Freeze Warning",
        "Hard Freeze Watch",
        "Hard Freeze Warning",
        "Cold Weather Advisory",
        "Extreme Cold Watch",
        "Extreme Cold Warning",
        "Wind Chill Advisory",
        "Wind Chill Watch",
        "Wind Chill Warning",
    ),
    "heat": (
        "Heat Advisory",
        "Extreme Heat Watch",
        "Extreme Heat Warning",
        "Excessive Heat Watch",
        "Excessive Heat Warning",
    ),
    "wind": ("Wind Advisory", "High Wind Watch", "High Wind Warning", "Extreme Wind Warning"),
}
_KINDS = {event: kind for kind, events in _EVENTS.items() for event in events}
_SERVICE = "National Weather Service"
_MOST = 12


def is_alerts(document: object) -> bool:
    """Return whether a JSON document is an answer with warnings, or with none."""
    return isinstance(document, Mapping) and isinstance(document.get("features"), list)


def read_alerts(document: object, file: str) -> tuple[tuple[WeatherAlert, ...], list[Finding]]:
    """Return the warnings of cold, heat and wind of an answer, by onset, with cautions.

    Tests, exercises and cancelled warnings are left out.
    """
    if not (isinstance(document, Mapping) and is_alerts(document)):
        problem = "has no warnings in the form of the National Weather Service; there may be some"
        return (), [Finding(problem, file=file, field="alerts", severity="caution")]
    found: set[WeatherAlert] = set()
    undated: list[str] = []
    for feature in document["features"]:
        properties = feature.get("properties") if isinstance(feature, Mapping) else None
        if not isinstance(properties, Mapping) or not _is_in_force(properties):
            continue
        alert = _alert(properties)
        if alert is None:
            undated.append(properties["event"])
        else:
            found.add(alert)
    ordered = sorted(found, key=lambda each: (each.onset, each.until, each.event, each.sender))[:_MOST]
    doubts = [
        Finding(
            f"{event} of the {_SERVICE} does not say from when until when it holds; look it up",
            file=file,
            severity="caution",
        )
        for event in sorted(set(undated))
    ]
    return tuple(ordered), doubts


def _is_in_force(properties: Mapping[str, Any]) -> bool:
    """Return whether a warning is of cold, heat or wind, and neither a test nor cancelled."""
    event = properties.get("event")
    return (
        isinstance(event, str)
        and event in _KINDS
        and properties.get("status", "Actual") == "Actual"
        and properties.get("messageType") != "Cancel"
    )


def _alert(properties: Mapping[str, Any]) -> WeatherAlert | None:
    """Return a warning, or None where it has no times."""
    onset = _first_instant(properties, "onset", "effective", "sent")
    until = _first_instant(properties, "ends", "expires")
    if onset is None or until is None or until <= onset:
        return None
    event, sender = properties["event"], properties.get("senderName")
    named = short_line(sender) if isinstance(sender, str) and sender.strip() else _SERVICE
    return WeatherAlert(_KINDS[event], event, onset, until, named)


def _first_instant(properties: Mapping[str, Any], *names: str) -> datetime | None:
    """Return the first of some times that is one, aware."""
    times = (parse_instant(properties.get(name)) for name in names)
    return next((each for each in times if each is not None and each.tzinfo is not None), None)
