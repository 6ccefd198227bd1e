"""The job record. A field is declared once: type, how it is read, limits with their reason, words, default.

    Annotated[float, Quantity("thickness", "2 in", "24 in", "why"), Field(description="...")]

A `JobRecord` holds SI: m, m2, degC, MPa, kg/m3, mm/h, m3, L, h, m2K/W. Every time is aware, in the site's
zone. Python subtracts two times of one zone by local clock time, not by elapsed hours: convert them to UTC
first.

A field without a default must be in the record, unless the reader infers it (`INFERRED`). A default by
`by_practice` comes from the rule data and is listed as assumed. `draft_of` makes the same tables with every
field optional, for a record with faults.
"""

from __future__ import annotations

import math
import re
from datetime import datetime  # noqa: TC003 - pydantic evaluates the annotations
from functools import cache
from typing import Annotated, Any, Literal, NamedTuple, TypeVar, cast, get_args, get_origin
from zoneinfo import ZoneInfo

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field, create_model
from pydantic.fields import FieldInfo  # noqa: TC002 - pydantic evaluates the annotations

from handover.base.text import EMAIL_ADDRESS
from handover.jobs.attached_files import RelativePathField
from handover.jobs.cement import CementName
from handover.jobs.country_codes import CountryCode
from handover.jobs.fields import (
    ChoiceField,
    FallField,
    FlagField,
    MomentField,
    NameField,
    NumberField,
    PatternField,
    PhoneField,
    QuantityField,
    SlugField,
    TextField,
)
from handover.jobs.scope_guard import ScopeChoiceField, ScopeTextField
from handover.jobs.time_windows import TimeWindow, TimeWindowField, parse_window
from handover.practice.combinations import combinations
from handover.practice.defaults import default_value

SlabUse = Literal["driveway", "garage floor", "patio", "walk", "house slab", "shop floor", "other"]
Base = Literal["soil", "gravel", "vapor retarder", "insulation"]
JointMethod = Literal["sawn", "early-entry", "tooled", "none"]
Finish = Literal["trowelled", "broomed", "floated", "exposed aggregate", "stamped"]
Colour = Literal["white", "clear", "black"]
Exposure = Literal["outdoors", "roofed", "indoors"]
Method = Literal[
    "sprinkler",
    "soaker hose",
    "hose by hand",
    "ponding",
    "wet burlap",
    "plastic sheet",
    "curing compound",
    "insulating blanket",
]
Cured = Literal["field", "standard"]

Draft = Any
"""A record, or a table of one, as far as it could be read: see `draft_of`. Each field may be None, and no
static type says which are present."""

# Fibres by the names the trade has for them, in English and Spanish.
_FIBRES = re.compile(r"(?:micro|macro)?-?fib(?:re|er)s?\b|(?:micro|macro)?fibras?\b", re.IGNORECASE)
_WITHOUT = re.compile(r"\b(?:no|without|sin)\s+(?:\w+\s+)?$", re.IGNORECASE)

# Post-tensioning by the names the trade has for it.
_TENDONS = re.compile(r"tendons?|strands?|(?:post|pre)[- ]?(?:tension|stress)\w*|\bp[./]?t\b", re.IGNORECASE)


class AssumedValue(NamedTuple):
    """A value assumed for a field that the record leaves out: path, value as text in SI, why."""

    field: str
    value: str
    why: str


# ---- marks of a field -------------------------------------------------------------------------------


class _Mark:
    """A mark of a field that says where its value comes from."""


INFERRED = _Mark()
"""The record may leave the field out: the reader finds the value from other fields."""

DERIVED = _Mark()
"""The record cannot have the field: the reader fills it in."""


class Fact(NamedTuple):
    """A field that the care sheet prints under "What was placed".

    Attributes:
        label: Key of its words, after "placed.".
        vocabulary: Of a choice: key of the words for its options, before the full stop.
        digits: Significant digits of a number.
        is_share: Whether a plain number is a share, printed in percent.
    """

    label: str
    vocabulary: str = ""
    digits: int = 2
    is_share: bool = False


def by_practice(path: str) -> Any:
    """Return the default of a field that the rules of practice decide."""
    return Field(default_factory=lambda: default_value(path))


