"""Downloads, against a server on this machine that answers as the two services do, failures included."""

from __future__ import annotations

import contextlib
import gzip
import json
import socket
import ssl
import threading
from collections import defaultdict
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from math import inf
from typing import TYPE_CHECKING, Any
from urllib.parse import parse_qs, urlsplit

import httpx2
import pytest
import trustme

from handover import __version__
from handover.errors import DownloadFailed
from handover.weather import Location
from handover.weather import download as downloads
from handover.weather.download import (
    DOWNLOAD_THREAD,
    Download,
    Endpoints,
    RetryPolicy,
    download_forecast,
    download_past_years,
)

if TYPE_CHECKING:
    from collections.abc import Callable, Iterator
    from pathlib import Path

LIMIT_S = 600.0
"""How long anything may take that is to come: the machine may be busy."""

NOW = datetime(2026, 7, 14, 17, 5, tzinfo=UTC)
POUR = datetime(2026, 7, 14, 10, 40, tzinfo=UTC)
OPEN_METEO = "/v1/forecast"
POINTS = "/points/36.1,-79.95"
GRID = "/gridpoints/RAH/10,20"
ALERTS = "/alerts/active"
ENSEMBLE = "/v1/ensemble"


class Answer:
    """One answer of the server."""

    def __init__(
        self,
        body: Any = b"",
        status: int = 200,
        kind: str = "application/json",
        *,
        length: int | None = None,
        wait: bool = False,
        drip: bool = False,
        **headers: Any,
    ) -> None:
        self.body = body if isinstance(body, bytes) else json.dumps(body).encode()
        self.status = status
        self.kind = kind
        self.length = length
        self.wait = wait
        self.drip = drip
        self.headers = {name.replace("_", "-"): value for name, value in headers.items()}


class Service:
    """A server whose answers are set by path; the last answer of a path is repeated."""

    def __init__(self, security: ssl.SSLContext | None = None) -> None:
        self.answers: dict[str, list[Answer]] = defaultdict(list)
        self.asked: list[tuple[str, dict[str, list[str]], dict[str, str]]] = []
        self.closing = threading.Event()
        service = self

        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                service.answer(self)

            def log_message(self, *_: Any) -> None:
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        self.url = f"http://127.0.0.1:{self.server.server_port}"
        if security is not None:
            self.server.socket = security.wrap_socket(self.server.socket, server_side=True)
            self.url = f"https://localhost:{self.server.server_port}"
        self.thread = threading.Thread(target=self.server.serve_forever, args=(0.02,))
        self.thread.start()

    def answer(self, handler: Any) -> None:
        parts = urlsplit(handler.path)
        self.asked.append((parts.path, parse_qs(parts.query), dict(handler.headers)))
        queue = self.answers[parts.path]
        answer = (
            (queue.pop(0) if len(queue) > 1 else queue[0])
            if queue
            else Answer({"title": "?", "status": 404}, 404)
        )
        if answer.wait:
            self.closing.wait(LIMIT_S)  # says nothing until the test is over
            return
        if answer.drip:  # a header without end
            with contextlib.suppress(OSError):
                handler.wfile.write(b"HTTP/1.0 200 OK\r\nX-Long: ")
                while not self.closing.wait(0.01):
                    handler.wfile.write(b"x")
            return
        handler.send_response(answer.status)
        handler.send_header("Content-Type", answer.kind)
        handler.send_header("Content-Length", str(answer.length or len(answer.body)))
        for name, value in answer.headers.items():
            handler.send_header(name, value)
        handler.end_headers()
        handler.wfile.write(answer.body)

    def paths(self) -> list[str]:
        return [path for path, _, _ in self.asked]

    def close(self) -> None:
        self.closing.set()
        self.server.shutdown()
        self.thread.join()
        self.server.server_close()


@pytest.fixture
def service() -> Iterator[Service]:
    running = Service()
    running.answers[ALERTS] = [Answer({"type": "FeatureCollection", "features": []})]
    yield running
    running.close()


@pytest.fixture
def open_meteo(files: Any) -> Answer:
    """A good answer of Open-Meteo: sixteen days from the midnight before the pour."""
    return Answer(files.open_meteo(16 * 24), kind="application/json; charset=utf-8")


@pytest.fixture
def grid(files: Any) -> dict[str, Any]:
    """A good answer of the National Weather Service, issued three hours before now."""
    document = files.nws()
    document["properties"]["updateTime"] = "2026-07-14T14:00:00+00:00"
    return document


@pytest.fixture
def points(service: Any) -> Answer:
    return Answer({"properties": {"forecastGridData": f"{service.url}{GRID}"}}, kind="application/geo+json")


@pytest.fixture
def pauses() -> list[float]:
    return []


@pytest.fixture
def download(service: Any, site: Location, pauses: list[float]) -> Callable[..., Download]:
    def fetch(place: Any = site, start: Any = POUR, now: Any = NOW, **more: Any) -> Download:
        usual_manners = {"timeout_s": LIMIT_S, "deadline_s": LIMIT_S, "largest_bytes": 1_000_000}
        named = ("timeout_s", "deadline_s", "attempts", "longest_pause_s")
        asked = {name: more.pop(name) for name in named if name in more}
        manners = RetryPolicy(**usual_manners | asked, sleep=pauses.append)
        usual = {
            "contact": "office@example.com",
            "service": "open-meteo",
            "endpoints": Endpoints(*[service.url] * 7),
            "manners": manners,
        }
        return download_forecast(place, start, start + timedelta(days=10), now=now, **usual | more)

    return fetch


