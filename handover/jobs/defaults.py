"""What is taken for something the record leaves out, and why. Every one of these is told as "assumed"."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, NamedTuple

from handover.jobs.cement import CEMENT_TAKEN_AS
from handover.jobs.model import Assumed


class Default(NamedTuple):
    """A value in SI, the value as text, and why it was chosen."""

    value: Any
    told: str
    why: str


# Common practice, no source, unless the reason names one. Where two would do, the one that gives later dates.
DEFAULTS: Mapping[tuple[str, str], Default] = {
    ("slab", "use"): Default("other", "other", "no use told"),
    ("slab", "on"): Default(
        "soil", "soil", "no base told; bare ground draws the most heat out of a slab in the cold"
    ),
    ("slab", "exposure"): Default(
        "outdoors", "outdoors", "no shelter told; open to sun, wind, rain and frost"
    ),
    ("mix", "cement"): Default("I", "I", "the ordinary portland cement of ASTM C150"),
    ("mix", "cementitious"): Default(
        334.6, "335 kg/m3", "six sacks a cubic yard (564 lb/yd3), usual for slabs"
    ),
    ("mix", "water_cementitious"): Default(0.50, "0.50", "usual for slabs of 3000 to 4000 psi"),
    ("mix", "fly_ash"): Default(0.0, "0", "none told"),
    ("mix", "slag"): Default(0.0, "0", "none told"),
    ("curing", "method"): Default("sprinkler", "sprinkler", "no method told; every owner has a hose"),
    ("curing", "timer"): Default(False, "no timer", "none told"),
    ("forms", "edge"): Default(True, "edge forms stand", "nothing told; a slab has edge forms"),
    ("owner", "language"): Default("en", "en", "no language told"),
}

# What a garden hose at household pressure gives over a slab, by what is at its end.
APPLICATION_RATE: Mapping[str, Default] = {
    "sprinkler": Default(10.0, "10 mm/h", "a lawn sprinkler gives some 10 mm/h; a can under it tells"),
    "soaker hose": Default(6.0, "6 mm/h", "a soaker hose gives less than a sprinkler; a can under it tells"),
    "ponding": Default(20.0, "20 mm/h", "an open hose run onto a slab within a dike"),
    "wet burlap": Default(10.0, "10 mm/h", "burlap is wetted with the same hose as a slab"),
}
BLANKET = Default(
    0.53, "0.53 m2K/W", "R-3, a single thin curing blanket: a thicker one keeps the slab warmer"
)


class Filled(NamedTuple):
    """The tables of a record with nothing missing that the calculation needs, and what was assumed."""

    tables: dict[str, Any]
    assumed: tuple[Assumed, ...]


def fill_in(tables: Mapping[str, Any], cement_as_written: object) -> Filled:
    """Return the tables with the defaults in place of what they leave out.

    Args:
        tables: Values in SI by table and key; what was left out is missing.
        cement_as_written: For the note on a cement that goes by another name.
    """
    filled = {name: dict(table) if isinstance(table, Mapping) else table for name, table in tables.items()}
    assumed: list[Assumed] = []

    def take(table: str, key: str, default: Default) -> None:
        if filled.setdefault(table, {}).get(key) is None:
            filled[table][key] = default.value
            assumed.append(Assumed(f"{table}.{key}", default.told, default.why))

    for (table, key), default in DEFAULTS.items():
        take(table, key, default)
    method = filled["curing"]["method"]
    if method in APPLICATION_RATE:
        take("curing", "application_rate", APPLICATION_RATE[method])
    if method == "insulating blanket":
        take("curing", "blanket_r_value", BLANKET)
    if (mean := mean_ticket_temperature(filled.get("ticket", ()))) is not None:
        why = "the mean of the tickets, by volume where they tell it"
        take("placement", "concrete_temperature", Default(mean, f"{mean:.1f} degC", why))
    assumed += _cement_note(cement_as_written, filled["mix"]["cement"])
    return Filled(filled, tuple(assumed))


def mean_ticket_temperature(tickets: Any) -> float | None:
    """Return the mean temperature in degC of the trucks that tell one, weighted by their volumes, or None."""
    measured = [ticket for ticket in tickets if ticket.get("temperature") is not None]
    if not measured:
        return None
    volumes = [ticket.get("volume") for ticket in measured]
    weights = [1.0] * len(measured) if None in volumes else volumes
    heat = sum(ticket["temperature"] * weight for ticket, weight in zip(measured, weights, strict=True))
    return float(heat / sum(weights))


def _cement_note(written: object, taken: str) -> list[Assumed]:
    name = "".join(str(written or "").upper().replace("TYPE", "").split())
    if name not in CEMENT_TAKEN_AS or name.isdigit():
        return []
    return [Assumed("mix.cement", taken, f"{name}: {CEMENT_TAKEN_AS[name][1]}")]
