"""Hourly forecasts over HTTPS from open services, kept exactly as received.

    Open-Meteo                   the whole earth, past hours and sunshine, 16 days; a firm needs a key
    National Weather Service     the United States, about 7 days, no sunshine, few past hours; free
    MET Norway                   the whole earth, about 9 days, no sunshine, no past hours; free

Unless one is asked for, the place and the right to use it choose the service. With a key: Open-Meteo from the
customers' address, then the others. Without: the National Weather Service in the United States, then MET
Norway, and where neither has the hours of the pour, Open-Meteo's free address, with a caution, because it is
for non-commercial use.

With the forecast come, in the same file, the members of an ensemble (Open-Meteo, where the firm's plan has
them) and the warnings of cold, heat and wind in force (National Weather Service). A forecast without them is
used as well.

An answer is read and judged by the readers of `handover.weather.reading` before it is believed, kept until
it expires, and written in place of an older file only whole. An expired answer that the service says has not
changed (If-Modified-Since) is kept on.
"""

from __future__ import annotations

import hashlib
import json
import re
import socket
import ssl
import time as clock
import zlib
from collections.abc import Callable, Mapping
from concurrent.futures import Future
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from functools import partial
from ipaddress import ip_address
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, Any, Literal, Self
from urllib.parse import urlencode, urlsplit
from urllib.request import getproxies, proxy_bypass

import httpx2

from handover.base.atomic import write_file
from handover.base.text import short_line
from handover.base.version import VERSION
from handover.errors import DownloadFailed, Finding
from handover.practice.rules import general_rules
from handover.weather.fit_check import FORECAST_STALE_AGE, check_fit
from handover.weather.joined_answers import join_answers
from handover.weather.nasa_power import POWER_NAMES
from handover.weather.nws_alerts import is_alerts
from handover.weather.open_meteo import is_open_meteo
from handover.weather.past_years import PastYears
from handover.weather.reading import examine_weather_bytes, service_refusal
from handover.weather.sockets import OpenSockets

if TYPE_CHECKING:
    from handover.weather.location import HasLocation

Service = Literal["auto", "open-meteo", "nws", "met-norway"]

_HOURLY = (
    "temperature_2m",
    "relative_humidity_2m",
    "dew_point_2m",
    "precipitation",
    "precipitation_probability",
    "cloud_cover",
    "wind_speed_10m",
    "shortwave_radiation",
)
_MEMBERS_OF = ("temperature_2m", "relative_humidity_2m", "wind_speed_10m", "cloud_cover")
_ENSEMBLE = "ncep_gefs_seamless"  # the whole earth, 31 members, as far as the forecast
_FORECAST_DAYS = 16
_ATTEMPTS_BESIDE = 2  # for what comes with a forecast, which is used without it as well
_MOST_PAST_DAYS = 92
_DEFAULT_CACHE_AGE = timedelta(
    minutes=15
)  # where an answer names no expiry: models are renewed every hour at most
_MAX_CACHE_AGE = timedelta(hours=6)
_TRY_AGAIN = frozenset({408, 425, 429, 500, 502, 503, 504})
_REDIRECTS = frozenset({301, 302, 303, 307, 308})
_MOST_REDIRECTS = 5
_LOOPBACK = frozenset({"127.0.0.1", "::1", "localhost"})
_JSON_TYPES = re.compile(r"application/([a-z.-]+\+)?json", re.IGNORECASE)
_MAX_AGE = re.compile(r"max-age\s*=\s*(\d{1,8})", re.IGNORECASE)


@dataclass(frozen=True)
class Endpoints:
    """The addresses of the services. Only HTTPS is used, except with the machine itself."""

    open_meteo: str = "https://api.open-meteo.com"
    open_meteo_customers: str = "https://customer-api.open-meteo.com"
    nws: str = "https://api.weather.gov"
    nasa_power: str = "https://power.larc.nasa.gov"
    open_meteo_archive: str = "https://customer-archive-api.open-meteo.com"
    met_norway: str = "https://api.met.no"
    open_meteo_ensemble: str = "https://customer-ensemble-api.open-meteo.com"