_Email = Annotated[
    str | None,
    PatternField(
        254,
        example="lee@example.com",
        pattern=EMAIL_ADDRESS,
        what="an email address",
        form="one address in plain letters, without a display name",
    ),
]
_Phone = Annotated[
    str | None,
    PhoneField(
        40,
        example="336-555-0142",
        numbers=True,
        # Seven digits or more, no time of day, and few words beside them: "office 336-555-0142 ext. 3".
        pattern=r"(?!.*[0-9]:[0-9])(?!.*?(?:[A-Za-z]+[^A-Za-z\n]+){4}[A-Za-z])(?:[^0-9\n]*[0-9]){7}[^\n]*",
        what="a telephone number",
        form="seven digits or more, with the usual signs",
    ),
]
_ConcreteTemperature = Annotated[
    float | None,
    QuantityField(
        "temperature",
        "35 degF",
        "100 degF",
        "colder is close to freezing, hotter sets before it can be placed",
    ),
]


class RecordTable(BaseModel):
    """A table of the record: frozen, and without other keys."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class Site(RecordTable):
    """Where the slab is."""

    name: Annotated[
        str, TextField(120, example="Alder Lane garage"), Field(description="A short name of the site.")
    ]
    address: Annotated[
        str | None,
        TextField(300, lines=True, example="12 Alder Lane, Greensboro NC"),
        Field(description="Street address, as a visitor needs it."),
    ] = None
    project: Annotated[
        str | None,
        TextField(120, example="118 Alder Lane"),
        Field(
            description="The name that all slabs of one project share, so that their papers can be joined."
        ),
    ] = None
    latitude: Annotated[
        float | None,
        NumberField(-90, 90, "a latitude is degrees north of the equator, negative south of it", "36.10"),
        Field(description="Degrees north. With the longitude it finds the forecast and the time zone."),
    ] = None
    longitude: Annotated[
        float | None,
        NumberField(-180, 180, "a longitude is degrees east of Greenwich, negative west of it", "-79.95"),
        Field(description="Degrees east; negative in the Americas."),
    ] = None
    timezone: Annotated[
        str,
        TextField(60, example="America/New_York"),
        INFERRED,
        Field(description="IANA name; found from the place if left out, needed where no place is given."),
    ]
    country: Annotated[
        str | None,
        CountryCode(),
        Field(description="ISO 3166 code: whose rules apply. Found from the place or the zone if left out."),
    ] = None
    room_temperature: Annotated[
        float | None,
        QuantityField(
            "temperature", "-20 degF", "120 degF", "no crew works in a room that is colder or hotter"
        ),
        Fact("room-temperature"),
        Field(description="Of a slab indoors: the air of the room in the first weeks."),
    ] = None
    room_heated: Annotated[
        bool | None,
        FlagField(),
        Fact("room-heated"),
        Field(description="Of a slab indoors: whether the room is heated; needed where no air is stated."),
    ] = None


class Owner(RecordTable):
    """Who owns the slab and will care for it."""

    name: Annotated[
        str | None, TextField(120, example="Lee Park"), Field(description="The owner's name.")
    ] = None
    email: Annotated[_Email, Field(description="Where the documents are sent.")] = None
    phone: Annotated[_Phone, Field(description="The owner's telephone.")] = None
    language: Annotated[
        str,
        NameField(
            35,
            example="en",
            pattern=r"[A-Za-z]{2,3}(?:-[A-Za-z0-9]{2,8})*",
            what="the code of a language",
            form='a code such as "en" or "es"',
            names="owner.language",
        ),
        Field(description="The language the owner reads: en, es."),
    ] = by_practice("owner.language")


class Contractor(RecordTable):
    """Who placed the slab, and who the owner calls."""

    name: Annotated[
        str | None, TextField(120, example="Blue Heron Concrete"), Field(description="The firm.")
    ] = None
    phone: Annotated[_Phone, Field(description="The number to call with a question.")] = None
    email: Annotated[_Email, Field(description="The firm's email address.")] = None
    address: Annotated[
        str | None,
        TextField(300, lines=True, example="4 Quarry Road"),
        Field(description="The firm's address."),
    ] = None
    license: Annotated[
        str | None, TextField(60, example="NC 55501", numbers=True), Field(description="Licence number.")
    ] = None
    logo: Annotated[
        str | None,
        RelativePathField(pictures=True, example="logo.png"),
        Field(description="A picture file beside this record."),
    ] = None
    page_url: Annotated[
        str | None,
        PatternField(
            200,
            example="https://example.com/care/alder-lane",
            pattern=r"https://[A-Za-z0-9-]+(?:\.[A-Za-z0-9-]+)+(?::[0-9]{1,5})?"
            r"(?:/[A-Za-z0-9._~!$&'()*+,;=:@%/?#-]*)?",
            what="an address of a page",
            form="https:// and the whole address, up to 200 plain letters",
        ),
        Field(
            description="The address where the care page will be published; the sheet has it as a QR code."
        ),
    ] = None


WET_COVERS = ("wet burlap", "plastic sheet")
"""The covers that keep a slab wet, the lesser first."""


class Slab(RecordTable):
    """The slab itself. Its size is either length and width, or an area."""

    use: Annotated[
        SlabUse,
        ScopeChoiceField(get_args(SlabUse), "slab.use"),
        Fact("use", "use"),
        Field(description="What the slab is for."),
    ] = by_practice("slab.use")
    length: Annotated[
        float | None,
        QuantityField("length", "1 ft", "5000 ft", "no slab of one job is that long or that short"),
        Field(description="The long side of the slab."),
    ] = None
    width: Annotated[
        float | None,
        QuantityField("length", "1 ft", "5000 ft", "no slab of one job is that wide or that narrow"),
        Field(description="The short side of the slab."),
    ] = None
    area: Annotated[
        float,
        QuantityField("area", "4 ft2", "100000 ft2", "no crew places that little or that much in one job"),
        INFERRED,
        Fact("area", digits=3),
        Field(description="The area, if the slab is not a rectangle."),
    ]
    thickness: Annotated[
        float,
        QuantityField(
            "thickness", "2 in", "24 in", "thinner is a topping, thicker heats as mass concrete does"
        ),
        Fact("thickness", digits=3),
        Field(description="How thick the slab is."),
    ]
    on: Annotated[
        Base,
        ScopeChoiceField(get_args(Base), "slab.on"),
        Fact("on", "base"),
        Field(description="What the concrete is placed on."),
    ] = by_practice("slab.on")
    exposure: Annotated[
        Exposure,
        ChoiceField(get_args(Exposure), "slab.exposure"),
        Fact("exposure", "exposure"),
        Field(description="Open to sun, wind and rain, under a roof, or inside, with doors and windows."),
    ] = by_practice("slab.exposure")
    joints: Annotated[
        JointMethod,
        ChoiceField(get_args(JointMethod), "slab.joints"),
        Field(description="How the joints are made: sawn, by an early-entry saw, tooled, or none."),
    ] = by_practice("slab.joints")
    joint_spacing: Annotated[
        float | None,
        QuantityField("length", "2 ft", "60 ft", "joints are cut some 8 to 18 ft apart"),
        Fact("joints", digits=3),
        Field(description="Distance between the joints."),
    ] = None
    joints_cut: Annotated[
        bool | None,
        FlagField(),
        Field(description="Whether the joints are cut by now; then the papers speak of no saw any more."),
    ] = None
    reinforcement: Annotated[
        str | None,
        ScopeTextField(200, example="6x6 W2.9 mesh"),
        Fact("reinforcement"),
        Field(description="Bars, mesh, fibre, tendons or none."),
    ] = None

    finish: Annotated[
        Finish | None,
        ChoiceField(get_args(Finish), "slab.finish"),
        Fact("finish", "finish"),
        Field(description="The surface: trowelled, broomed, floated, exposed aggregate or stamped."),
    ] = None
    coloured: Annotated[
        bool | None,
        FlagField(),
        Fact("coloured"),
        Field(description="Whether the concrete or its surface has a colour of its own."),
    ] = None
    heated: Annotated[
        bool | None,
        FlagField(),
        Fact("heated"),
        Field(description="Whether there are heating pipes or cables in the slab."),
    ] = None
    flooring: Annotated[
        bool | None,
        FlagField(),
        Fact("flooring"),
        Field(description="Whether a floor will be laid on the slab later: tile, wood, carpet, vinyl."),
    ] = None
    slope: Annotated[
        float | None,
        FallField(0, 0.25, "a share: write 0.02 for 2 %, a steeper slab is a ramp", "0.02", is_share=True),
        Fact("slope", is_share=True),
        Field(description="Fall of the top, as a share: 0.02 is 2 %, about 1/4 in in a foot."),
    ] = None

    @property
    def covers(self) -> tuple[str, ...]:
        """The covers that may lie on it while it is wet, the lesser first; none where they leave marks."""
        return tuple(each for each in WET_COVERS if self._suits(each))

    def _suits(self, method: str) -> bool:
        """Return whether a method of curing goes with the slab, by the combinations of practice."""
        values = {**dict(self), "method": method, "colour": None}
        of_method = (each for each in combinations() if each.field == "curing.method")
        return not any(each.matches(values) for each in of_method)

    @property
    def short_side(self) -> float:
        """The shorter side, in m; of a slab without sides, that of a square of its area."""
        sides = [each for each in (self.length, self.width) if each is not None]
        return min(sides) if sides else math.sqrt(self.area)

    @property
    def is_jointed(self) -> bool:
        """Whether it has joints, however they are made."""
        return self.joints != "none"

    @property
    def gets_rain(self) -> bool:
        """Whether rain and sun reach it: it has neither roof nor room."""
        return self.exposure == "outdoors"

    def has_fibres(self, admixtures: tuple[str, ...] = ()) -> bool:
        """Whether there are fibres in the concrete, by the reinforcement or the admixtures."""
        texts = (self.reinforcement or "", *admixtures)
        found = ((text, _FIBRES.search(text)) for text in texts)
        return any(each is not None and not _WITHOUT.search(text[: each.start()]) for text, each in found)

    @property
    def has_tendons(self) -> bool:
        """Whether the slab is post-tensioned: then the engineer of record decides when it may be loaded."""
        return bool(_TENDONS.search(self.reinforcement or ""))


class Placement(RecordTable):
    """When the concrete was placed, and how warm."""

    start: Annotated[AwareDatetime, MomentField(), Field(description="First concrete placed.")]
    end: Annotated[
        AwareDatetime, MomentField("2026-07-14T08:05:00"), Field(description="Last concrete placed.")
    ]
    finished: Annotated[
        AwareDatetime | None,
        MomentField("2026-07-14T12:10:00"),
        Fact("finished"),
        Field(description="Last pass of the trowel or broom."),
    ] = None
    concrete_temperature: Annotated[
        _ConcreteTemperature, Fact("temperature"), Field(description="Measured at discharge, if it was.")
    ] = None


class Mix(RecordTable):
    """What the concrete is made of."""

    supplier: Annotated[
        str | None,
        TextField(120, example="Stone Creek Ready Mix"),
        Fact("supplier"),
        Field(description="Who made it."),
    ] = None
    specified_strength: Annotated[
        float,
        QuantityField("strength", "2000 psi", "8000 psi", "slabs on ground are specified between these"),
        Fact("strength"),
        Field(description="The strength that was ordered, at 28 days."),
    ]
    cement: Annotated[
        str, CementName(), Field(description="ASTM C150 type (I, II, III, V) or EN 197 class (42.5 N).")
    ] = by_practice("mix.cement")
    cement_ordered: Annotated[str | None, DERIVED] = None  # as written in the record
    cementitious: Annotated[
        float,
        QuantityField(
            "content", "200 lb/yd3", "1200 lb/yd3", "no ready-mix for a slab has so little or so much"
        ),
        Fact("cementitious", digits=3),
        Field(description="Cement, fly ash and slag together, in a volume of concrete."),
    ] = by_practice("mix.cementitious")
    water_cementitious: Annotated[
        float,
        NumberField(
            0.3, 0.7, "drier cannot be placed by hand, wetter is not strong enough for a slab", "0.50"
        ),
        Fact("w-cm"),
        Field(description="Water over cementitious material, by mass."),
    ] = by_practice("mix.water_cementitious")
    fly_ash: Annotated[
        float,
        NumberField(0, 0.9, "a share by mass: write 0.20 for 20 %", "0.20", is_share=True),
        Fact("fly-ash", is_share=True),
        Field(description="Share of the cementitious material that is fly ash."),
    ] = by_practice("mix.fly_ash")
    slag: Annotated[
        float,
        NumberField(0, 0.9, "a share by mass: write 0.35 for 35 %", "0.35", is_share=True),
        Fact("slag", is_share=True),
        Field(description="Share of the cementitious material that is slag."),
    ] = by_practice("mix.slag")
    air: Annotated[
        float | None,
        NumberField(0, 0.12, "a share by volume: write 0.06 for 6 %", "0.06", is_share=True),
        Fact("air", is_share=True),
        Field(description="Entrained air, as a share of the volume."),
    ] = None
    admixtures: Annotated[
        tuple[Annotated[str, TextField(80, example="retarder")], ...],
        Fact("admixtures"),
        Field(
            description='Such as "retarder", "accelerator", "air entrainer", "water reducer".', max_length=20
        ),
    ] = ()
    placed_as_planned: Annotated[
        bool | None, FlagField(), Field(description="Whether the concrete delivered is the one ordered.")
    ] = None


class Ticket(RecordTable):
    """One truck."""

    number: Annotated[
        str | None,
        TextField(40, example="88121", numbers=True),
        Field(description="Number of the delivery ticket."),
    ] = None
    batched: Annotated[
        AwareDatetime | None,
        MomentField("2026-07-14T06:05:00"),
        Field(description="When the water met the cement."),
    ] = None
    discharge_limit: Annotated[
        float | None,
        QuantityField("duration", "20 min", "8 h", "no plant allows that little or that much"),
        Field(description="Time from batching within which the ticket wants the truck empty, if it says so."),
    ] = None
    volume: Annotated[
        float | None,
        QuantityField("volume", "0.1 yd3", "20 yd3", "no truck carries that little or that much"),
        Field(description="Concrete in this truck."),
    ] = None
    slump: Annotated[
        float | None,
        QuantityField(
            "thickness", "0 in", "11 in", "the slump cone is 12 in high", noun="a slump", usual="0.5 in"
        ),
        Field(description="Slump measured at the site."),
    ] = None
    temperature: Annotated[_ConcreteTemperature, Field(description="Of the concrete at discharge.")] = None
    water_added: Annotated[
        float | None,
        QuantityField("water", "0 gal", "200 gal", "no truck can take that much"),
        Field(description="Water added at the site, to the whole truck."),
    ] = None


class Curing(RecordTable):
    """How the slab is kept moist and warm."""

    method: Annotated[
        Method,
        ChoiceField(get_args(Method), "curing.method"),
        Fact("curing", "method"),
        Field(description="How it is done."),
    ] = by_practice("curing.method")
    application_rate: Annotated[
        float | None,
        QuantityField("application rate", "0.02 in/h", "6 in/h", "less is a mist, more is a burst main"),
        Field(description="Depth of water from the hose or sprinkler in an hour, measured with a can."),
    ] = None
    water_temperature: Annotated[
        float | None,
        QuantityField("temperature", "33 degF", "120 degF", "colder is ice, hotter scalds"),
        Field(description="Of the curing water."),
    ] = None
    timer: Annotated[bool, FlagField(), Field(description="Whether a hose timer does the work.")] = (
        by_practice("curing.timer")
    )
    available: Annotated[
        tuple[Annotated[str, TimeWindowField()], ...],
        Field(description="Hours of the day when somebody can be there.", max_length=12),
    ] = ()
    blanket_r_value: Annotated[
        float | None,
        QuantityField(
            "thermal resistance", "R-0.3", "R-30", "no curing blanket insulates so little or so much"
        ),
        Field(description="Thermal resistance of the insulating blanket."),
    ] = None
    colour: Annotated[
        Colour | None,
        ChoiceField(get_args(Colour)),
        Field(description="Of the curing compound or the plastic sheet: how much sun it takes up."),
    ] = None
    seals: Annotated[
        bool | None,
        FlagField(),
        Field(description="Whether the curing compound is a sealer too, which stays: cure and seal."),
    ] = None

    @property
    def is_unattended(self) -> bool:
        """Whether the record says that nobody can be there at any hour: it has the field, and no hours."""
        return not self.available and "available" in self.model_fields_set

    @property
    def windows(self) -> tuple[TimeWindow, ...]:
        """The hours of the day when somebody can be there, from and to, in order."""
        return tuple(sorted(parse_window(text) for text in self.available))


class Forms(RecordTable):
    """The edge forms of the slab."""

    edge: Annotated[bool, FlagField(), Field(description="Whether there are edge forms to strip later.")] = (
        by_practice("forms.edge")
    )


class WalkthroughItem(RecordTable):
    """One item of the walk-through with the owner."""

    item: Annotated[str, TextField(200, example="Door line"), Field(description="What was looked at.")]
    ok: Annotated[bool | None, FlagField(), Field(description="Whether it is as it should be.")] = None
    note: Annotated[
        str | None,
        TextField(1000, lines=True, example="within 1/8 in under a 10 ft straightedge"),
        Field(description="Remark."),
    ] = None
    photo: Annotated[
        str | None,
        RelativePathField(pictures=True, example="photos/door.jpg"),
        Field(description="A picture beside this record."),
    ] = None


class Acknowledgement(RecordTable):
    """The owner's acknowledgement of slab and sheet, typed instead of a signature."""

    name: Annotated[
        str, TextField(120, example="Lee Park"), Field(description="Who acknowledged the handover.")
    ]
    time: Annotated[
        AwareDatetime, MomentField("2026-07-14T14:20:00"), Field(description="When it was acknowledged.")
    ]
    remarks: Annotated[
        str | None,
        TextField(1000, lines=True, example="Honeycomb by the water line seen; the crew repairs it."),
        Field(description="Remarks of the owner."),
    ] = None