def test_the_bytes_as_received(service: Any, download: Callable[..., Download], open_meteo: Any) -> None:
    service.answers[OPEN_METEO] = [open_meteo]
    got = download()
    assert got.data == open_meteo.body
    assert got.service == "open-meteo"
    assert got.fetched_at == NOW
    assert got.url.startswith(f"{service.url}/v1/forecast?")
    (caution,) = got.findings
    assert "non-commercial" in caution.problem


def test_what_is_asked(service: Any, download: Callable[..., Download], open_meteo: Any) -> None:
    service.answers[OPEN_METEO] = [open_meteo]
    download(start=POUR - timedelta(days=2))
    ((path, query, headers),) = service.asked
    assert path == OPEN_METEO
    assert query["latitude"] == ["36.1000"]
    assert query["longitude"] == ["-79.9500"]
    assert query["past_days"] == ["2"]
    assert query["forecast_days"] == ["16"]
    assert query["timezone"] == ["GMT"]
    assert {"temperature_2m", "shortwave_radiation", "wind_speed_10m"} <= set(query["hourly"][0].split(","))
    assert headers["User-Agent"] == f"handover/{__version__} (office@example.com)"


def test_a_key_goes_to_the_service_and_nowhere_else(
    service: Any, download: Callable[..., Download], open_meteo: Any, tmp_path: Path
) -> None:
    service.answers[OPEN_METEO] = [open_meteo]
    got = download(key="invented-key", cache=tmp_path)
    assert service.asked[0][1]["apikey"] == ["invented-key"]
    assert "invented-key" not in got.url
    assert all(b"invented-key" not in each.read_bytes() for each in tmp_path.iterdir())


@pytest.mark.parametrize("contact", ["", " ", "a\r\nX-Evil: 1", "büro@example.com"])
def test_a_contact_is_due(service: Any, download: Callable[..., Download], contact: str) -> None:
    with pytest.raises(DownloadFailed, match="contact"):
        download(contact=contact)
    assert service.asked == []


def test_a_place_is_due(service: Any, download: Callable[..., Download]) -> None:
    with pytest.raises(DownloadFailed, match="latitude"):
        download(place=Location(None, None))
    assert service.asked == []


def test_national_weather_service(
    service: Any, download: Callable[..., Download], points: Any, grid: Any
) -> None:
    service.answers[POINTS] = [points]
    service.answers[GRID] = [Answer(grid, kind="application/geo+json")]
    got = download(service="nws")
    assert got.service == "nws"
    assert json.loads(got.data) == {"forecast": grid, "alerts": {"type": "FeatureCollection", "features": []}}
    assert service.paths() == [POINTS, GRID, ALERTS]
    assert not [finding for finding in got.findings if finding.severity == "fault"]


def test_a_grid_without_the_hours_of_the_pour_says_so(
    service: Any, download: Callable[..., Download], points: Any, grid: Any
) -> None:
    service.answers[POINTS] = [points]
    service.answers[GRID] = [Answer(grid)]
    got = download(service="nws", start=POUR - timedelta(days=1))
    assert any("after the pour" in finding.problem for finding in got.findings)


ABROAD = Location(52.5, 13.4, "Europe/Berlin")
MET_NORWAY = "/weatherapi/locationforecast/2.0/complete"


class TestChoice:
    """By the place, and by the right to use a service."""

    def test_in_the_united_states_their_own_service(
        self, service: Any, download: Callable[..., Download], points: Any, grid: Any
    ) -> None:
        service.answers[POINTS] = [points]
        service.answers[GRID] = [Answer(grid)]
        assert download(service="auto").service == "nws"
        assert service.paths() == [POINTS, GRID, ALERTS]

    def test_elsewhere_met_norway(self, service: Any, download: Callable[..., Download], files: Any) -> None:
        document = files.met_norway(24 * 10, 0)
        document["geometry"]["coordinates"] = [13.4, 52.5, 40]
        service.answers[MET_NORWAY] = [Answer(document)]
        assert download(ABROAD, service="auto").service == "met-norway"
        assert service.paths() == [MET_NORWAY]

    def test_a_key_is_used(self, service: Any, download: Callable[..., Download], open_meteo: Any) -> None:
        service.answers[OPEN_METEO] = [open_meteo]
        got = download(service="auto", key="invented-key")
        assert got.service == "open-meteo"
        assert service.paths() == [OPEN_METEO, ENSEMBLE]
        assert got.findings == ()

    def test_where_the_free_services_lack_the_hours_of_the_pour(
        self, service: Any, download: Callable[..., Download], open_meteo: Any, files: Any
    ) -> None:
        """Then the address that is not for firms, and a caution says so."""
        late = files.met_norway(24 * 10, 0)
        late["properties"]["timeseries"] = late["properties"]["timeseries"][17:]
        service.answers[MET_NORWAY] = [Answer(late)]
        service.answers[OPEN_METEO] = [open_meteo]
        got = download(service="auto")
        assert service.paths() == [POINTS, MET_NORWAY, OPEN_METEO]
        assert got.service == "open-meteo"
        assert [each.severity for each in got.findings] == ["caution"]
        assert "non-commercial" in str(got.findings[0])

    def test_with_nothing_better_the_first_answer_is_returned(
        self, service: Any, download: Callable[..., Download], files: Any
    ) -> None:
        late = files.met_norway(24 * 10, 0)
        late["properties"]["timeseries"] = late["properties"]["timeseries"][17:]
        service.answers[MET_NORWAY] = [Answer(late)]
        got = download(service="auto")
        assert got.service == "met-norway"
        assert any("after the pour" in each.problem for each in got.findings)

    def test_the_next_service_helps_out(
        self, service: Any, download: Callable[..., Download], points: Any, grid: Any
    ) -> None:
        service.answers[OPEN_METEO] = [Answer({"error": True, "reason": "Too many requests"}, 429)]
        service.answers[POINTS] = [points]
        service.answers[GRID] = [Answer(grid)]
        assert download(service="auto", key="invented-key").service == "nws"

    def test_what_each_service_said_and_what_to_do(
        self, service: Any, download: Callable[..., Download]
    ) -> None:
        service.answers[OPEN_METEO] = [Answer({"error": True, "reason": "Out of range"}, 400)]
        outside = {"title": "Data Unavailable For Requested Point", "status": 404, "detail": "outside"}
        service.answers[POINTS] = [Answer(outside, 404, "application/problem+json")]
        with pytest.raises(DownloadFailed) as caught:
            download(service="auto")
        message = str(caught.value)
        assert "Open-Meteo: answered 400: Out of range" in message
        assert (
            "National Weather Service: answered 404: Data Unavailable For Requested Point: outside" in message
        )
        assert "MET Norway: answered 404" in message
        assert "-w" in message
        assert len(service.asked) == 3  # none is asked again