@dataclass(frozen=True)
class RetryPolicy:
    """How long to wait, how often to try, how much to take.

    Attributes:
        timeout_s: For the connection and for each piece of the answer. [s]
        deadline_s: For a whole answer, from the name of the service on, however slowly it drips. [s]
        attempts: In all, the first included.
        first_pause_s: Before the second attempt; doubled before each further one. [s]
        longest_pause_s: More than this a service's Retry-After is not waited for. [s]
        largest_bytes: An answer is cut off here.
        sleep: Waits for so many seconds.
    """

    timeout_s: float = 15.0
    deadline_s: float = 60.0
    attempts: int = 4
    first_pause_s: float = 1.0
    longest_pause_s: float = 30.0
    largest_bytes: int = 20_000_000
    sleep: Callable[[float], None] = clock.sleep


@dataclass(frozen=True)
class Download:
    """A forecast as received.

    Attributes:
        data: The bytes of the answer, unchanged; several answers are in one document, each unchanged.
        service: "open-meteo", "nws" or "met-norway".
        url: Where it came from, without a key.
        fetched_at: When it was received, aware; of a kept answer, then.
        findings: What its reader and the check against the job have to say; a fault among them means that the
            answer is sound weather but does not serve this pour (a grid without past hours, say).
    """

    data: bytes
    service: str
    url: str
    fetched_at: datetime
    findings: tuple[Finding, ...] = ()

    def write(self, path: Path) -> None:
        """Write bytes to a path, completely or not at all; an earlier file stays until then."""
        write_file(path, self.data)


def download_forecast(
    site: HasLocation,
    start: datetime,
    until: datetime,
    *,
    now: datetime,
    contact: str,
    service: Service = "auto",
    key: str | None = None,
    cache: Path | None = None,
    endpoints: Endpoints | None = None,
    manners: RetryPolicy | None = None,
) -> Download:
    """Return the hourly forecast for a site, from the hour of the pour to its horizon.

    Args:
        site: Where; its latitude and longitude are needed.
        start: When the first concrete was placed, aware.
        until: Up to when weather is wanted, aware; the services' horizon may come first.
        now: The time it is, aware.
        contact: Mail address or web page that the service may turn to; sent with every request.
        service: Which; "auto": by the place and the right to use it.
        key: Of an Open-Meteo customer.
        cache: Folder for answers that have not expired; None keeps none. See `cache_folder`.
        endpoints: Where the services are.
        manners: Time-outs, attempts, sizes.

    Raises:
        DownloadFailed: With what each service said, and what to do instead.
    """
    if site.latitude is None or site.longitude is None:
        raise DownloadFailed(
            "the job names no latitude and longitude: a forecast is for a place; add them to [site]"
        )
    where = (site.latitude, site.longitude)
    order = _order(where, has_key=bool(key)) if service == "auto" else (service,)
    incomplete: list[Download] = []
    failures = []
    with _Client(contact, now, cache, manners or RetryPolicy()) as line:
        ask = _Request(line, site, where, start, until, now, endpoints or Endpoints(), key)
        for name in order:
            try:
                found = ask.of(name)
            except _ServiceFailure as failure:
                failures.append(f"{SERVICE_TITLES[name]}: {failure}")
                continue
            if len(order) == 1 or not any(each.severity == "fault" for each in found.findings):
                return found
            incomplete.append(found)  # without the hours of the pour, say
    if incomplete:
        return incomplete[0]
    raise DownloadFailed("; ".join(failures) + ". " + _INSTEAD)


def _order(where: tuple[float, float], *, has_key: bool) -> tuple[str, ...]:
    """Return the services to ask for a place, the first that may be used first."""
    free = ("nws", "met-norway") if _in_united_states(*where) else ("met-norway",)
    return ("open-meteo", *free) if has_key else (*free, "open-meteo")


_UNITED_STATES_DEG = (
    (24.0, 49.5, -125.0, -66.5),
    (51.0, 72.0, -180.0, -129.9),
    (18.0, 23.0, -161.0, -154.0),
    (17.5, 18.6, -67.5, -64.5),
    (13.0, 15.5, 144.0, 146.5),
)
"""Where the National Weather Service may have a grid: south, north, west, east of the states south of
Canada, Alaska, Hawaii, Puerto Rico with the Virgin Islands, Guam with the Marianas. It says itself where it
has none."""


def _in_united_states(latitude: float, longitude: float) -> bool:
    return any(
        south <= latitude <= north and west <= longitude <= east
        for south, north, west, east in _UNITED_STATES_DEG
    )