class Cylinder(RecordTable):
    """One strength test."""

    age: Annotated[
        float | None,
        QuantityField(
            "duration", "4 h", "400 d", "earlier it cannot be tested, later it says nothing about curing"
        ),
        Field(description="Age at the test, from the placement; or give tested."),
    ] = None
    tested: Annotated[
        AwareDatetime | None,
        MomentField("2026-07-21T09:00:00"),
        Field(description="When it was tested; or give age."),
    ] = None
    strength: Annotated[
        float,
        QuantityField("strength", "50 psi", "15000 psi", "no cylinder of such concrete breaks there"),
        Field(description="Strength it broke at."),
    ]
    cured: Annotated[
        Cured,
        ChoiceField(get_args(Cured)),
        Field(description="Beside the slab (field) or in the laboratory (standard)."),
    ] = "standard"


class InfraredReading(RecordTable):
    """One reading of an infrared thermometer on the surface."""

    time: Annotated[AwareDatetime, MomentField("2026-07-14T18:00:00"), Field(description="When it was read.")]
    temperature: Annotated[
        float,
        QuantityField("temperature", "-10 degF", "170 degF", "no surface of young concrete is like that"),
        Field(description="Of the surface, where no sun falls on it at that moment or it is evenly lit."),
    ]


class ScratchTest(RecordTable):
    """One scratch of the surface with a key."""

    time: Annotated[
        AwareDatetime, MomentField("2026-07-14T15:30:00"), Field(description="When it was tried.")
    ]
    marks: Annotated[bool, FlagField(), Field(description="Whether the key leaves a mark.")]


