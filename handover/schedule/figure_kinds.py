"""The kind of each figure of a schedule, declared once, by its name."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

from handover.units import KindName

if TYPE_CHECKING:
    from collections.abc import Iterable

    from handover.schedule.model import Figure

FigureKind = KindName | Literal["share", "number"]
"""A kind of quantity, a share of one (written in percent), or a number with the unit beside it."""

SI_UNITS: dict[KindName, str] = {
    "thickness": "m",
    "length": "m",
    "area": "m2",
    "volume": "m3",
    "water": "L",
    "mass": "kg",
    "temperature": "degC",
    "temperature difference": "K",
    "strength": "MPa",
    "content": "kg/m3",
    "application rate": "mm/h",
    "rain": "mm",
    "evaporation": "kg/m2/h",
    "thermal resistance": "m2K/W",
    "duration": "h",
    "wind speed": "m/s",
    "maturity": "degC h",
}
"""SI unit of a kind, as the schedule writes it."""

FIGURE_KINDS: dict[str, FigureKind] = {
    "activation_energy": "number",
    "additions": "share",
    "age": "duration",
    "air": "share",
    "bare_hours": "duration",
    "bare_loss": "rain",
    "before_set": "rain",
    "blanket": "thermal resistance",
    "blanket_before": "thermal resistance",
    "at_edges": "thermal resistance",
    "at_edges_before": "thermal resistance",
    "cementitious": "content",
    "coldest_air": "temperature",
    "coldest_surface": "temperature",
    "concrete_temperature": "temperature",
    "counted_above": "temperature",
    "darkness": "duration",
    "daylight": "duration",
    "depth": "thickness",
    "dry_covered": "duration",
    "dry_hours": "duration",
    "dry_not_counted": "duration",
    "dry_open": "duration",
    "drying_time": "duration",
    "drying": "duration",
    "dry_with_burlap": "duration",
    "dry_with_timer": "duration",
    "final_set_age": "duration",
    "first_set": "duration",
    "first_set_early": "duration",
    "forecast_air": "temperature",
    "frost_safe_strength": "strength",
    "gain": "number",
    "gain_error": "number",
    "coldest_before": "temperature",
    "curing_time": "duration",
    "curing_time_wet": "duration",
    "garden_days": "number",
    "high": "evaporation",
    "hottest_air": "temperature",
    "hottest_inside": "temperature",
    "hours_above": "duration",
    "hydration_slope": "number",
    "hydration_time": "duration",
    "initial_set_age": "duration",
    "kept_at": "temperature",
    "left": "evaporation",
    "low": "evaporation",
    "mean_difference": "temperature difference",
    "mean_surface": "temperature",
    "mean_temperature": "temperature",
    "most": "temperature",
    "needed_air": "share",
    "needed_at_mean": "duration",
    "offset": "temperature difference",
    "offset_error": "temperature difference",
    "peak": "evaporation",
    "rain": "rain",
    "readings": "number",
    "reference_temperature": "temperature",
    "rise": "temperature difference",
    "room_air": "temperature",
    "slope": "share",
    "slump": "thickness",
    "spacing": "length",
    "specified_strength": "strength",
    "strength": "strength",
    "strength_development": "number",
    "strength_estimated": "strength",
    "strength_lost": "share",
    "strength_share": "share",
    "strength_then": "strength",
    "surface_temperature": "temperature",
    "thickness": "thickness",
    "ticket_limit": "duration",
    "time_to_discharge": "duration",
    "ultimate_hydration": "number",
    "usual_limit": "duration",
    "warmest": "temperature",
    "water_added": "water",
    "water_cementitious": "number",
    "water_temperature": "temperature",
    "water_total": "water",
}
"""Kind of a figure by its name; `limit` and `needed` are not of one kind, see `figure_kind`."""

REQUIREMENT_KINDS: dict[str, KindName] = {
    "MPa": "strength",
    "degC h": "maturity",
    "h": "duration",
    "K": "temperature difference",
}
"""What a rule may require, by the unit that its data declare; anything else is a number with its unit."""


def figure_kind(figure: Figure, among: Iterable[Figure] = ()) -> FigureKind:
    """Return of what kind a figure is.

    Args:
        figure: The figure.
        among: The figures of the same reason: a limit has the kind of the figure that it limits.
    """
    if figure.name == "needed":
        return REQUIREMENT_KINDS.get(figure.unit, "number")
    if figure.name == "limit":
        limited = (FIGURE_KINDS[each.name] for each in among if each.name != "limit")
        return next((kind for kind in limited if unit_of(kind) == figure.unit), _other_limit(figure))
    kind = FIGURE_KINDS[figure.name]
    return kind if unit_of(kind) in {"", figure.unit} else "number"


def unit_of(kind: FigureKind) -> str:
    """Return the SI unit of a kind; "" of a number, which has its unit beside it."""
    return "1" if kind == "share" else "" if kind == "number" else SI_UNITS[kind]


def _other_limit(figure: Figure) -> FigureKind:
    """Return the kind of a limit on a difference: of temperature, else a number with its unit."""
    return "temperature difference" if figure.unit == SI_UNITS["temperature difference"] else "number"