def download_past_years(
    site: HasLocation,
    *,
    now: datetime,
    contact: str,
    key: str | None = None,
    cache: Path | None = None,
    endpoints: Endpoints | None = None,
    manners: RetryPolicy | None = None,
) -> Download:
    """Return the hours of the past years about a site: of its grid cell, downloaded once and kept for good.

    With a key of Open-Meteo its archive is asked first, which needs a plan that includes it; else, and where
    it refuses, NASA POWER, which is free for every use.

    Args:
        site: Where; its latitude and longitude are needed.
        now: The time it is, aware: the whole calendar years before it are asked for.
        contact: Mail address or web page that the service may turn to.
        key: Of an Open-Meteo customer.
        cache: Folder in which answers are kept; None keeps none. See `climate_folder`.
        endpoints: Where the services are.
        manners: Time-outs, attempts, sizes; None: more patient than for a forecast.

    Raises:
        DownloadFailed: With what each service said, and what to do instead.
    """
    if site.latitude is None or site.longitude is None:
        raise DownloadFailed(
            "the job names no latitude and longitude: past years are of a place; add them to [site]"
        )
    cell = (_middle(site.latitude, _CELL_NORTH_DEG, 90.0), _middle(site.longitude, _CELL_EAST_DEG, 180.0))
    kept = None if cache is None else cache / f"past-years_{cell[0]:.4f}_{cell[1]:.4f}.json"
    found = None if kept is None else _kept_years(kept, site, now)
    if found is not None:
        return found
    failures = []
    with _Client(contact, now, None, manners or _PATIENT) as line:
        for name, url, secret in _years_urls(cell, now.year, key, endpoints or Endpoints()):
            try:
                answer = line.get(url, secret=secret)
                _require_years(answer.data, site, now)
            except _ServiceFailure as failure:
                failures.append(f"{SERVICE_TITLES[name]}: {failure}")
                continue
            download = Download(answer.data, name, url, now)
            if kept is not None:
                _keep(download, kept)
            return download
    raise DownloadFailed("; ".join(failures) + ". " + _WITHOUT_YEARS)


_CELL_NORTH_DEG, _CELL_EAST_DEG = 0.5, 0.625
"""The grid of the reanalysis behind NASA POWER: one download serves all sites of a cell."""

_WITHOUT_YEARS = "Try again later; without past years the mean of the month at the place is used."
_PATIENT = RetryPolicy(timeout_s=120.0, deadline_s=300.0)


def _middle(degrees: float, step: float, most: float) -> float:
    """Return the middle of the grid cell of a place."""
    return max(-most, min(most, round(degrees / step) * step))


def _years_urls(
    cell: tuple[float, float], year: int, key: str | None, endpoints: Endpoints
) -> list[tuple[str, str, Mapping[str, str]]]:
    """Return the services to ask, each with its address and what is secret of it."""
    first, last = year - int(general_rules()["forecast.years"]) - 1, year - 1
    place = {"latitude": f"{cell[0]:.4f}", "longitude": f"{cell[1]:.4f}"}
    power = {
        "parameters": ",".join(POWER_NAMES.values()),
        "community": "SB",
        **place,
        "start": f"{first}0101",
        "end": f"{last}1231",
        "format": "JSON",
        "time-standard": "UTC",
    }
    archive = {
        **place,
        "start_date": f"{first}-01-01",
        "end_date": f"{last}-12-31",
        "hourly": ",".join(each for each in _HOURLY if each != "precipitation_probability"),
        "timezone": "GMT",
    }
    free = f"{endpoints.nasa_power}/api/temporal/hourly/point?{urlencode(power, safe=',')}"
    asked: list[tuple[str, str, Mapping[str, str]]] = [("nasa-power", free, {})]
    if key:
        paid = f"{endpoints.open_meteo_archive}/v1/archive?{urlencode(archive, safe=',')}"
        asked.insert(0, ("open-meteo-archive", paid, {"apikey": key}))
    return asked


def _require_years(data: bytes, site: HasLocation, now: datetime) -> None:
    """Raise unless an answer has past years that can be used."""
    series, findings = examine_weather_bytes(data, "past years", site, now.year)
    if not isinstance(series, PastYears):
        faults = [finding.problem for finding in findings if finding.severity == "fault"]
        raise _ServiceFailure("; ".join(faults) or "the answer has no past years")


