"""Weather files of every supported kind, recognized by their content, never by their name.

National Weather Service raw grid (JSON)    handover.weather.nws
Open-Meteo hourly answer (JSON)             handover.weather.open_meteo
MET Norway Locationforecast (JSON)          handover.weather.met_norway
NASA POWER hourly answer (JSON)             handover.weather.nasa_power
table with a heading (CSV)                  handover.weather.table
typical year (TMY3, EPW)                    handover.weather.typical_year
a forecast with its members or warnings     handover.weather.joined_answers
"""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

from handover.base.text import short_line
from handover.errors import Finding, UnusableInput
from handover.weather import met_norway, nasa_power, nws, open_meteo, table, typical_year
from handover.weather.assemble import assemble
from handover.weather.joined_answers import is_joined
from handover.weather.nws_alerts import read_alerts
from handover.weather.past_years import assemble_past_years, spans_past_years
from handover.weather.series import WeatherSeries

if TYPE_CHECKING:
    from datetime import datetime

    from handover.weather.location import HasLocation
    from handover.weather.raw_weather import RawWeather

MAX_WEATHER_BYTES = 50_000_000  # a typical year has 2 MB, a forecast 0.2 MB

ExaminedWeather = tuple[WeatherSeries | None, tuple[Finding, ...]]

_SUPPORTED = (
    "an hourly forecast of Open-Meteo or MET Norway, a raw grid of the National Weather Service, a CSV with "
    "a heading, or a TMY3 or EPW file"
)
_BINARY_CHARACTERS = re.compile(r"[\x00-\x08\x0e-\x1b\x7f]")


def read_weather(path: Path | str, *, site: HasLocation, year: int | None = None) -> WeatherSeries:
    """Return the weather in a file of any supported kind.

    Args:
        path: The file.
        site: Place of the slab.
        year: Calendar year of the pour; needed for a typical year only.

    Raises:
        UnusableInput: The file has faults; carries all findings.
    """
    series, findings = examine_weather(path, site, year)
    if series is None:
        raise UnusableInput(findings)
    return series


def examine_weather(path: Path | str, site: HasLocation, year: int | None = None) -> ExaminedWeather:
    """Return the weather in a file, or None where it has a fault, with all faults and cautions.

    Args:
        path: The file.
        site: Place of the slab: gives the position of the sun for a file that names no place itself.
        year: Calendar year of the pour; needed for a typical year only.
    """
    data, finding = read_bytes(Path(path))
    if data is None:
        return None, (finding,) if finding else ()
    return examine_weather_bytes(data, str(path), site, year)


def read_bytes(path: Path) -> tuple[bytes | None, Finding | None]:
    """Return a file as it is, or None and why it cannot be read; a file over 50 MB is not read at all."""
    file = short_line(path)
    try:
        if not path.exists():
            return None, Finding("does not exist", file=file, expected=_SUPPORTED)
        if not path.is_file():
            return None, Finding("is not a file", file=file, expected=_SUPPORTED)
        size = path.stat().st_size
        if size > MAX_WEATHER_BYTES:
            return None, _too_large(size, file)
        return path.read_bytes(), None
    except (OSError, ValueError) as error:
        return None, Finding(f"cannot be read: {short_line(error)}", file=file)


def examine_weather_bytes(
    data: bytes, name: str, site: HasLocation, year: int | None = None, *, received_at: datetime | None = None
) -> ExaminedWeather:
    """Return the weather in the bytes of a file, or None where it has a fault, with all faults and cautions.

    Args:
        data: The file as received.
        name: What to call it in the findings.
        site: Place of the slab.
        year: Calendar year of the pour; needed for a typical year only.
        received_at: When a forecast was downloaded, aware: its time of issue where it names none itself.
    """
    file = short_line(name)
    if len(data) > MAX_WEATHER_BYTES:
        return None, (_too_large(len(data), file),)
    raw, findings = _raw(data, file, year, site)
    if raw is None:
        return None, tuple(findings)
    if raw.issued_at is None and raw.origin is None and received_at is not None:
        raw = replace(raw, issued_at=received_at)
    series: WeatherSeries | None
    if year is not None and spans_past_years(raw):
        series, more = assemble_past_years(raw, file, site, year)
    else:
        series, more = assemble(raw, file, site)
    found = (*findings, *more)
    return (None if any(each.severity == "fault" for each in found) else series), found


def _too_large(size: int, file: str) -> Finding:
    return Finding(
        f"{size / 1e6:.0f} MB is too large for hourly weather",
        file=file,
        expected=f"at most {MAX_WEATHER_BYTES / 1e6:.0f} MB",
    )


def _raw(
    data: bytes, file: str, year: int | None, site: HasLocation
) -> tuple[RawWeather | None, list[Finding]]:
    """Return what the right reader finds in the bytes."""
    text = _text(data)
    if text is None:
        return None, [Finding("is not text", file=file, expected=_SUPPORTED)]
    start = text.lstrip()[:1]
    if not start:
        return None, [Finding("is empty", file=file, expected=_SUPPORTED)]
    if start == "<":
        return None, [
            Finding("is a web page or XML, not weather", file=file, expected=_SUPPORTED),
        ]
    if start in "{[":
        return _json(text, file)
    kind = typical_year.format_of(text)
    if kind is not None:
        return typical_year.read_typical_year(text, kind, file, year)
    return table.read_table(text, file, site)


