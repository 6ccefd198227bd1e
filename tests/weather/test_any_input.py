"""Whatever comes in, a series or a finding comes out: never an exception, never half of each."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING, Any

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from handover.base.arrays import ONE_HOUR

if TYPE_CHECKING:
    from collections.abc import Callable

    from handover.weather.reading import ExaminedWeather

MANY = settings(
    max_examples=100,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
    derandomize=True,
)

ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**30), 10**30),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(max_size=12),
    st.builds(list),
    st.builds(dict),
    st.builds(lambda: [None, {"value": 1}]),
    st.just("2026-07-14T05:00:00+00:00/PT3H"),
)

COLUMNS = ("air_c", "relative_humidity", "wind_ms", "cloud", "shortwave_wm2", "precipitation_mm", "origin")


def judged(examined: ExaminedWeather) -> None:
    """Check that what came out is whole."""
    series, findings = examined
    if series is None:
        assert any(finding.severity == "fault" for finding in findings)
        assert all("\n" not in str(finding) for finding in findings)
        return
    assert np.all(np.diff(series.time) == ONE_HOUR)
    for name in (
        "air_c",
        "relative_humidity",
        "wind_ms",
        "cloud",
        "shortwave_wm2",
        "precipitation_mm",
        "origin",
    ):
        column = getattr(series, name)
        assert len(column) == len(series)
        assert np.isfinite(column).all(), name


def spoil(document: Any, data: st.DataObject) -> None:
    """Put something odd at some depth of a document."""
    here = document
    while True:
        key = data.draw(st.sampled_from(sorted(here) if isinstance(here, dict) else range(len(here))))
        deeper = here[key]
        if not isinstance(deeper, dict | list) or not deeper or data.draw(st.integers(0, 3)) == 0:
            here[key] = data.draw(ODD)
            return
        here = deeper


@MANY
@given(data=st.data())
def test_spoilt_open_meteo(files: Any, examine: Callable[..., ExaminedWeather], data: st.DataObject) -> None:
    document = files.open_meteo()
    for _ in range(data.draw(st.integers(1, 4))):
        spoil(document, data)
    judged(examine(document))


@MANY
@given(data=st.data())
def test_spoilt_nws(files: Any, examine: Callable[..., ExaminedWeather], data: st.DataObject) -> None:
    document = files.nws()
    for _ in range(data.draw(st.integers(1, 4))):
        spoil(document, data)
    judged(examine(document))


@MANY
@given(data=st.data())
def test_spoilt_parts_beside_a_forecast(
    files: Any, examine: Callable[..., ExaminedWeather], data: st.DataObject
) -> None:
    parts = {"members": files.ensemble(6, 12), "alerts": files.alerts("Freeze Warning", "Heat Advisory")}
    for _ in range(data.draw(st.integers(1, 4))):
        spoil(parts, data)
    examined = examine({"forecast": files.open_meteo(), **parts})
    assert examined[0] is not None
    judged(examined)


@MANY
@given(data=st.data())
def test_spoilt_met_norway(files: Any, examine: Callable[..., ExaminedWeather], data: st.DataObject) -> None:
    document = files.met_norway(30, 4)
    for entry in document["properties"]["timeseries"]:
        details = entry["data"]["instant"]["details"]
        details |= {"air_temperature_percentile_10": 15.0, "air_temperature_percentile_90": 25.0}
    for _ in range(data.draw(st.integers(1, 4))):
        spoil(document, data)
    judged(examine(document))


@MANY
@given(data=st.data())
def test_spoilt_table(files: Any, examine: Callable[..., ExaminedWeather], data: st.DataObject) -> None:
    text = files.table(hours=30)
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(text)))
        cut = data.draw(st.integers(0, 12))
        text = text[:at] + data.draw(st.text(max_size=6)) + text[at + cut :]
    judged(examine(text.encode("utf-8", "surrogatepass")))


@MANY
@given(st.binary(max_size=200))
def test_any_bytes(examine: Callable[..., ExaminedWeather], data: bytes) -> None:
    judged(examine(data))


@MANY
@given(
    st.recursive(
        ODD, lambda inner: st.lists(inner) | st.dictionaries(st.text(max_size=8), inner), max_leaves=20
    )
)
def test_any_json(examine: Callable[..., ExaminedWeather], document: Any) -> None:
    judged(examine(json.dumps(document)))
