"""The job record as it is written: every field, how it is read, its limits with their reason.

All fields may be missing here, so that what could be read can be checked even where something is at fault;
``needed`` names those that must be there. `model` holds the record as the rest of the program knows it.
"""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, ClassVar, get_args

from pydantic import BaseModel, ConfigDict, Field

from handover.jobs.cement import Cement
from handover.jobs.country import Country
from handover.jobs.fields import (
    Choice,
    Flag,
    Moment,
    Number,
    Pattern,
    Quantity,
    Slug,
    Text,
)
from handover.jobs.ground import GroundChoice, GroundText
from handover.jobs.model import Base, Cured, Exposure, Method, SlabUse
from handover.jobs.paths import RelativePath
from handover.jobs.visits import Visit


class Table(BaseModel):
    """One table of the record. It knows its keys and no others."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    needed: ClassVar[tuple[str, ...]] = ()


_Email = Annotated[
    str | None,
    Pattern(
        254,
        example="lee@example.com",
        pattern=r'[^\s@<>"(),:;\\\[\]]{1,64}@[A-Za-z0-9-]+(?:\.[A-Za-z0-9-]+)+',
        what="an e-mail address",
        form="one address, without a name",
    ),
]
_Phone = Annotated[
    str | None,
    Pattern(
        40,
        example="336-555-0142",
        pattern=r"(?=.*[0-9].*[0-9].*[0-9])[^\n]*",
        what="a telephone number",
        form="digits with the usual signs",
    ),
]
_ConcreteTemperature = Annotated[
    float | None,
    Quantity(
        "temperature",
        "35 degF",
        "100 degF",
        "colder is close to freezing, hotter sets before it can be placed",
    ),
]


class Site(Table):
    """Where the slab is."""

    needed = ("name",)
    name: Annotated[
        str | None, Text(120, example="Alder Lane garage"), Field(description="What to call the job.")
    ] = None
    address: Annotated[
        str | None,
        Text(300, lines=True, example="12 Alder Lane, Greensboro NC"),
        Field(description="Street address, as a visitor needs it."),
    ] = None
    latitude: Annotated[
        float | None,
        Number(-90, 90, "a latitude is degrees north of the equator, negative south of it", "36.10"),
        Field(description="Degrees north. With the longitude it finds the forecast and the time zone."),
    ] = None
    longitude: Annotated[
        float | None,
        Number(-180, 180, "a longitude is degrees east of Greenwich, negative west of it", "-79.95"),
        Field(description="Degrees east; negative in the Americas."),
    ] = None
    timezone: Annotated[
        str | None,
        Text(60, example="America/New_York"),
        Field(description="IANA name; found from the place if left out, needed where no place is given."),
    ] = None
    country: Annotated[
        str | None,
        Country(),
        Field(description="ISO 3166 code: whose rules hold. Found from the place or the zone if left out."),
    ] = None


class Owner(Table):
    """Who owns the slab and will care for it."""

    name: Annotated[str | None, Text(120, example="Lee Park"), Field(description="The owner's name.")] = None
    email: Annotated[_Email, Field(description="Where the documents are sent.")] = None
    phone: Annotated[_Phone, Field(description="The owner's telephone.")] = None
    language: Annotated[
        str | None,
        Pattern(
            35,
            example="en",
            pattern=r"[A-Za-z]{2,3}(?:-[A-Za-z0-9]{2,8})*",
            what="the code of a language",
            form='a code such as "en" or "es"',
        ),
        Field(description="The language the owner reads: en, es."),
    ] = None


class Contractor(Table):
    """Who placed the slab, and whom the owner calls."""

    name: Annotated[str | None, Text(120, example="Blue Heron Concrete"), Field(description="The firm.")] = (
        None
    )
    phone: Annotated[_Phone, Field(description="The number to call with a question.")] = None
    email: Annotated[_Email, Field(description="The firm's e-mail address.")] = None
    address: Annotated[
        str | None, Text(300, lines=True, example="4 Quarry Road"), Field(description="The firm's address.")
    ] = None
    license: Annotated[str | None, Text(60, example="NC 55501"), Field(description="Licence number.")] = None
    logo: Annotated[
        str | None,
        RelativePath(pictures=True, example="logo.png"),
        Field(description="A picture file beside this record."),
    ] = None
    page_url: Annotated[
        str | None,
        Pattern(
            200,
            example="https://example.com/care/alder-lane",
            pattern=r"https://[A-Za-z0-9-]+(?:\.[A-Za-z0-9-]+)+(?::[0-9]{1,5})?"
            r"(?:/[A-Za-z0-9._~!$&'()*+,;=:@%/?#-]*)?",
            what="an address of a page",
            form="https:// and the whole address, up to 200 plain letters",
        ),
        Field(description="Where the care page of this job will be put; the sheet carries it as a QR code."),
    ] = None


class Slab(Table):
    """The slab itself. Its size is either length and width, or an area."""

    needed = ("thickness",)
    use: Annotated[
        str | None, GroundChoice(get_args(SlabUse)), Field(description="What the slab is for.")
    ] = None
    length: Annotated[
        float | None,
        Quantity("length", "1 ft", "5000 ft", "no slab of one job is that long or that short"),
        Field(description="The long side of the slab."),
    ] = None
    width: Annotated[
        float | None,
        Quantity("length", "1 ft", "5000 ft", "no slab of one job is that wide or that narrow"),
        Field(description="The short side of the slab."),
    ] = None
    area: Annotated[
        float | None,
        Quantity("area", "4 ft2", "100000 ft2", "no crew places that little or that much in one job"),
        Field(description="The area, where the slab is no rectangle."),
    ] = None
    thickness: Annotated[
        float | None,
        Quantity("thickness", "2 in", "24 in", "thinner is a topping, thicker heats as mass concrete does"),
        Field(description="How thick the slab is."),
    ] = None
    on: Annotated[
        str | None, GroundChoice(get_args(Base)), Field(description="What the concrete lies on.")
    ] = None
    exposure: Annotated[
        str | None,
        Choice(get_args(Exposure)),
        Field(description="Open to sun, wind and rain, under a roof, or inside."),
    ] = None
    joint_spacing: Annotated[
        float | None,
        Quantity("length", "2 ft", "60 ft", "joints are cut some 8 to 18 ft apart"),
        Field(description="Distance between the joints."),
    ] = None
    reinforcement: Annotated[
        str | None,
        GroundText(200, example="6x6 W2.9 mesh"),
        Field(description="Bars, mesh, fibre, tendons or none."),
    ] = None


class Placement(Table):
    """When the concrete was placed."""

    needed = ("start", "end")
    start: Annotated[datetime | None, Moment(), Field(description="First concrete placed.")] = None
    end: Annotated[
        datetime | None, Moment("2026-07-14T08:05:00"), Field(description="Last concrete placed.")
    ] = None
    finished: Annotated[
        datetime | None, Moment("2026-07-14T12:10:00"), Field(description="Last pass of the trowel or broom.")
    ] = None
    concrete_temperature: Annotated[
        _ConcreteTemperature, Field(description="Measured at discharge, if it was.")
    ] = None


class Mix(Table):
    """What the concrete is made of."""

    needed = ("specified_strength",)
    supplier: Annotated[
        str | None, Text(120, example="Stone Creek Ready Mix"), Field(description="Who made it.")
    ] = None
    specified_strength: Annotated[
        float | None,
        Quantity("strength", "2000 psi", "8000 psi", "slabs on ground are specified between these"),
        Field(description="The strength that was ordered, at 28 days."),
    ] = None
    cement: Annotated[
        str | None, Cement(), Field(description="ASTM C150 type (I, II, III, V) or EN 197 class (42.5 N).")
    ] = None
    cementitious: Annotated[
        float | None,
        Quantity("content", "200 lb/yd3", "1200 lb/yd3", "no ready-mix for a slab has so little or so much"),
        Field(description="Cement, fly ash and slag together, in a volume of concrete."),
    ] = None
    water_cementitious: Annotated[
        float | None,
        Number(0.3, 0.7, "drier cannot be placed by hand, wetter is not strong enough for a slab", "0.50"),
        Field(description="Water over cementitious material, by mass."),
    ] = None
    fly_ash: Annotated[
        float | None,
        Number(0, 0.9, "a share by mass: write 0.20 for 20 %", "0.20"),
        Field(description="Share of the cementitious material that is fly ash."),
    ] = None
    slag: Annotated[
        float | None,
        Number(0, 0.9, "a share by mass: write 0.35 for 35 %", "0.35"),
        Field(description="Share of the cementitious material that is slag."),
    ] = None
    air: Annotated[
        float | None,
        Number(0, 0.12, "a share by volume: write 0.06 for 6 %", "0.06"),
        Field(description="Entrained air, as a share of the volume."),
    ] = None
    admixtures: Annotated[
        tuple[Annotated[str, Text(80, example="retarder")], ...] | None,
        Field(
            description='Such as "retarder", "accelerator", "air entrainer", "water reducer".', max_length=20
        ),
    ] = None
    placed_as_planned: Annotated[
        bool | None, Flag(), Field(description="Whether what came is what was ordered.")
    ] = None


class Ticket(Table):
    """One truck."""

    number: Annotated[
        str | None, Text(40, example="88121"), Field(description="Number of the delivery ticket.")
    ] = None
    batched: Annotated[
        datetime | None, Moment("2026-07-14T06:05:00"), Field(description="When the water met the cement.")
    ] = None
    volume: Annotated[
        float | None,
        Quantity("volume", "0.1 yd3", "20 yd3", "no truck carries that little or that much"),
        Field(description="Concrete in this truck."),
    ] = None
    slump: Annotated[
        float | None,
        Quantity("thickness", "0 in", "11 in", "the slump cone is 12 in high"),
        Field(description="Slump measured at the site."),
    ] = None
    temperature: Annotated[_ConcreteTemperature, Field(description="Of the concrete at discharge.")] = None
    water_added: Annotated[
        float | None,
        Quantity("water", "0 gal", "200 gal", "no truck can take that much"),
        Field(description="Water added at the site, to the whole truck."),
    ] = None


class Curing(Table):
    """How the slab is kept moist and warm."""

    method: Annotated[str | None, Choice(get_args(Method)), Field(description="How it is done.")] = None
    application_rate: Annotated[
        float | None,
        Quantity("application rate", "0.02 in/h", "6 in/h", "less is a mist, more is a burst main"),
        Field(description="Depth of water the hose or sprinkler gives in an hour: stand a can under it."),
    ] = None
    water_temperature: Annotated[
        float | None,
        Quantity("temperature", "33 degF", "120 degF", "colder is ice, hotter scalds"),
        Field(description="Of the curing water."),
    ] = None
    timer: Annotated[bool | None, Flag(), Field(description="Whether a hose timer does the work.")] = None
    available: Annotated[
        tuple[Annotated[str, Visit()], ...] | None,
        Field(description="Hours of the day when somebody can be there.", max_length=12),
    ] = None
    blanket_r_value: Annotated[
        float | None,
        Quantity("thermal resistance", "R-0.3", "R-30", "no curing blanket insulates so little or so much"),
        Field(description="Thermal resistance of the insulating blanket."),
    ] = None


class Forms(Table):
    """What forms stand."""

    edge: Annotated[
        bool | None, Flag(), Field(description="Whether edge forms stand, to be stripped later.")
    ] = None


class WalkthroughItem(Table):
    """One thing looked at together with the owner."""

    needed = ("item",)
    item: Annotated[str | None, Text(200, example="Door line"), Field(description="What was looked at.")] = (
        None
    )
    ok: Annotated[bool | None, Flag(), Field(description="Whether it is as it should be.")] = None
    note: Annotated[
        str | None,
        Text(1000, lines=True, example="within 1/8 in under a 10 ft straightedge"),
        Field(description="Remark."),
    ] = None
    photo: Annotated[
        str | None,
        RelativePath(pictures=True, example="photos/door.jpg"),
        Field(description="A picture beside this record."),
    ] = None


class Acknowledgement(Table):
    """The owner's word that slab and sheet were handed over, typed in place of a signature."""

    needed = ("name", "time")
    name: Annotated[
        str | None, Text(120, example="Lee Park"), Field(description="Who acknowledged the handover.")
    ] = None
    time: Annotated[
        datetime | None, Moment("2026-07-14T14:20:00"), Field(description="When it was acknowledged.")
    ] = None
    remarks: Annotated[
        str | None,
        Text(1000, lines=True, example="Honeycomb by the water line seen; the crew mends it."),
        Field(description="What was said with it."),
    ] = None


