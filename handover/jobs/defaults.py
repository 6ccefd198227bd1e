"""Fills in the fields that a record leaves out with the defaults of practice; each is listed as assumed."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

from handover.jobs.cement import known_cement
from handover.jobs.record import AssumedValue, RecordTable
from handover.practice.defaults import Default, defaults, method_defaults

if TYPE_CHECKING:
    from collections.abc import Iterator

    from handover.jobs.record import Draft


class WithDefaults(NamedTuple):
    """The tables of a record with every field that the calculation needs, and the assumed values."""

    values: dict[str, Any]
    assumed: tuple[AssumedValue, ...]


def apply_defaults(draft: Draft, written_cement: object) -> WithDefaults:
    """Return the tables of a record with defaults for the fields that it leaves out.

    Args:
        draft: The record, without faults.
        written_cement: The name of the cement as written, for the note on an alias.
    """
    filled = _values(draft)
    assumed: list[AssumedValue] = []

    def take(default: Default) -> None:
        table, key = default.path.split(".")
        if filled.setdefault(table, {}).get(key) is None:
            filled[table][key] = default.value
            assumed.append(AssumedValue(default.path, default.printed_text, default.why))

    for default in defaults().values():
        take(default)
    for default in method_defaults(filled["curing"]["method"]):
        take(default)
    for default in _mean_of_tickets(filled.get("ticket", ())):
        take(default)
    assumed += _cement_note(written_cement, filled["mix"]["cement"])
    return WithDefaults(filled, tuple(assumed))


def _values(part: Any) -> Any:
    """Return a table as values by key, with its tables and lists, without blank fields."""
    if isinstance(part, RecordTable):
        return {key: _values(value) for key, value in part if value is not None}
    return tuple(_values(each) for each in part if each is not None) if isinstance(part, tuple) else part


def _mean_of_tickets(tickets: Any) -> Iterator[Default]:
    """Yield the temperature of the concrete from the tickets, if any has one."""
    if (mean := mean_ticket_temperature(tickets)) is not None:
        why = "The mean of the tickets, by volume where they have it"
        yield Default("placement.concrete_temperature", mean, "degC", why, "The delivery tickets", "computed")


def mean_ticket_temperature(tickets: Any) -> float | None:
    """Return the mean of the recorded truck temperatures in degC, weighted by volume, or None."""
    measured = [ticket for ticket in tickets if ticket.get("temperature") is not None]
    if not measured:
        return None
    volumes = [ticket.get("volume") for ticket in measured]
    weights = [1.0] * len(measured) if None in volumes else volumes
    heat = sum(ticket["temperature"] * weight for ticket, weight in zip(measured, weights, strict=True))
    return float(heat / sum(weights))


def _cement_note(written: object, taken: str) -> list[AssumedValue]:
    name = " ".join(str(written or "").split())
    known = known_cement(name)
    if known is None or known[1] is None:
        return []
    return [AssumedValue("mix.cement", taken, f"{name}: {known[1]}")]