class LogReading(NamedTuple):
    """The mean time and the mean temperature, in degC, of a logger's readings within an hour."""

    time: datetime
    temperature: float


class TemperatureLog(RecordTable):
    """Readings of a logger in the slab."""

    file: Annotated[
        str, RelativePathField(example="logger.csv"), Field(description="A CSV file beside this record.")
    ]
    depth: Annotated[
        float | None,
        QuantityField("thickness", "0 in", "24 in", "no slab is deeper"),
        Field(description="Depth of the sensor below the surface."),
    ] = None
    readings: Annotated[tuple[LogReading, ...], DERIVED] = ()


AFTER_THE_POUR = ("ticket", "cylinder", "infrared", "scratch", "temperature_log", "acknowledgement")
"""Tables of what is known only after the pour. A record from an earlier job may have them before it."""


class JobRecord(RecordTable):
    """A concrete slab on ground, as the crew wrote it down. Quantities have units; times are local."""

    id: Annotated[
        str, SlugField(), Field(description="A short name for the job, without blanks; it names the folder.")
    ]
    site: Site
    owner: Owner = Field(default_factory=Owner)
    contractor: Contractor = Contractor()
    slab: Slab
    placement: Placement
    mix: Mix
    ticket: Annotated[tuple[Ticket, ...], Field(description="One for each truck.", max_length=200)] = ()
    curing: Curing = Field(default_factory=Curing)
    forms: Forms = Field(default_factory=Forms)
    walkthrough: Annotated[
        tuple[WalkthroughItem, ...], Field(description="What was looked at.", max_length=200)
    ] = ()
    acknowledgement: Acknowledgement | None = None
    cylinder: Annotated[tuple[Cylinder, ...], Field(description="Strength tests.", max_length=200)] = ()
    infrared: Annotated[
        tuple[InfraredReading, ...], Field(description="Temperatures of the surface.", max_length=200)
    ] = ()
    scratch: Annotated[
        tuple[ScratchTest, ...], Field(description="Scratches of the surface.", max_length=200)
    ] = ()
    temperature_log: TemperatureLog | None = None
    written_in: Annotated[Literal["us", "si"], DERIVED] = "us"  # the units of most of its quantities
    assumed: Annotated[tuple[AssumedValue, ...], DERIVED] = ()

    @property
    def zone(self) -> ZoneInfo:
        """The time zone of the site."""
        return ZoneInfo(self.site.timezone)


