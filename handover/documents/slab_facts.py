"""The facts of the slab, from the fields that the record declares as facts, in the reader's units."""

from __future__ import annotations

import re
from datetime import datetime
from typing import TYPE_CHECKING

from handover.documents.translations import slug
from handover.jobs.fields import QuantityField
from handover.jobs.record import Fact, fields_of, mark_of

if TYPE_CHECKING:
    from collections.abc import Iterator

    from pydantic.fields import FieldInfo

    from handover.documents.wording import Wording

LabelledValue = tuple[str, str]
_TERM = re.compile(r"[A-Za-z][A-Za-z -]*")


def placement_facts(wording: Wording) -> tuple[LabelledValue, ...]:
    """Return the facts of the slab and its concrete: label and value."""
    job = wording.job
    values = {
        **_size(wording),
        **_facts(wording, job.slab),
        **(_facts(wording, job.site) if job.slab.exposure == "indoors" else {}),
        **_facts(wording, job.mix),
        **_water_added(wording),
        "cement": job.mix.cement_ordered or job.mix.cement,
        "poured": _pour_time(wording),
        **_facts(wording, job.placement),
        **_facts(wording, job.curing),
    }
    if "size" in values:
        values.pop("area")
    return tuple((wording.say(f"placed.{label}"), values[label]) for label in ORDER if label in values)


ORDER = (
    *(
        "use",
        "size",
        "area",
        "thickness",
        "on",
        "exposure",
        "room-temperature",
        "room-heated",
        "joints",
        "reinforcement",
        "finish",
        "coloured",
        "heated",
        "slope",
        "flooring",
        "strength",
        "supplier",
    ),
    *("cement", "cementitious", "w-cm", "fly-ash", "slag", "air", "admixtures", "poured", "finished"),
    *("temperature", "curing"),
)
"""The order of the labels: the slab, its concrete, the day, the care."""


def _water_added(wording: Wording) -> dict[str, str]:
    """Return the ratio of water as ordered and with what was added at the site, if it was much."""
    added = next((each for each in wording.schedule.cautions if each.code == "water-added"), None)
    if added is None:
        return {}
    wettest = {each.name: each.value for each in added.figures}["water_cementitious"]
    ratios = (wording.job.mix.water_cementitious, wettest)
    ordered, wet = (wording.quantities.round_number(each, 2) for each in ratios)
    return {"w-cm": wording.say("placed.w-cm-added", ordered=ordered, wet=wet)}


def _facts(wording: Wording, table: object) -> dict[str, str]:
    """Return the facts of a table, by label; values that are missing or zero are left out."""
    return dict(_each(wording, table))


def _each(wording: Wording, table: object) -> Iterator[tuple[str, str]]:
    for name, field in fields_of(type(table)).items():  # type: ignore[arg-type]
        fact, value = mark_of(field, Fact), getattr(table, name)
        if fact is not None and value:
            yield fact.label, _text(wording, field, fact, value)


def _text(wording: Wording, field: FieldInfo, fact: Fact, value: object) -> str:
    if fact.vocabulary:
        return wording.say(f"{fact.vocabulary}.{slug(str(value))}")
    if value is True:
        value = wording.say("placed.yes")
    if quantity := mark_of(field, QuantityField):
        return wording.quantities.measure(float(value), quantity.kind, fact.digits)  # type: ignore[arg-type]
    match value:
        case datetime():
            return wording.speak.moment(value).short
        case float():
            return (
                wording.quantities.percent(value)
                if fact.is_share
                else wording.quantities.round_number(value, fact.digits)
            )
        case tuple():
            return ", ".join(_term(wording, fact, each) for each in value)
    return _term(wording, fact, str(value))


def _term(wording: Wording, fact: Fact, text: str) -> str:
    """Return a usual term of a free text in the reader's language; any other text as it is."""
    key = f"{fact.label}.{slug(text.lower())}"
    return wording.say(key) if _TERM.fullmatch(text) and wording.reader.has(key) else text


def _size(wording: Wording) -> dict[str, str]:
    slab = wording.job.slab
    if slab.length is None or slab.width is None:
        return {}
    length, width = (wording.quantities.measure(side, "length", 3) for side in (slab.length, slab.width))
    return {"size": wording.say("placed.size-value", length=length, width=width)}


def _pour_time(wording: Wording) -> str:
    placement = wording.job.placement
    return wording.say(
        "placed.poured-value",
        day=wording.speak.day(placement.start, year=True),
        span=wording.speak.short_span(placement.start, placement.end),
    )