def _kept_years(path: Path, site: HasLocation, now: datetime) -> Download | None:
    """Return the answer kept for a grid cell, unless there is none or it cannot be used."""
    try:
        data = path.read_bytes()
        _require_years(data, site, now)
    except (OSError, _ServiceFailure):
        return None
    return Download(data, "kept", str(path), now)


def _keep(download: Download, path: Path) -> None:
    """Keep an answer; a folder without write access does not fail the download."""
    try:
        _make_private(path.parent)
        write_file(path, download.data, _PRIVATE)
    except OSError:
        return


_PRIVATE = 0o600
"""Mode of a file of the cache: it tells where jobs are."""


def _make_private(folder: Path) -> None:
    """Make a folder of the cache, which no other user may read; one that exists keeps its mode."""
    folder.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    folder.mkdir(mode=0o700, exist_ok=True)


_CERTIFICATES = (
    "the system's list of authorities decides (on Debian: apt install ca-certificates), "
    "or the file that SSL_CERT_FILE names"
)
SERVICE_TITLES = {
    "open-meteo": "Open-Meteo",
    "nws": "National Weather Service",
    "met-norway": "MET Norway",
    "nasa-power": "NASA POWER",
    "open-meteo-archive": "Open-Meteo archive",
}
"""The services, as people call them."""
_INSTEAD = "Try again later, or use -w with a weather file (a forecast saved from a browser, or a CSV)."


def cache_folder() -> Path:
    """Return the folder of the user's machine where answers are kept until they expire."""
    import platformdirs  # noqa: PLC0415 - only for downloads

    return Path(platformdirs.user_cache_dir("handover", appauthor=False)) / "forecasts"


def climate_folder() -> Path:
    """Return the folder of the user's machine where past years are kept for good."""
    return cache_folder().parent / "past-years"


class _ServiceFailure(Exception):
    """A service returned no forecast; the message says why."""


class _Refusal(_ServiceFailure):
    """A service refused: asking again does not help. A plan without ensembles is refused, for example."""