class TestWarnings:
    """Of the National Weather Service, asked beside its forecast."""

    @pytest.fixture(autouse=True)
    def _forecast(self, service: Any, points: Any, grid: Any) -> None:
        service.answers[POINTS] = [points]
        service.answers[GRID] = [Answer(grid)]

    def test_they_are_asked_for_the_place_and_told(
        self, service: Any, download: Callable[..., Download], files: Any, grid: Any
    ) -> None:
        service.answers[ALERTS] = [Answer(files.alerts("Freeze Warning"), kind="application/geo+json")]
        got = download(service="nws")
        path, query, headers = service.asked[-1]
        assert path == ALERTS
        assert query == {"point": ["36.1,-79.95"]}  # an unknown parameter would be refused
        assert "office@example.com" in headers["User-Agent"]
        assert json.dumps(grid).encode() in got.data
        assert [each.severity for each in got.findings if "Freeze Warning" in each.problem] == ["caution"]

    @pytest.mark.parametrize(
        "answer",
        [
            Answer({"title": "Not found", "status": 404}, 404),
            Answer({"title": "Unavailable", "status": 503}, 503),
            Answer({"title": "Bad request", "status": 400}, 400),
            Answer(b"<html>", kind="text/html"),
            Answer(b"{", kind="application/json"),
            Answer(b'{"features": [NaN]}'),
            Answer({"features": {}}),
            Answer([]),
            Answer(b"\xff\xfe", kind="application/json"),
        ],
    )
    def test_without_them_there_is_a_forecast_all_the_same(
        self, service: Any, download: Callable[..., Download], grid: Any, answer: Answer
    ) -> None:
        service.answers[ALERTS] = [answer]
        got = download(service="nws")
        assert json.loads(got.data) == grid
        assert [each.severity for each in got.findings if "there may be some" in each.problem] == ["caution"]

    def test_a_forecast_in_another_encoding_is_kept_alone(
        self, service: Any, download: Callable[..., Download], grid: Any
    ) -> None:
        encoded = json.dumps(grid).encode("utf-16")
        service.answers[GRID] = [Answer(encoded)]
        got = download(service="nws")
        assert got.data == encoded
        assert [each.severity for each in got.findings if "there may be some" in each.problem] == ["caution"]

    def test_they_are_not_waited_for_as_long(
        self, service: Any, download: Callable[..., Download], pauses: list[float]
    ) -> None:
        service.answers[ALERTS] = [Answer({"title": "Unavailable", "status": 503}, 503)]
        download(service="nws")
        assert service.paths().count(ALERTS) == 2
        assert pauses == [1.0]