def _text(data: bytes) -> str | None:
    """Return the bytes as text, None where they are none. Spreadsheets still write Windows-1252, UTF-16."""
    encodings = ("utf-16",) if data[:2] in (b"\xff\xfe", b"\xfe\xff") else ("utf-8-sig", "cp1252")
    for encoding in encodings:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        return None if _BINARY_CHARACTERS.search(text) else text.replace("\r\n", "\n").replace("\r", "\n")
    return None


def _json(text: str, file: str) -> tuple[RawWeather | None, list[Finding]]:
    try:
        document = json.loads(text, parse_constant=_no_number)
    except json.JSONDecodeError as error:
        at_end = error.msg.startswith("Unterminated") or error.pos >= len(text.rstrip()) - 1
        problem = "is cut off" if at_end else f"is not JSON: {error.msg}"
        return None, [Finding(problem, file=file, line=error.lineno, expected=_SUPPORTED)]
    except RecursionError:
        return None, [Finding("is not weather: JSON nested too deep", file=file, expected=_SUPPORTED)]
    except ValueError as error:
        return None, [Finding(f"is not JSON: {short_line(error)}", file=file, expected=_SUPPORTED)]
    if isinstance(document, list) and len(document) == 1:
        document = document[0]  # the service's answer for a list of one place
    if isinstance(document, list):
        return None, [
            Finding(
                f"has the weather of {len(document)} places", file=file, expected="the answer for one place"
            )
        ]
    return _document(document, file)


def _no_number(constant: str) -> NoReturn:
    raise ValueError(f"{constant} is not a number of JSON")


def _document(document: Any, file: str) -> tuple[RawWeather | None, list[Finding]]:
    """Return what the right reader finds in a JSON document."""
    if not isinstance(document, Mapping):
        return None, [Finding("is not weather", file=file, expected=_SUPPORTED)]
    if is_joined(document):
        return _read_joined(document, file)
    return _forecast(document, file)


def _read_joined(document: Mapping[str, Any], file: str) -> tuple[RawWeather | None, list[Finding]]:
    """Return a forecast with what came with it; of that, what cannot be read is a caution."""
    raw, findings = _forecast(document["forecast"], file)
    if raw is None:
        return None, findings
    members = document.get("members")
    if isinstance(members, Mapping) and open_meteo.is_open_meteo(members):
        uncertainty, doubts = open_meteo.read_open_meteo_members(members, file)
        raw, findings = replace(raw, uncertainty=uncertainty or raw.uncertainty), [*findings, *doubts]
    elif members is not None:
        problem = "has no members in the form of Open-Meteo; the usual error of forecasts is used"
        findings = [*findings, Finding(problem, file=file, field="members", severity="caution")]
    if "alerts" in document:
        alerts, doubts = read_alerts(document["alerts"], file)
        raw, findings = replace(raw, alerts=alerts), [*findings, *doubts]
    return raw, findings


def _forecast(document: Mapping[str, Any], file: str) -> tuple[RawWeather | None, list[Finding]]:
    """Return what the right reader finds in the answer of a service."""
    if open_meteo.is_open_meteo(document):
        return open_meteo.read_open_meteo(document, file)
    if met_norway.is_met_norway(document):
        return met_norway.read_met_norway(document, file)
    if nasa_power.is_power(document):
        return nasa_power.read_power(document, file)
    if nws.is_nws(document):
        return nws.read_nws(document, file)
    return None, [_not_weather(document, file)]


def _not_weather(document: Mapping[str, Any], file: str) -> Finding:
    """Return the finding for a JSON document that is not weather: mostly a refusal or another answer."""
    refusal = service_refusal(document)
    if refusal is not None:
        return Finding(
            f"is the answer of a service that refused: {refusal}",
            file=file,
            expected="the forecast itself; ask again",
        )
    properties = document.get("properties")
    if isinstance(properties, Mapping) and "forecastGridData" in properties:
        return Finding(
            "names the address of a National Weather Service forecast, but is not the forecast",
            file=file,
            expected=f"what is at {short_line(properties['forecastGridData'])}",
        )
    if isinstance(properties, Mapping) and "periods" in properties:
        return Finding(
            "is the forecast in words and periods, not the raw grid",
            file=file,
            expected="the address without /forecast at its end",
            example="https://api.weather.gov/gridpoints/TAE/58,65",
        )
    return Finding("is JSON, but not weather in a known format", file=file, expected=_SUPPORTED)


def service_refusal(document: Mapping[str, Any]) -> str | None:
    """Return the reason where a JSON document is a service's error answer, else None.

    Open-Meteo: ``{"error": true, "reason": ...}``. National Weather Service: a problem document with
    ``title``, ``status`` and ``detail`` (RFC 9457).
    """
    if document.get("error"):
        return short_line(document.get("reason") or document.get("message") or document["error"])
    if "title" in document and ("status" in document or "detail" in document):
        return short_line(
            ": ".join(str(document[part]) for part in ("title", "detail") if document.get(part))
        )
    return None