@dataclass(frozen=True)
class _Request:
    """A request to the services."""

    line: _Client
    site: HasLocation
    where: tuple[float, float]
    start: datetime
    until: datetime
    now: datetime
    endpoints: Endpoints
    key: str | None

    def of(self, service: str) -> Download:
        """Return the forecast of a service."""
        ask = {"open-meteo": self.open_meteo, "nws": self.nws, "met-norway": self.met_norway}
        return ask[service]()

    def met_norway(self) -> Download:
        place = f"lat={_short(self.where[0])}&lon={_short(self.where[1])}"
        url = f"{self.endpoints.met_norway}/weatherapi/locationforecast/2.0/complete?{place}"
        return self._parse_or_fail("met-norway", self.line.get(url))

    def open_meteo(self) -> Download:
        past = max(0, (self.now.astimezone(UTC).date() - self.start.astimezone(UTC).date()).days)
        if past > _MOST_PAST_DAYS:
            raise _ServiceFailure(f"has only {_MOST_PAST_DAYS} past days, and the pour was {past} days ago")
        if self.start > self.now + timedelta(days=_FORECAST_DAYS - 1):
            raise _ServiceFailure(f"forecasts {_FORECAST_DAYS} days ahead, and the pour is later")
        query = {
            "latitude": f"{self.where[0]:.4f}",
            "longitude": f"{self.where[1]:.4f}",
            "hourly": ",".join(_HOURLY),
            "past_days": str(past),
            "forecast_days": str(_FORECAST_DAYS),
            "timezone": "GMT",
        }
        base = self.endpoints.open_meteo_customers if self.key else self.endpoints.open_meteo
        url = f"{base}/v1/forecast?{urlencode(query, safe=',')}"
        answer = self.line.get(url, secret={"apikey": self.key} if self.key else {})
        found = self._parse_or_fail("open-meteo", answer)
        if not self.key:
            return replace(found, findings=(*found.findings, _NOT_FOR_FIRMS))
        members = {**query, "hourly": ",".join(_MEMBERS_OF), "past_days": "0", "models": _ENSEMBLE}
        url = f"{self.endpoints.open_meteo_ensemble}/v1/ensemble?{urlencode(members, safe=',')}"
        return self._add_part("members", url, answer, found, secret={"apikey": self.key})

    def nws(self) -> Download:
        points = self.line.get(f"{self.endpoints.nws}/points/{_short(self.where[0])},{_short(self.where[1])}")
        try:
            grid = json.loads(points.data)["properties"]["forecastGridData"]
            path = urlsplit(str(grid)).path
        except (ValueError, KeyError, TypeError, RecursionError):
            raise _ServiceFailure(
                "does not say which grid cell the place is in; it covers the United States only"
            ) from None
        if not re.fullmatch(r"/gridpoints/[A-Z]{3}/\d{1,4},\d{1,4}", path):
            raise _ServiceFailure(f"names a grid cell at {short_line(grid)}, which is not such an address")
        # The host stays the same, whatever the reply names.
        answer = self.line.get(self.endpoints.nws + path)
        found = self._parse_or_fail("nws", answer)
        point = f"{_short(self.where[0])},{_short(self.where[1])}"
        return self._add_part("alerts", f"{self.endpoints.nws}/alerts/active?point={point}", answer, found)

    def _add_part(
        self,
        part: Literal["members", "alerts"],
        url: str,
        answer: _Response,
        found: Download,
        *,
        secret: Mapping[str, str] | None = None,
    ) -> Download:
        """Return a forecast together with another answer of its service; without it, where that fails."""
        usable, without = _BESIDE[part]
        try:
            more = self.line.get(url, secret=secret, attempts=_ATTEMPTS_BESIDE)
            _require_form(more.data, usable)
            joined = join_answers(answer.data, **{part: more.data})
            return self._parse_or_fail(found.service, replace(answer, data=joined))
        except _Refusal as refusal:
            if part == "members":  # a plan without ensembles
                return found
            problem = str(refusal)
        except _ServiceFailure as failure:
            problem = str(failure)
        except UnicodeDecodeError:  # of the forecast, which can be read in other encodings
            problem = "the forecast is not in UTF-8"
        caution = Finding(f"{without}: {problem}", severity="caution")
        return replace(found, findings=(*found.findings, caution))

    def _parse_or_fail(self, service: str, answer: _Response) -> Download:
        """Return an answer that is a usable forecast; anything else is a failure."""
        series, findings = examine_weather_bytes(
            answer.data, f"{service} forecast", self.site, received_at=answer.fetched_at
        )
        if series is None:
            raise _ServiceFailure(
                "; ".join(finding.problem for finding in findings if finding.severity == "fault")
            )
        if series.last_hour < self.now or (
            series.issued_at and self.now - series.issued_at > FORECAST_STALE_AGE
        ):
            issued = f"issued {series.issued_at:%Y-%m-%d %H:%M} UTC, " if series.issued_at else ""
            raise _ServiceFailure(f"the answer is stale: {issued}ends {series.last_hour:%Y-%m-%d %H:%M} UTC")
        fit = check_fit(series, self.site, self.start, self.until, self.now)
        return Download(answer.data, service, answer.url, answer.fetched_at, (*findings, *fit))


_BESIDE: dict[str, tuple[Callable[[Any], bool], str]] = {
    "members": (
        lambda document: isinstance(document, Mapping) and is_open_meteo(document),
        "the forecast has no members, so the usual error of forecasts is used",
    ),
    "alerts": (
        is_alerts,
        "warnings of frost, heat and wind could not be read, and there may be some",
    ),
}
"""What may come with a forecast: whether a document is that, and what is so without it."""


def _require_form(data: bytes, usable: Callable[[Any], bool]) -> None:
    """Raise unless an answer is JSON in UTF-8 of the right form."""
    try:
        document = json.loads(data.decode("utf-8-sig"))
    except (ValueError, RecursionError):
        document = None
    if not usable(document):
        raise _ServiceFailure("the answer is of another form")


_NOT_FOR_FIRMS = Finding(
    "the forecast is from Open-Meteo's free address, which is for non-commercial use",
    expected="a firm's own key in HANDOVER_OPEN_METEO_KEY, or a weather file with -w",
    severity="caution",
)


def _short(degrees: float) -> str:
    """Return degrees with at most four decimals and no trailing zero: what the service does not redirect."""
    return f"{degrees:.4f}".rstrip("0").rstrip(".")


@dataclass(frozen=True)
class _Response:
    """An answer; ``modified`` is what the service says of its age, word for word."""

    data: bytes
    url: str
    fetched_at: datetime
    modified: str | None = None