# ---- the declarations, for modules that read, check, describe or print a record -------------------------

FieldMark = TypeVar("FieldMark")


@cache
def tables() -> dict[str, type[RecordTable]]:
    """Return the tables of the record by name."""
    named = ((name, _table_of(field.annotation)) for name, field in JobRecord.model_fields.items())
    return {name: table for name, table in named if table is not None}


def headings() -> dict[str, str]:
    """Return the heading of each table by its name: "[site]", and "[[ticket]]" where there may be several."""
    several = {
        name for name, field in JobRecord.model_fields.items() if get_origin(field.annotation) is tuple
    }
    return {name: f"[[{name}]]" if name in several else f"[{name}]" for name in tables()}


def _table_of(annotation: Any) -> type[RecordTable] | None:
    """Return the table in an annotation: `Site`, `Site | None`, `tuple[Ticket, ...]`."""
    if isinstance(annotation, type) and issubclass(annotation, RecordTable):
        return annotation
    return next(filter(None, map(_table_of, get_args(annotation))), None)


def mark_of(field: FieldInfo, mark: type[FieldMark]) -> FieldMark | None:
    """Return the mark of a type that a field has, such as its parser, or None."""
    return next((each for each in field.metadata if isinstance(each, mark)), None)


@cache
def fields_of(table: type[RecordTable]) -> dict[str, FieldInfo]:
    """Return the fields of a table that a record can have."""
    return {name: field for name, field in table.model_fields.items() if DERIVED not in field.metadata}


