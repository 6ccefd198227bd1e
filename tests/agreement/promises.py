"""What the owner's papers promise in the crew's name, looked for on the crew's sheet and in its calendar."""

from __future__ import annotations

import re
from datetime import datetime
from typing import TYPE_CHECKING, NamedTuple

import second_hand as read

if TYPE_CHECKING:
    from collections.abc import Iterator
    from datetime import date, time

    from second_hand import Event, Papers


class Promise(NamedTuple):
    """What the owner reads, and what the crew then must read; each in English or Spanish."""

    owner: str
    crew: str


PROMISES = (
    Promise(r"cleared the (edge )?boards|recoja las tablas", r"clear the forms|recoja los moldes"),
    Promise(r"we call you before|lo llamamos antes", r"call the owner before|llame antes al dueño"),
    Promise(r"crew cuts with water or a vacuum|corta con agua o aspiradora", r"vacuum|aspiradora"),
    Promise(r"we wash it off|lo lavamos", r"wash the powder|lave el polvo"),
    Promise(
        r"we bring (you )?the blankets|brings (you the blankets|them)|tra(e|emos) las mantas|las trae la",
        r"bring the owner blankets|blankets on|llevar al dueño mantas|poner (las )?mantas",
    ),
    Promise(
        r"until you may step on it, we cover it|crew covers (it|the slab) against frost"
        r"|crew lays (the|dry) blankets|hasta que pueda pisarla, la tapamos|tapa la losa contra la helada"
        r"|cuadrilla pone las mantas",
        r"blankets on|poner (las )?mantas",
    ),
    Promise(r"crew lays the (soaker )?hose|pone la manguera", r"lay the soaker hose|poner la manguera"),
    Promise(
        r"crew (has set|sets) the timer|lays the soaker hose and sets|goteo y el temporizador",
        r"connect the timer|conectar el temporizador",
    ),
    Promise(r"builds the rim|hace el borde", r"build the rim|hacer el borde"),
    Promise(r"crew (then )?(covers the slab before|holds plastic)", r"cover the fresh slab"),
    Promise(
        r"takes the plastic off after|quita el plástico tras", r"take off the plastic|quitar el plástico"
    ),
    Promise(
        r"looks at the curing coat|ve la capa de curado", r"look at the curing coat|ver la capa de curado"
    ),
    Promise(r"no water is left in them|no quede en ellos agua", r"heating pipes|en los tubos"),
    Promise(r"crew sprays|la rocía la cuadrilla|cuadrilla rocía la capa", r"spray|roc[ií]"),
    Promise(r"looks at it each day|la revisa cada día", r"looks at it each day|la revisa cada día"),
    Promise(r"walk through the slab with you|recorrer la losa con usted", r"walk through|recorrer"),
    Promise(r"saw the joints:|cortar las juntas:", r"saw the joints|cortar las juntas"),
    Promise(r"take off the edge boards:|quitar las tablas:", r"strip the edge forms|quitar los moldes"),
    Promise(
        r"mend, rub the edges:|reparar, frotar los bordes:",
        r"mend, rub|reparar, frotar",
    ),
    Promise(
        r"until we tell you|when the crew tells you|contractor tells you"
        r"|hasta que (le )?avisemos|cuando la cuadrilla le avise|contratista le avise",
        r"tell the owner|avise al dueño",
    ),
)
"""By kind; what the crew lays, lifts, builds, brings, cuts, clears, looks at, and whom it calls."""


def broken_promises(papers: Papers, near: date) -> Iterator[tuple[str, str]]:
    """Yield each promise of the care sheet, the page and the letter that the crew's papers lack."""
    told = " ".join((read.words(papers.page), papers.letter, papers.sheet)).lower()
    calendar = " ".join(f"{each.title} {each.text}" for each in papers.crew).lower()
    for each in PROMISES:
        found = re.search(each.owner, " ".join(told.split()))
        if found is None:
            continue
        for name, text in (("crew sheet", papers.crew_plain.lower()), ("crew's calendar", calendar)):
            if not re.search(each.crew, " ".join(text.split())):
                yield f"promise that is not on the {name}", found[0]
    yield from _hours_and_days(papers, near)


def _hours_and_days(papers: Papers, near: date) -> Iterator[tuple[str, str]]:
    """Yield each line about the crew on the page whose hours or days the crew does not read."""
    of_events = " ".join(f"{each.title} {each.text} {_span(each)}" for each in papers.crew)
    for name, text in (("crew sheet", papers.crew_plain), ("crew's calendar", of_events)):
        hours, days = _hours(text), set(read.days_in(text, near)) | {near}
        for line in crew_lines(papers):
            if missing := _hours(line) - hours:
                yield f"hour of the crew that is not on the {name}", f"{sorted(missing)}: {line}"
            if lost := set(read.days_in(line, near)) - days:
                yield f"day of the crew that is not on the {name}", f"{sorted(lost)}: {line}"


def crew_lines(papers: Papers) -> list[str]:
    """Return what the page says of the crew's visits, a line each."""
    return [
        read.words(line)
        for box in read.by_class(papers.page, "aside")
        if read.words(box.find("h3")) in {"The crew comes back", "La cuadrilla vuelve"}
        for line in box.iter("p")
    ]


def _span(event: Event) -> str:
    """Return the hours and days of an event as text."""
    if not isinstance(event.start, datetime):
        return f"{event.start:%B} {event.start.day}, {event.start.year}"
    ends = (event.start, event.end)
    return "; ".join(f"{each:%H:%M}, {each:%B} {each.day}, {each:%Y}" for each in ends)


def _hours(text: str) -> set[time]:
    """Return the hours of a text; those of a span share the half of the day that its end has."""
    spans = read.ranges_in(text)
    rest = read.RANGE.sub(" ", text)
    return {*(each for span in spans for each in span), *read.hours_in(rest)}