@dataclass(frozen=True)
class _CachedResponse:
    """An answer that was kept, and until when."""

    response: _Response
    expires: datetime

    def fresh(self, now: datetime) -> bool:
        """Return whether it has not expired, and is not from the future."""
        return self.response.fetched_at <= now < self.expires


DOWNLOAD_THREAD = "handover-download"
"""Name of the thread that waits for an answer."""

_Whole = tuple[httpx2.Response, bytes]
"""An answer, and its body."""


class _Client:
    """The connection to the services: one client, its limits, and its cache."""

    def __init__(self, contact: str, now: datetime, cache: Path | None, manners: RetryPolicy) -> None:
        if not contact.strip() or not contact.isprintable() or not contact.isascii():
            raise DownloadFailed(
                "the services ask for a contact: give a mail address or a web page, "
                "for example office@example.com"
            )
        self.now = now
        self.kept = _DiskCache(cache) if cache is not None else None
        self.manners = manners
        self._agent = f"handover/{VERSION} ({contact.strip()})"
        self._begin()

    def _begin(self) -> None:
        """Take a new client, and the list of its sockets."""
        self.client, self.sockets = self._open(), OpenSockets()

    def _open(self) -> httpx2.Client:
        """Return a client of HTTP that follows no redirect by itself.

        Raises:
            DownloadFailed: It cannot be made: the list of authorities cannot be read, for example.
        """
        try:
            return httpx2.Client(
                timeout=httpx2.Timeout(self.manners.timeout_s),
                follow_redirects=False,
                headers={
                    "User-Agent": self._agent,
                    "Accept": "application/geo+json, application/json",
                    "Accept-Encoding": "gzip",
                },
            )
        except Exception as error:
            raise DownloadFailed(f"cannot begin: {short_line(error)}; {_CERTIFICATES}") from error

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        _close(self.client, self.sockets)

    def get(
        self, url: str, secret: Mapping[str, str] | None = None, attempts: int | None = None
    ) -> _Response:
        """Return the answer at an address, from the cache or downloaded.

        Args:
            url: The address without secrets: it names the answer in the cache and in messages.
            secret: Parameters that are sent and never stored or printed.
            attempts: At most so many; None: as the policy says.
        """
        attempts = min(attempts or self.manners.attempts, self.manners.attempts)
        kept = self.kept.find(url) if self.kept else None
        if kept is not None and kept.fresh(self.now):
            return kept.response
        pause = self.manners.first_pause_s
        for attempt in range(1, attempts + 1):
            try:
                answer, expires = self._fetch(url, secret or {}, kept)
            except _Retry as again:
                wait = max(pause, again.after or 0)
                if attempt == attempts or wait > self.manners.longest_pause_s:
                    raise _ServiceFailure(
                        f"{again} ({attempt} attempt{'s' if attempt > 1 else ''})"
                    ) from None
                self.manners.sleep(wait)
                pause *= 2
            else:
                if self.kept and expires > self.now:
                    self.kept.store(answer, expires)
                return answer
        raise _ServiceFailure("no attempt was allowed")

    def _fetch(
        self, url: str, secret: Mapping[str, str], kept: _CachedResponse | None
    ) -> tuple[_Response, datetime]:
        """Ask once; an answer that has not changed since it was kept is the kept one.

        Raises:
            _Again: Another attempt may help.
            _Failed: It will not.
        """
        since = kept.response.modified if kept else None
        headers = {"If-Modified-Since": since} if since else {}
        response, data = self._translate_errors(partial(self._ask, url, secret, headers))
        if kept is not None and response.status_code == httpx2.codes.NOT_MODIFIED:
            return replace(kept.response, fetched_at=self.now), _expiry(response, self.now)
        _judge_status(response, data)
        modified = response.headers.get("Last-Modified")
        return _Response(data, url, self.now, modified), _expiry(response, self.now)

    def _translate_errors(self, ask: Callable[[], _Whole]) -> _Whole:
        """Ask within the deadline; whatever fails is a failure of the service, or another attempt."""
        try:
            return self._within_deadline(ask)
        except (_Retry, _ServiceFailure):
            raise
        except httpx2.TimeoutException:
            raise _Retry("no answer in time") from None
        except zlib.error:
            raise _Retry("the answer is garbled") from None
        except httpx2.RemoteProtocolError:
            raise _Retry("the answer broke off") from None
        except httpx2.TransportError as error:
            if _is_untrusted(error):
                raise _ServiceFailure(
                    f"its certificate cannot be trusted: {short_line(error)}; {_CERTIFICATES}"
                ) from None
            raise _Retry(f"cannot be reached: {short_line(error) or type(error).__name__}") from None
        except Exception as error:
            raise _ServiceFailure(f"{type(error).__name__}: {short_line(error)}") from error

    def _within_deadline(self, ask: Callable[[], _Whole]) -> _Whole:
        """Ask in a thread, for it may wait for a name or for a header.

        At the deadline the connection is shut down, so that the thread ends. One that waits for a name ends
        once the system has the name, and connects to nothing.

        Raises:
            _Retry: There was no whole answer in time.
        """
        client, sockets = self.client, self.sockets
        asked: Future[_Whole] = Future()
        Thread(target=_settle, args=(asked, ask), daemon=True, name=DOWNLOAD_THREAD).start()
        try:
            return asked.result(self.manners.deadline_s)
        except TimeoutError:
            if asked.done():
                raise
            sockets.shut_down()
            asked.add_done_callback(lambda _: _close(client, sockets))
            self._begin()
            raise _Retry(f"the answer took longer than {self.manners.deadline_s:g} s") from None

    def _ask(self, url: str, secret: Mapping[str, str], headers: Mapping[str, str]) -> _Whole:
        """Return the answer at an address, and its body; redirects lead to the same service alone."""
        client, watch = self.client, {"trace": self.sockets.trace}
        asked = address = httpx2.URL(url).copy_merge_params(secret)
        for _ in range(_MOST_REDIRECTS + 1):
            _refuse_plain(address)
            _refuse_private(address)
            with client.stream("GET", address, headers=dict(headers), extensions=watch) as response:
                location = response.headers.get("Location")
                if response.status_code not in _REDIRECTS or location is None:
                    return response, self._body(response)
            address = address.join(location)
            if address.host != asked.host:
                raise _ServiceFailure(f"redirects to another host, {short_line(address.host)}")
            if (asked.scheme, asked.port) != (address.scheme, address.port):
                _refuse_plain(address)
                raise _ServiceFailure("redirects to another port")
        raise _ServiceFailure("redirects without end")

    def _body(self, response: httpx2.Response) -> bytes:
        """Return the body; a failure if it is too large, or compressed in any other way than by gzip."""
        encoding = response.headers.get("Content-Encoding", "identity").strip().lower()
        if encoding not in {"identity", "gzip"}:
            raise _ServiceFailure(f"the answer is compressed by {short_line(encoding)}")
        most, end = self.manners.largest_bytes, clock.monotonic() + self.manners.deadline_s
        gzip = zlib.decompressobj(zlib.MAX_WBITS | 16) if encoding == "gzip" else None
        body = bytearray()
        for piece in response.iter_raw():
            body += piece if gzip is None else gzip.decompress(piece, most + 1 - len(body))
            if len(body) > most:
                raise _ServiceFailure(f"the answer is larger than {most / 1e6:.0f} MB")
            if clock.monotonic() > end:  # nobody waits for it any more
                raise _Retry("the answer took too long")
        if gzip is not None and not gzip.eof:
            raise _Retry("the answer broke off")
        return bytes(body)