class Cylinder(Table):
    """One strength test."""

    needed = ("strength",)
    age: Annotated[
        float | None,
        Quantity("duration", "4 h", "400 d", "earlier it cannot be tested, later it tells nothing of curing"),
        Field(description="Age at the test, from the placement; or give tested."),
    ] = None
    tested: Annotated[
        datetime | None, Moment("2026-07-21T09:00:00"), Field(description="When it was tested; or give age.")
    ] = None
    strength: Annotated[
        float | None,
        Quantity("strength", "50 psi", "15000 psi", "no cylinder of such concrete breaks there"),
        Field(description="Strength it broke at."),
    ] = None
    cured: Annotated[
        str | None,
        Choice(get_args(Cured)),
        Field(description="Beside the slab (field) or in the laboratory (standard)."),
    ] = None


class TemperatureLog(Table):
    """Readings of a logger in the slab."""

    needed = ("file",)
    file: Annotated[
        str | None, RelativePath(example="logger.csv"), Field(description="A CSV file beside this record.")
    ] = None
    depth: Annotated[
        float | None,
        Quantity("thickness", "0 in", "24 in", "no slab is deeper"),
        Field(description="Depth of the sensor below the surface."),
    ] = None


class WrittenRecord(Table):
    """A concrete slab on ground, as the crew wrote it down. Quantities have units; times are local."""

    needed = ("id", "site", "slab", "placement", "mix")
    id: Annotated[
        str | None,
        Slug(),
        Field(description="A short name for the job, without blanks; it names the folder."),
    ] = None
    site: Site | None = None
    owner: Owner | None = None
    contractor: Contractor | None = None
    slab: Slab | None = None
    placement: Placement | None = None
    mix: Mix | None = None
    ticket: Annotated[tuple[Ticket, ...], Field(description="One for each truck.", max_length=200)] = ()
    curing: Curing | None = None
    forms: Forms | None = None
    walkthrough: Annotated[
        tuple[WalkthroughItem, ...], Field(description="What was looked at.", max_length=200)
    ] = ()
    acknowledgement: Acknowledgement | None = None
    cylinder: Annotated[tuple[Cylinder, ...], Field(description="Strength tests.", max_length=200)] = ()
    temperature_log: TemperatureLog | None = None


def tables() -> dict[str, type[Table]]:
    """Return the tables of the record by name."""
    found: dict[str, type[Table]] = {}
    for name, field in WrittenRecord.model_fields.items():
        for part in (field.annotation, *_parts(field.annotation)):
            if isinstance(part, type) and issubclass(part, Table):
                found[name] = part
    return found


def _parts(annotation: Any) -> list[Any]:
    return [part for each in get_args(annotation) for part in (each, *_parts(each))]
