"""What the crew wrote down, read and checked. SI inside: m, m2, degC, MPa, kg/m3, mm/h, m3, L, h, m2K/W.

Every time is aware and stands in the site's zone. Two times of one zone are subtracted by the clock on the
wall, not by the hours that passed: go through UTC to reckon with them.
"""

from __future__ import annotations

import re
from typing import Literal, NamedTuple
from zoneinfo import ZoneInfo

from pydantic import AwareDatetime, BaseModel, ConfigDict

from handover.jobs.visits import Window, window

SlabUse = Literal["driveway", "garage floor", "patio", "walk", "house slab", "shop floor", "other"]
Base = Literal["soil", "gravel", "vapor retarder", "insulation"]
Exposure = Literal["outdoors", "roofed", "indoors"]
Method = Literal[
    "sprinkler",
    "soaker hose",
    "ponding",
    "wet burlap",
    "plastic sheet",
    "curing compound",
    "insulating blanket",
]
Cured = Literal["field", "standard"]

# Post-tensioning by the names the trade has for it.
_TENDONS = re.compile(r"tendons?|strands?|(?:post|pre)[- ]?(?:tension|stress)\w*|\bp[./]?t\b", re.IGNORECASE)


class Assumed(NamedTuple):
    """A value taken for something the record leaves out: field path, value as text in SI, why."""

    field: str
    value: str
    why: str


class Part(BaseModel):
    """A part of the record: frozen, and no key it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Site(Part):
    """Where the slab is."""

    name: str
    address: str | None = None
    latitude: float | None = None
    longitude: float | None = None
    timezone: str  # IANA name; filled in by the reader
    country: str | None = None  # ISO 3166 code; found from the place or the zone by the reader


class Owner(Part):
    """Who owns the slab."""

    name: str | None = None
    email: str | None = None
    phone: str | None = None
    language: str = "en"


class Contractor(Part):
    """Who placed the slab."""

    name: str | None = None
    phone: str | None = None
    email: str | None = None
    address: str | None = None
    license: str | None = None
    logo: str | None = None
    page_url: str | None = None


class Slab(Part):
    """The slab itself, in m and m2."""

    use: SlabUse = "other"
    length: float | None = None
    width: float | None = None
    area: float  # filled in from length and width
    thickness: float
    on: Base = "soil"
    exposure: Exposure = "outdoors"
    joint_spacing: float | None = None
    reinforcement: str | None = None

    @property
    def has_tendons(self) -> bool:
        """Whether the slab is post-tensioned: then the engineer of record decides when it may be loaded."""
        return bool(_TENDONS.search(self.reinforcement or ""))


class Placement(Part):
    """When the concrete was placed, and how warm, in degC."""

    start: AwareDatetime  # aware, in the site's zone
    end: AwareDatetime
    finished: AwareDatetime | None = None
    concrete_temperature: float | None = None


class Mix(Part):
    """What the concrete is made of, in MPa and kg/m3; shares by mass, air by volume."""

    supplier: str | None = None
    specified_strength: float
    cement: str = "I"  # the type or class it is reckoned as
    cement_ordered: str | None = None  # as written, filled in by the reader
    cementitious: float  # the reader fills in both of these
    water_cementitious: float
    fly_ash: float = 0.0
    slag: float = 0.0
    air: float | None = None
    admixtures: tuple[str, ...] = ()
    placed_as_planned: bool | None = None


class Ticket(Part):
    """One truck, in m3, m, degC and L."""

    number: str | None = None
    batched: AwareDatetime | None = None
    volume: float | None = None
    slump: float | None = None
    temperature: float | None = None
    water_added: float | None = None


class Curing(Part):
    """How the slab is kept moist and warm, in mm/h, degC and m2K/W."""

    method: Method = "sprinkler"
    application_rate: float | None = None
    water_temperature: float | None = None
    timer: bool = False
    available: tuple[str, ...] = ()
    blanket_r_value: float | None = None

    @property
    def windows(self) -> tuple[Window, ...]:
        """The hours of the day when somebody can be there, from and to, in order."""
        return tuple(sorted(window(text) for text in self.available))


class Forms(Part):
    """What forms stand."""

    edge: bool = True


class WalkthroughItem(Part):
    """One thing looked at together with the owner."""

    item: str
    ok: bool | None = None
    note: str | None = None
    photo: str | None = None


class Acknowledgement(Part):
    """What the owner typed in place of a signature: that the slab and its sheet were handed over."""

    name: str
    time: AwareDatetime
    remarks: str | None = None


class Cylinder(Part):
    """One strength test, in h and MPa."""

    age: float | None = None  # hours
    tested: AwareDatetime | None = None
    strength: float
    cured: Cured = "standard"


class LogReading(NamedTuple):
    """The mean time and the mean temperature, in degC, of a logger's readings within an hour."""

    time: AwareDatetime
    temperature: float


class TemperatureLog(Part):
    """A logger in the slab, its depth in m, with what it read in the concrete, hour by hour."""

    file: str
    depth: float | None = None
    readings: tuple[LogReading, ...] = ()  # filled in by the reader


class JobRecord(Part):
    """One job, with what was assumed where the crew wrote nothing."""

    id: str
    site: Site
    owner: Owner = Owner()
    contractor: Contractor = Contractor()
    slab: Slab
    placement: Placement
    mix: Mix
    ticket: tuple[Ticket, ...] = ()
    curing: Curing = Curing()
    forms: Forms = Forms()
    walkthrough: tuple[WalkthroughItem, ...] = ()
    acknowledgement: Acknowledgement | None = None
    cylinder: tuple[Cylinder, ...] = ()
    temperature_log: TemperatureLog | None = None
    written_in: Literal["us", "si"] = "us"  # the units of most of its measures, filled in by the reader
    assumed: tuple[Assumed, ...] = ()

    @property
    def zone(self) -> ZoneInfo:
        """The time zone of the site."""
        return ZoneInfo(self.site.timezone)