def _close(client: httpx2.Client, sockets: OpenSockets) -> None:
    """Close a client and the duplicates of its sockets."""
    client.close()
    sockets.close()


def _settle(asked: Future[_Whole], ask: Callable[[], _Whole]) -> None:
    """Ask, and keep the answer or the exception."""
    try:
        asked.set_result(ask())
    except BaseException as fault:  # noqa: BLE001 - it is raised where the answer is awaited
        asked.set_exception(fault)


def _is_untrusted(error: BaseException | None) -> bool:
    """Return whether an error is caused, at any depth, by a certificate that was not verified."""
    while error is not None:
        if isinstance(error, ssl.SSLCertVerificationError):
            return True
        error = error.__cause__ or error.__context__
    return False


class _Retry(Exception):
    """An attempt failed; ``after`` is how many seconds the service asks to wait."""

    def __init__(self, message: str, after: float | None = None) -> None:
        super().__init__(message)
        self.after = after


def _refuse_plain(address: httpx2.URL) -> None:
    """Refuse to speak without encryption to another machine."""
    if address.scheme != "https" and address.host not in _LOOPBACK:
        raise _ServiceFailure(f"an address without HTTPS: {short_line(address.copy_with(query=None))}")


def _refuse_private(address: httpx2.URL) -> None:
    """Refuse a service whose name leads to this machine or to a private network, unless it is asked for.

    A proxy finds the address itself.
    """
    if address.host in _LOOPBACK:
        return
    if getproxies().keys() & {"https", "all"} and not proxy_bypass(address.host):
        return
    try:
        found = socket.getaddrinfo(address.host, address.port or 443, type=socket.SOCK_STREAM)
    except OSError as error:
        raise _Retry(f"cannot be reached: {short_line(error)}") from None
    for *_, place in found:
        if not ip_address(str(place[0]).partition("%")[0]).is_global:
            raise _ServiceFailure("its name leads to an address that is not public")