class TestMembers:
    """Of an ensemble, from the customers' address, beside the forecast."""

    @pytest.fixture(autouse=True)
    def _forecast(self, service: Any, open_meteo: Any) -> None:
        service.answers[OPEN_METEO] = [open_meteo]

    def test_they_are_asked_for_with_the_key(
        self, service: Any, download: Callable[..., Download], open_meteo: Any, files: Any, tmp_path: Path
    ) -> None:
        ensemble = Answer(files.ensemble(16 * 24))
        service.answers[ENSEMBLE] = [ensemble]
        got = download(key="invented-key", cache=tmp_path, start=POUR - timedelta(days=2))
        assert service.paths() == [OPEN_METEO, ENSEMBLE]
        query = service.asked[-1][1]
        assert query["apikey"] == ["invented-key"]
        assert (query["latitude"], query["longitude"]) == (["36.1000"], ["-79.9500"])
        assert query["models"] == ["ncep_gefs_seamless"]
        assert query["timezone"] == ["GMT"]
        assert (query["past_days"], query["forecast_days"]) == (["0"], ["16"])
        assert set(query["hourly"][0].split(",")) == {
            "temperature_2m", "relative_humidity_2m", "wind_speed_10m", "cloud_cover"
        }  # fmt: skip
        assert open_meteo.body in got.data
        assert ensemble.body in got.data
        assert not any("members" in each.problem for each in got.findings)
        assert not any(b"invented-key" in each.read_bytes() for each in tmp_path.rglob("*.json"))

    def test_they_are_kept_until_they_expire(
        self, service: Any, download: Callable[..., Download], files: Any, tmp_path: Path
    ) -> None:
        service.answers[ENSEMBLE] = [Answer(files.ensemble(16 * 24))]
        first, again = (download(key="invented-key", cache=tmp_path) for _ in range(2))
        assert first.data == again.data
        assert service.paths() == [OPEN_METEO, ENSEMBLE]

    def test_the_free_address_is_not_asked(self, service: Any, download: Callable[..., Download]) -> None:
        download()
        assert service.paths() == [OPEN_METEO]

    @pytest.mark.parametrize("status", [400, 401, 402, 403, 404])
    def test_a_plan_without_them_has_its_forecast(
        self, service: Any, download: Callable[..., Download], open_meteo: Any, status: int
    ) -> None:
        service.answers[ENSEMBLE] = [Answer({"error": True, "reason": "not in your plan"}, status)]
        got = download(key="invented-key")
        assert got.data == open_meteo.body
        assert got.findings == ()
        assert service.paths() == [OPEN_METEO, ENSEMBLE]

    @pytest.mark.parametrize(
        "answer",
        [
            Answer({"error": True, "reason": "too many"}, 429),
            Answer({}, 503),
            Answer(b"<html>", kind="text/html"),
            Answer(b"{", kind="application/json"),
            Answer({"hourly": {}}),
            Answer([]),
        ],
    )
    def test_a_failure_is_told_and_the_forecast_used(
        self, service: Any, download: Callable[..., Download], open_meteo: Any, answer: Answer
    ) -> None:
        service.answers[ENSEMBLE] = [answer]
        got = download(key="invented-key")
        assert got.data == open_meteo.body
        (caution,) = got.findings
        assert "no members" in caution.problem
        assert caution.severity == "caution"
        assert "invented-key" not in str(caution)


class TestMetNorway:
    @pytest.fixture
    def answer(self, files: Any) -> Answer:
        return Answer(
            files.met_norway(24 * 10, 0),
            Expires="Tue, 14 Jul 2026 17:30:00 GMT",
            Last_Modified="Tue, 14 Jul 2026 16:58:12 GMT",
        )

    def test_four_decimals_and_a_contact(
        self, service: Any, download: Callable[..., Download], answer: Answer
    ) -> None:
        service.answers[MET_NORWAY] = [answer]
        download(Location(36.123456, -79.9), service="met-norway")
        ((_, query, headers),) = service.asked
        assert query == {"lat": ["36.1235"], "lon": ["-79.9"]}
        assert "office@example.com" in headers["User-Agent"]

    def test_it_is_not_asked_again_before_its_answer_expires(
        self, service: Any, download: Callable[..., Download], answer: Answer, tmp_path: Path
    ) -> None:
        service.answers[MET_NORWAY] = [answer]
        for minutes in (0, 10, 24):
            download(service="met-norway", cache=tmp_path, now=NOW + timedelta(minutes=minutes))
        assert len(service.asked) == 1

    def test_then_only_for_what_has_changed(
        self, service: Any, download: Callable[..., Download], answer: Answer, tmp_path: Path
    ) -> None:
        """The kept answer counts on, with the new expiry."""
        unchanged = Answer(b"", 304, Expires="Tue, 14 Jul 2026 18:30:00 GMT")
        service.answers[MET_NORWAY] = [answer, unchanged]
        first = download(service="met-norway", cache=tmp_path)
        assert "If-Modified-Since" not in service.asked[0][2]
        again = download(service="met-norway", cache=tmp_path, now=NOW + timedelta(minutes=40))
        assert again.data == first.data
        assert service.asked[1][2]["If-Modified-Since"] == "Tue, 14 Jul 2026 16:58:12 GMT"
        download(service="met-norway", cache=tmp_path, now=NOW + timedelta(minutes=80))
        assert len(service.asked) == 2

    def test_a_changed_answer_takes_the_place_of_the_kept_one(
        self, service: Any, download: Callable[..., Download], answer: Answer, files: Any, tmp_path: Path
    ) -> None:
        newer = Answer(files.met_norway(24 * 9, 0), Expires="Tue, 14 Jul 2026 18:30:00 GMT")
        service.answers[MET_NORWAY] = [answer, newer]
        download(service="met-norway", cache=tmp_path)
        got = download(service="met-norway", cache=tmp_path, now=NOW + timedelta(minutes=40))
        assert got.data == newer.body

    def test_unchanged_without_a_kept_answer_is_a_failure(
        self, service: Any, download: Callable[..., Download], tmp_path: Path
    ) -> None:
        service.answers[MET_NORWAY] = [Answer(b"", 304)]
        with pytest.raises(DownloadFailed, match="304"):
            download(service="met-norway", cache=tmp_path)

    def test_a_version_that_will_go_is_still_an_answer(
        self, service: Any, download: Callable[..., Download], answer: Answer
    ) -> None:
        answer.status = 203
        service.answers[MET_NORWAY] = [answer]
        assert download(service="met-norway").data == answer.body