@cache
def required_fields(table: type[RecordTable]) -> tuple[str, ...]:
    """Return the fields of a table that a record must have."""
    return tuple(
        name
        for name, field in fields_of(table).items()
        if field.is_required() and INFERRED not in field.metadata
    )


def declaration_of(path: str) -> FieldInfo:
    """Return the declaration of a field: "slab.thickness", "id".

    Raises:
        KeyError: The record has no such field.
    """
    name, _, key = path.partition(".")
    return tables()[name].model_fields[key] if key else JobRecord.model_fields[name]


@cache
def draft_of(table: type[RecordTable]) -> type[RecordTable]:
    """Return a table with the fields that a record can have, all of them optional."""
    fields = {name: _optional(field) for name, field in fields_of(table).items()}
    made = create_model(table.__name__, __base__=RecordTable, __doc__=table.__doc__, **cast("Any", fields))
    return cast("type[RecordTable]", made)


def _optional(field: FieldInfo) -> tuple[Any, Any]:
    """Return a field as `create_model` takes it: its type with its marks, and its default."""
    part = _table_of(field.annotation)
    kept = [*field.metadata, Field(description=field.description)]
    if part is not None and get_origin(field.annotation) is tuple:
        return Annotated[(tuple[draft_of(part), ...], *kept)], ()  # type: ignore[misc]
    inner = field.annotation if part is None else draft_of(part)
    return Annotated[(inner | None, *kept)], None  # type: ignore[operator]