def _judge_status(response: httpx2.Response, data: bytes) -> None:
    """Raise unless the answer is a success in JSON; a refusal is quoted with its reason."""
    status = response.status_code
    if status not in (httpx2.codes.OK, httpx2.codes.NON_AUTHORITATIVE_INFORMATION):
        reason = _reason(data)
        message = f"answered {status}" + (f": {reason}" if reason else "")
        if status in _TRY_AGAIN:
            raise _Retry(message, _retry_after(response))
        raise _Refusal(message)
    kind = response.headers.get("Content-Type", "").partition(";")[0].strip()
    if not _JSON_TYPES.fullmatch(kind):
        raise _ServiceFailure(f"answered with {short_line(kind) or 'no type'} instead of JSON")


def _reason(data: bytes) -> str | None:
    try:
        document: Any = json.loads(data)
    except (ValueError, RecursionError):
        return None
    return service_refusal(document) if isinstance(document, Mapping) else None


def _retry_after(response: httpx2.Response) -> float | None:
    """Return the wait in seconds that a service asks for; only the form in seconds, which needs no clock."""
    text = response.headers.get("Retry-After", "").strip()
    return float(text) if text.isascii() and text.isdigit() and len(text) < 7 else None  # noqa: PLR2004 - a week at most


def _expiry(response: httpx2.Response, now: datetime) -> datetime:
    """Return until when an answer may be kept."""
    control = response.headers.get("Cache-Control", "")
    if re.search(r"no-store|no-cache", control, re.IGNORECASE):
        return now
    age = _MAX_AGE.search(control)
    if age:
        return now + min(timedelta(seconds=int(age[1])), _MAX_CACHE_AGE)
    try:
        expires = parsedate_to_datetime(response.headers["Expires"]).astimezone(UTC)
    except (KeyError, ValueError, TypeError, OverflowError):
        return now + _DEFAULT_CACHE_AGE
    return min(expires, now + _MAX_CACHE_AGE)


class _DiskCache:
    """Answers on disk until they expire: the bytes, and beside them from where, since when, until when."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def find(self, url: str) -> _CachedResponse | None:
        """Return the answer kept for an address, unless it is broken; it may have expired."""
        body, about = self._paths(url)
        try:
            entry = json.loads(about.read_text(encoding="utf-8"))
            fetched, expires = (datetime.fromisoformat(entry[name]) for name in ("fetched_at", "expires_at"))
            data = body.read_bytes()
            whole = hashlib.sha256(data).hexdigest() == entry["sha256"] and entry["url"] == url
            modified = entry.get("modified")
        except (OSError, ValueError, KeyError, TypeError):
            return None
        kept = _Response(data, url, fetched, modified if isinstance(modified, str) else None)
        return _CachedResponse(kept, expires) if whole else None

    def store(self, answer: _Response, expires: datetime) -> None:
        """Store an answer; a folder without write access does not fail the forecast."""
        body, about = self._paths(answer.url)
        entry = {
            "url": answer.url,
            "fetched_at": answer.fetched_at.isoformat(),
            "expires_at": expires.isoformat(),
            "sha256": hashlib.sha256(answer.data).hexdigest(),
            "modified": answer.modified,
        }
        try:
            _make_private(self.folder)
            write_file(body, answer.data, _PRIVATE)
            write_file(about, json.dumps(entry, indent=1).encode(), _PRIVATE)
        except OSError:
            return

    def _paths(self, url: str) -> tuple[Path, Path]:
        name = hashlib.sha256(url.encode()).hexdigest()[:32]
        return self.folder / f"{name}.json", self.folder / f"{name}.about.json"