def test_tried_again_with_growing_pauses(
    service: Any, download: Callable[..., Download], open_meteo: Any, pauses: list[float]
) -> None:
    service.answers[OPEN_METEO] = [Answer(status=500), Answer(status=502), Answer(status=503), open_meteo]
    assert download().data == open_meteo.body
    assert pauses == [1, 2, 4]


def test_gives_up_after_four(service: Any, download: Callable[..., Download], pauses: list[float]) -> None:
    service.answers[OPEN_METEO] = [Answer(status=500)]
    with pytest.raises(DownloadFailed, match=r"answered 500 \(4 attempts\)"):
        download(service="open-meteo")
    assert len(service.asked) == 4
    assert pauses == [1, 2, 4]


def test_retry_after_is_honoured(
    service: Any, download: Callable[..., Download], open_meteo: Any, pauses: list[float]
) -> None:
    service.answers[OPEN_METEO] = [Answer(status=503, Retry_After="7"), open_meteo]
    download()
    assert pauses == [7]


def test_a_long_retry_after_is_not_waited_for(
    service: Any, download: Callable[..., Download], pauses: list[float]
) -> None:
    service.answers[OPEN_METEO] = [Answer(status=503, Retry_After="3600")]
    with pytest.raises(DownloadFailed, match="answered 503"):
        download(service="open-meteo")
    assert pauses == []


def test_slow(service: Any, download: Callable[..., Download], open_meteo: Any) -> None:
    """The first answer never comes; on a busy machine some that follow may be late as well."""
    service.answers[OPEN_METEO] = [Answer(wait=True), open_meteo]
    assert download(timeout_s=0.3, attempts=1000, longest_pause_s=inf).data == open_meteo.body
    assert len(service.asked) > 1


def test_slow_for_ever(service: Any, download: Callable[..., Download]) -> None:
    service.answers[OPEN_METEO] = [Answer(wait=True)]
    with pytest.raises(DownloadFailed, match="no answer in time"):
        download(service="open-meteo", timeout_s=0.3)


def test_broken_off(service: Any, download: Callable[..., Download], open_meteo: Any) -> None:
    cut = Answer(open_meteo.body[:500], length=len(open_meteo.body))
    service.answers[OPEN_METEO] = [cut, open_meteo]
    assert download().data == open_meteo.body
    service.answers[OPEN_METEO] = [cut]
    with pytest.raises(DownloadFailed, match="broke off"):
        download(service="open-meteo")


def test_cut_but_said_to_be_whole(service: Any, download: Callable[..., Download], open_meteo: Any) -> None:
    service.answers[OPEN_METEO] = [Answer(open_meteo.body[:500])]
    with pytest.raises(DownloadFailed, match="is cut off"):
        download(service="open-meteo")


@pytest.mark.parametrize("kind", ["text/html", "", "application/octet-stream", "application/jsonp"])
def test_wrong_type(service: Any, download: Callable[..., Download], open_meteo: Any, kind: str) -> None:
    service.answers[OPEN_METEO] = [Answer(open_meteo.body, kind=kind)]
    with pytest.raises(DownloadFailed, match="instead of JSON"):
        download(service="open-meteo")


@pytest.mark.parametrize("body", [b"<html>", b"", {"hourly": {}}, {"error": True, "reason": "no such model"}])
def test_right_type_wrong_content(service: Any, download: Callable[..., Download], body: Any) -> None:
    service.answers[OPEN_METEO] = [Answer(body)]
    with pytest.raises(DownloadFailed, match="Open-Meteo: "):
        download(service="open-meteo")


def test_stale(
    service: Any, download: Callable[..., Download], open_meteo: Any, points: Any, grid: Any
) -> None:
    service.answers[OPEN_METEO] = [open_meteo]
    with pytest.raises(DownloadFailed, match="stale"):
        download(service="open-meteo", now=NOW + timedelta(days=17))
    grid["properties"]["updateTime"] = "2026-07-13T14:00:00+00:00"
    service.answers[POINTS] = [points]
    service.answers[GRID] = [Answer(grid)]
    with pytest.raises(DownloadFailed, match="stale: issued 2026-07-13 14:00 UTC"):
        download(service="nws")


def test_redirects_without_end(service: Any, download: Callable[..., Download]) -> None:
    service.answers[OPEN_METEO] = [Answer(status=302, Location="/v1/forecast")]
    with pytest.raises(DownloadFailed, match="redirects without end"):
        download(service="open-meteo")


def test_a_redirect_is_followed(
    service: Any, download: Callable[..., Download], points: Any, grid: Any
) -> None:
    service.answers[POINTS] = [Answer(status=301, Location="/points/elsewhere")]
    service.answers["/points/elsewhere"] = [points]
    service.answers[GRID] = [Answer(grid)]
    assert download(service="nws").service == "nws"


@pytest.mark.parametrize(
    ("location", "said"),
    [
        ("http://weather.example.com/", "another host"), ("https://weather.example.com/", "another host"),
        ("//169.254.169.254/latest", "another host"), ("http://localhost:1/", "another host"),
        ("http://127.0.0.1:1/", "another port"), ("https://127.0.0.1/", "another port"),
        ("file:///etc/passwd", "another host"), ("http://[", "another host"),
        ("http://a\x7fb/", "InvalidURL"),
    ],
)  # fmt: skip
def test_a_redirect_leads_to_the_same_service_alone(
    service: Any, download: Callable[..., Download], location: str, said: str
) -> None:
    service.answers[OPEN_METEO] = [Answer(status=302, Location=location)]
    with pytest.raises(DownloadFailed, match=said):
        download(service="open-meteo")
    assert service.paths() == [OPEN_METEO]


