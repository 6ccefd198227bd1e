"""What the crew wrote down, read and checked. SI inside: m, m2, degC, MPa, kg/m3, mm/h, m3, m2K/W."""

from __future__ import annotations

from datetime import datetime
from typing import Literal

from pydantic import BaseModel, ConfigDict

SlabUse = Literal["driveway", "garage floor", "patio", "walk", "house slab", "shop floor", "other"]
Base = Literal["soil", "gravel", "vapor retarder", "insulation"]
Exposure = Literal["outdoors", "roofed", "indoors"]
Method = Literal[
    "sprinkler", "soaker hose", "ponding", "wet burlap", "plastic sheet", "curing compound", "insulating blanket"
]


class Part(BaseModel):
    """A part of the record: frozen, and no key it does not know."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Site(Part):
    name: str
    address: str | None = None
    latitude: float | None = None
    longitude: float | None = None
    timezone: str  # IANA name; filled in by the reader


class Owner(Part):
    name: str | None = None
    email: str | None = None
    phone: str | None = None
    language: str = "en"


class Contractor(Part):
    name: str | None = None
    phone: str | None = None
    email: str | None = None
    address: str | None = None
    license: str | None = None
    logo: str | None = None


class Slab(Part):
    use: SlabUse = "other"
    length: float | None = None
    width: float | None = None
    area: float  # filled in from length and width
    thickness: float
    on: Base = "soil"
    exposure: Exposure = "outdoors"
    joint_spacing: float | None = None
    reinforcement: str | None = None


class Placement(Part):
    start: datetime  # aware, in the site's zone
    end: datetime
    finished: datetime | None = None
    concrete_temperature: float | None = None


class Mix(Part):
    supplier: str | None = None
    specified_strength: float
    cement: str = "I"
    cementitious: float | None = None
    water_cementitious: float | None = None
    fly_ash: float = 0.0
    slag: float = 0.0
    air: float | None = None
    admixtures: tuple[str, ...] = ()
    placed_as_planned: bool | None = None


class Ticket(Part):
    number: str | None = None
    batched: datetime | None = None
    volume: float | None = None
    slump: float | None = None
    temperature: float | None = None
    water_added: float | None = None


class Curing(Part):
    method: Method = "sprinkler"
    application_rate: float | None = None
    water_temperature: float | None = None
    timer: bool = False
    available: tuple[str, ...] = ()
    blanket_r_value: float | None = None


class Forms(Part):
    edge: bool = True


class WalkthroughItem(Part):
    item: str
    ok: bool | None = None
    note: str | None = None
    photo: str | None = None


class Cylinder(Part):
    age: float | None = None  # hours
    tested: datetime | None = None
    strength: float
    cured: Literal["field", "standard"] = "standard"


class TemperatureLog(Part):
    file: str
    depth: float | None = None


class JobRecord(Part):
    """One job."""

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
    cylinder: tuple[Cylinder, ...] = ()
    temperature_log: TemperatureLog | None = None
