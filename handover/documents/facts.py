"""What was placed, as labelled values in the reader's units."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.documents.catalog import slug
from handover.documents.measures import significant
from handover.units import to_reader

if TYPE_CHECKING:
    from handover.documents.wording import Wording

Fact = tuple[str, str]


def placed(wording: Wording) -> tuple[Fact, ...]:
    """Return the facts of the slab and its concrete that the record holds: label and value."""
    job, say = wording.job, wording.say
    mix = job.mix
    told: list[tuple[str, str | None]] = [
        ("use", say(f"use.{slug(job.slab.use)}")),
        ("size", _size(wording)),
        ("area", None if _size(wording) else wording.quantity(job.slab.area, "m2", 3)),
        ("thickness", wording.quantity(job.slab.thickness, "m", 3)),
        ("on", say(f"base.{slug(job.slab.on)}")),
        ("exposure", say(f"exposure.{job.slab.exposure}")),
        ("joints", None if job.slab.joint_spacing is None else length(wording, job.slab.joint_spacing)),
        ("reinforcement", job.slab.reinforcement),
        ("strength", wording.quantity(mix.specified_strength, "MPa")),
        ("supplier", mix.supplier),
        ("cement", mix.cement_ordered or mix.cement),
        (
            "cementitious",
            None if mix.cementitious is None else wording.quantity(mix.cementitious, "kg/m3", 3),
        ),
        ("w-cm", None if mix.water_cementitious is None else wording.rounded(mix.water_cementitious, 2)),
        ("fly-ash", share(wording, mix.fly_ash) if mix.fly_ash else None),
        ("slag", share(wording, mix.slag) if mix.slag else None),
        ("air", share(wording, mix.air) if mix.air else None),
        ("admixtures", ", ".join(mix.admixtures) or None),
        ("poured", _poured(wording)),
        ("finished", _finished(wording)),
        ("temperature", _temperature(wording)),
        ("curing", say(f"method.{wording.method}")),
    ]
    return tuple((say(f"placed.{label}"), value) for label, value in told if value)


def length(wording: Wording, metres: float) -> str:
    """Return a length in feet or metres."""
    value, label = to_reader(metres, "length", wording.units)
    return wording.with_label(significant(value, 3), label)


def share(wording: Wording, part: float) -> str:
    """Return a share as a percentage."""
    return wording.percent(part)


def _size(wording: Wording) -> str | None:
    slab = wording.job.slab
    if slab.length is None or slab.width is None:
        return None
    return wording.say(
        "placed.size-value", length=length(wording, slab.length), width=length(wording, slab.width)
    )


def _poured(wording: Wording) -> str:
    placement = wording.job.placement
    return wording.say(
        "placed.poured-value",
        day=wording.speak.day(placement.start, year=True),
        span=wording.speak.short_span(placement.start, placement.end),
    )


def _finished(wording: Wording) -> str | None:
    finished = wording.job.placement.finished
    return None if finished is None else wording.speak.moment(finished).short


def _temperature(wording: Wording) -> str | None:
    celsius = wording.job.placement.concrete_temperature
    return None if celsius is None else wording.quantity(celsius, "degC")