@pytest.mark.parametrize(
    "address", ["127.0.0.1", "10.1.2.3", "192.168.0.1", "169.254.169.254", "::1", "fe80::1%eth0", "fd00::1"]
)
def test_a_name_that_leads_to_a_private_address_is_not_asked(
    download: Callable[..., Download], address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    public = (socket.AF_INET, socket.SOCK_STREAM, 6, "", ("93.184.215.14", 443))
    private = (socket.AF_INET6, socket.SOCK_STREAM, 6, "", (address, 443))
    monkeypatch.setattr(socket, "getaddrinfo", lambda *_, **__: [public, private])
    for name in ("HTTPS_PROXY", "https_proxy", "HTTP_PROXY", "http_proxy", "ALL_PROXY", "all_proxy"):
        monkeypatch.delenv(name, raising=False)
    with pytest.raises(DownloadFailed, match="not public"):
        download(service="open-meteo", endpoints=Endpoints("https://weather.example.com"))


def test_headers_that_drip_without_end(service: Any, download: Callable[..., Download]) -> None:
    service.answers[OPEN_METEO] = [Answer(drip=True)]
    with pytest.raises(DownloadFailed, match=r"took longer than 0\.3 s \(2 attempts\)"):
        download(service="open-meteo", deadline_s=0.3, attempts=2)
    assert len(service.asked) == 2


def download_threads() -> list[threading.Thread]:
    return [each for each in threading.enumerate() if each.name == DOWNLOAD_THREAD]


def test_no_thread_stays_for_headers_that_drip(
    service: Any, download: Callable[..., Download], points: Answer, until: Callable[..., None]
) -> None:
    service.answers[POINTS] = [points]
    service.answers[GRID] = [Answer(drip=True)]
    with pytest.raises(DownloadFailed, match=r"took longer than 0\.3 s \(2 attempts\)"):
        download(service="nws", deadline_s=0.3, attempts=2)
    until(lambda: not download_threads(), "a thread still waits for the server")


def test_no_thread_stays_for_a_server_that_never_ends_its_handshake(
    download: Callable[..., Download], until: Callable[..., None]
) -> None:
    with socket.create_server(("127.0.0.1", 0)) as mute:
        address = f"https://127.0.0.1:{mute.getsockname()[1]}"
        with pytest.raises(DownloadFailed, match=r"took longer than 0\.3 s"):
            download(service="open-meteo", deadline_s=0.3, attempts=1, endpoints=Endpoints(address))
        until(lambda: not download_threads(), "a thread still waits for the server")


def test_nothing_is_asked_once_nobody_waits_for_the_name(
    service: Any,
    download: Callable[..., Download],
    monkeypatch: pytest.MonkeyPatch,
    until: Callable[..., None],
) -> None:
    over = threading.Event()
    refuse = downloads._refuse_private
    monkeypatch.setattr(downloads, "_refuse_private", lambda address: over.wait(LIMIT_S) and refuse(address))
    with pytest.raises(DownloadFailed, match=r"took longer than 0\.3 s"):
        download(service="open-meteo", deadline_s=0.3, attempts=1)
    over.set()
    until(lambda: not download_threads(), "the thread waits on")
    assert service.asked == []


def test_gzip_is_read_and_nothing_else(
    service: Any, download: Callable[..., Download], open_meteo: Any
) -> None:
    packed = gzip.compress(open_meteo.body)
    service.answers[OPEN_METEO] = [Answer(packed, Content_Encoding="gzip")]
    assert download().data == open_meteo.body
    assert service.asked[-1][2]["Accept-Encoding"] == "gzip"
    for encoding in ("br", "deflate", "zstd", "gzip, gzip"):
        service.answers[OPEN_METEO] = [Answer(packed, Content_Encoding=encoding)]
        with pytest.raises(DownloadFailed, match=f"compressed by {encoding}"):
            download(service="open-meteo")


@pytest.mark.parametrize(
    ("body", "said"),
    [
        (gzip.compress(bytes(50_000_000)), "larger than 1 MB"),
        (gzip.compress(b"[" * 9000)[:40], "broke off"),
        (b"no gzip at all", "garbled"),
    ],
    ids=["a bomb", "cut", "none"],
)
def test_gzip_that_is_no_answer(
    service: Any, download: Callable[..., Download], body: bytes, said: str
) -> None:
    service.answers[OPEN_METEO] = [Answer(body, Content_Encoding="gzip")]
    with pytest.raises(DownloadFailed, match=said):
        download(service="open-meteo")


@pytest.mark.parametrize(
    "fault",
    [
        httpx2.InvalidURL("odd"),
        httpx2.StreamClosed(),
        UnicodeError("odd"),
        RuntimeError("odd"),
        ssl.SSLError(1),
    ],
    ids=lambda fault: type(fault).__name__,
)
def test_whatever_fails_in_the_client_is_a_failed_download(
    download: Callable[..., Download], monkeypatch: pytest.MonkeyPatch, fault: Exception
) -> None:
    def fail(*_: object, **__: object) -> None:
        raise fault

    monkeypatch.setattr(httpx2.Client, "stream", fail)
    with pytest.raises(DownloadFailed, match=type(fault).__name__):
        download(service="open-meteo")


def test_a_list_of_authorities_that_cannot_be_read(
    download: Callable[..., Download], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    (tmp_path / "list.pem").write_text("none")
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / "list.pem"))
    with pytest.raises(DownloadFailed, match="SSL_CERT_FILE"):
        download(service="open-meteo")


def test_no_plain_http_to_another_machine(download: Callable[..., Download]) -> None:
    with pytest.raises(DownloadFailed, match="without HTTPS"):
        download(service="open-meteo", endpoints=Endpoints("http://weather.example.com"))


@pytest.mark.parametrize(
    "grid",
    ["https://elsewhere.example.com/secret", "/gridpoints/../admin", "/gridpoints/RAH/1,2/forecast", 7, None],
)
def test_the_grid_is_asked_of_the_same_service(
    service: Any, download: Callable[..., Download], grid: Any
) -> None:
    service.answers[POINTS] = [Answer({"properties": {"forecastGridData": grid}})]
    with pytest.raises(DownloadFailed, match="grid cell"):
        download(service="nws")
    assert service.paths() == [POINTS]


@pytest.fixture
def authority() -> trustme.CA:
    return trustme.CA()


@pytest.fixture
def secure(authority: trustme.CA) -> Iterator[Service]:
    """Start the service with a certificate of an authority that this machine does not know."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
    authority.issue_cert("localhost").configure_cert(context)
    running = Service(context)
    yield running
    running.close()


def test_a_certificate_of_an_authority_that_the_system_trusts(
    secure: Service,
    download: Callable[..., Download],
    open_meteo: Any,
    authority: trustme.CA,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    file = tmp_path / "authority.pem"
    authority.cert_pem.write_to_path(str(file))
    monkeypatch.setenv("SSL_CERT_FILE", str(file))
    secure.answers[OPEN_METEO] = [open_meteo]
    got = download(endpoints=Endpoints(secure.url, secure.url, secure.url))
    assert got.data == open_meteo.body
    assert got.url.startswith("https://localhost:")


def test_any_other_certificate_is_refused_at_once(
    secure: Service,
    download: Callable[..., Download],
    open_meteo: Any,
    pauses: list[float],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv("SSL_CERT_FILE", raising=False)
    secure.answers[OPEN_METEO] = [open_meteo]
    with pytest.raises(DownloadFailed, match=r"certificate cannot be trusted.*ca-certificates"):
        download(service="open-meteo", endpoints=Endpoints(secure.url, secure.url, secure.url))
    assert (secure.asked, pauses) == ([], [])


def test_a_huge_answer_is_cut_short(service: Any, download: Callable[..., Download]) -> None:
    service.answers[OPEN_METEO] = [Answer(b"[" + b" " * 3_000_000)]
    with pytest.raises(DownloadFailed, match="larger than 1 MB"):
        download(service="open-meteo")


def test_nobody_there(site: Location, pauses: list[float]) -> None:
    nowhere = Endpoints(*["http://127.0.0.1:9"] * 7)
    with pytest.raises(DownloadFailed, match="cannot be reached"):
        download_forecast(
            site,
            POUR,
            POUR,
            now=NOW,
            contact="office@example.com",
            endpoints=nowhere,
            manners=RetryPolicy(timeout_s=LIMIT_S, attempts=2, sleep=pauses.append),
        )
    assert pauses == [1, 1, 1]  # three services, each asked twice


@pytest.mark.parametrize("days", [-200, 40])
def test_a_pour_out_of_reach(service: Any, download: Callable[..., Download], days: int) -> None:
    with pytest.raises(DownloadFailed, match="pour"):
        download(service="open-meteo", start=NOW + timedelta(days=days))
    assert service.asked == []


def test_what_is_kept_is_private(
    service: Any, download: Callable[..., Download], open_meteo: Any, tmp_path: Path
) -> None:
    service.answers[OPEN_METEO] = [open_meteo]
    download(cache=tmp_path / "cache" / "forecasts")
    found = list((tmp_path / "cache").rglob("*"))
    assert len(found) == 3
    assert {each.stat().st_mode & 0o077 for each in (tmp_path / "cache", *found)} == {0}


def test_kept_until_it_expires(
    service: Any, download: Callable[..., Download], open_meteo: Any, tmp_path: Path
) -> None:
    open_meteo.headers["Cache-Control"] = "public, max-age=600"
    service.answers[OPEN_METEO] = [open_meteo]
    first = download(cache=tmp_path / "kept")
    again = download(cache=tmp_path / "kept", now=NOW + timedelta(seconds=599))
    assert len(service.asked) == 1
    assert again.data == first.data
    assert again.fetched_at == NOW
    download(cache=tmp_path / "kept", now=NOW + timedelta(seconds=600))
    assert len(service.asked) == 2


def test_kept_by_the_older_header(
    service: Any, download: Callable[..., Download], open_meteo: Any, tmp_path: Path
) -> None:
    open_meteo.headers["Expires"] = "Tue, 14 Jul 2026 17:30:00 GMT"
    service.answers[OPEN_METEO] = [open_meteo]
    for minutes, asked in ((0, 1), (20, 1), (26, 2)):
        download(cache=tmp_path, now=NOW + timedelta(minutes=minutes))
        assert len(service.asked) == asked


def test_not_kept_where_forbidden(
    service: Any, download: Callable[..., Download], open_meteo: Any, tmp_path: Path
) -> None:
    open_meteo.headers["Cache-Control"] = "no-store"
    service.answers[OPEN_METEO] = [open_meteo]
    download(cache=tmp_path)
    download(cache=tmp_path)
    assert len(service.asked) == 2


def test_another_place_is_another_answer(
    service: Any, download: Callable[..., Download], open_meteo: Any, tmp_path: Path
) -> None:
    service.answers[OPEN_METEO] = [open_meteo]
    download(cache=tmp_path)
    download(cache=tmp_path, place=Location(36.2, -79.95))
    assert len(service.asked) == 2


def test_a_spoilt_cache_is_passed_over(
    service: Any, download: Callable[..., Download], open_meteo: Any, tmp_path: Path
) -> None:
    service.answers[OPEN_METEO] = [open_meteo]
    download(cache=tmp_path)
    for path in tmp_path.iterdir():
        path.write_bytes(path.read_bytes()[:-3])
    assert download(cache=tmp_path).data == open_meteo.body
    assert len(service.asked) == 2


def test_a_cache_that_cannot_be_written_is_no_fault(
    service: Any, download: Callable[..., Download], open_meteo: Any, tmp_path: Path
) -> None:
    occupied = tmp_path / "file"
    occupied.write_text("not a folder")
    service.answers[OPEN_METEO] = [open_meteo]
    assert download(cache=occupied).data == open_meteo.body


def test_written_whole(
    service: Any, download: Callable[..., Download], open_meteo: Any, tmp_path: Path
) -> None:
    service.answers[OPEN_METEO] = [open_meteo]
    path = tmp_path / "forecast.json"
    path.write_text("older")
    download().write(path)
    assert path.read_bytes() == open_meteo.body
    assert [each.name for each in tmp_path.iterdir()] == ["forecast.json"]


# ---- past years

POWER = "/api/temporal/hourly/point"
ARCHIVE = "/v1/archive"


@pytest.fixture
def years(service: Any, site: Location, pauses: list[float]) -> Callable[..., Download]:
    def fetch(place: Any = site, now: Any = NOW, **more: Any) -> Download:
        manners = RetryPolicy(timeout_s=LIMIT_S, deadline_s=LIMIT_S, attempts=1, sleep=pauses.append)
        endpoints = Endpoints(*[service.url] * 7)
        usual = {"contact": "office@example.com", "endpoints": endpoints, "manners": manners}
        return download_past_years(place, now=now, **usual | more)

    return fetch


def test_past_years_are_asked_for_a_grid_cell(
    service: Any, years: Callable[..., Download], files: Any
) -> None:
    service.answers[POWER] = [Answer(files.power(days=10))]
    got = years()
    assert json.loads(got.data) == files.power(days=10)
    ((path, query, headers),) = service.asked
    assert path == POWER
    assert (query["latitude"], query["longitude"]) == (["36.0000"], ["-80.0000"])
    assert (query["start"], query["end"]) == (["20150101"], ["20251231"])
    assert query["time-standard"] == ["UTC"]
    assert {"T2M", "RH2M", "WS10M"} <= set(query["parameters"][0].split(","))
    assert "office@example.com" in headers["User-Agent"]


def test_past_years_of_a_cell_are_downloaded_once(
    service: Any, years: Callable[..., Download], files: Any, tmp_path: Path
) -> None:
    service.answers[POWER] = [Answer(files.power(days=10))]
    first = years(cache=tmp_path)
    next_door = Location(36.15, -79.9, "America/New_York")
    again = years(next_door, now=NOW + timedelta(days=500), cache=tmp_path)
    assert again.data == first.data
    assert len(service.asked) == 1
    years(Location(36.4, -79.95), cache=tmp_path)  # the next cell to the north
    assert len(service.asked) == 2


def test_kept_years_that_are_broken_are_downloaded_again(
    service: Any, years: Callable[..., Download], files: Any, tmp_path: Path
) -> None:
    service.answers[POWER] = [Answer(files.power(days=10))]
    years(cache=tmp_path)
    (kept,) = tmp_path.iterdir()
    kept.write_bytes(kept.read_bytes()[:1000])
    assert json.loads(years(cache=tmp_path).data) == files.power(days=10)
    assert len(service.asked) == 2


def test_with_a_key_the_archive_comes_first_and_the_free_service_helps_out(
    service: Any, years: Callable[..., Download], files: Any
) -> None:
    service.answers[ARCHIVE] = [Answer({"error": True, "reason": "not in this plan"}, 403)]
    service.answers[POWER] = [Answer(files.power(days=10))]
    got = years(key="invented-key")
    assert service.paths() == [ARCHIVE, POWER]
    assert service.asked[0][1]["apikey"] == ["invented-key"]
    assert "apikey" not in service.asked[1][1]
    assert got.service == "nasa-power"


def test_an_answer_without_years_is_refused(
    service: Any, years: Callable[..., Download], files: Any, tmp_path: Path
) -> None:
    service.answers[POWER] = [Answer(files.power(range(2022, 2023)))]
    with pytest.raises(DownloadFailed, match="NASA POWER"):
        years(cache=tmp_path)
    assert not list(tmp_path.iterdir())


def test_past_years_need_a_place(service: Any, years: Callable[..., Download]) -> None:
    with pytest.raises(DownloadFailed, match="latitude"):
        years(Location(None, None))
    assert service.asked == []
