"""The history of the slab hour by hour, as bands over the members."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from handover.concrete.hydration import degree_of_hydration
from handover.concrete.maturity import temperature_time_factor
from handover.schedule.ensemble import CENTRAL
from handover.schedule.gate_evaluators import age_of_strength
from handover.schedule.model import SHEET, Depths, EstimateBand, SlabHistory

if TYPE_CHECKING:
    from handover.base.arrays import Floats
    from handover.schedule.dates import Dates
    from handover.schedule.simulation import Simulation

_MEDIAN = 0.5


def slab_history(simulation: Simulation, dates: Dates) -> SlabHistory:
    """Return the history of the concrete placed last, as a band; strength slows once curing has ended."""
    slab, concrete, last = simulation.slab, simulation.concrete, simulation.ensemble.last_placed
    age, of_strength = slab.age_h[:, last], age_of_strength(simulation, dates)[:, last]
    curve = concrete.hydration
    ultimate, tau_h = (np.asarray(each)[last, np.newaxis] for each in (curve.ultimate, curve.tau_h))
    degree = replace(curve, ultimate=ultimate, tau_h=tau_h)
    on_curve = age * concrete.per_hydration_hour[last, np.newaxis]
    evaporation = _drying(simulation)
    middle = slab.temperature_c[:, CENTRAL, 1]
    datum_c = simulation.practice["maturity.datum"]
    return SlabHistory(
        hours=slab.hours,
        time=simulation.slab_s(CENTRAL).astype("int64").astype("datetime64[s]"),
        temperature_c=_as_covered(_band(slab.temperature_c[:, last], simulation.share), simulation),
        equivalent_age_h=_band(on_curve, simulation.share),
        hydration=_band(degree_of_hydration(age, degree), simulation.share),
        strength_mpa=_band(concrete.strength(of_strength, last), simulation.share),
        evaporation=evaporation[1],
        evaporation_low=evaporation[0],
        evaporation_high=evaporation[2],
        reference_c=concrete.reference_c,
        temperature_time_factor=temperature_time_factor(
            slab.hours, (middle[:-1] + middle[1:]) / 2.0, datum_c
        ),
        datum_c=datum_c,
    )


def _drying(simulation: Simulation) -> Floats:
    """Return the drying of the surface as a band, in kg/m2/h, shape (3, h+1).

    Under a sheet it is the share that a sheet lets pass.
    """
    slab, last, passes = simulation.slab, simulation.ensemble.last_placed, _passing_share(simulation)
    lost = slab.evaporation[:, last] * np.where(slab.under_sheet[:, last], passes, 1.0)
    band = np.quantile(lost, _ends(simulation.share), axis=1)
    likely = simulation.likely_surface
    if likely is None or not likely.is_covered.any():
        return band
    middle = np.maximum(band[1], np.finfo(np.float64).tiny)
    return np.where(likely.is_covered, band / middle * likely.evaporation * passes, band)


def _passing_share(simulation: Simulation) -> float:
    """Return the share of the drying of an open, wet surface that a sheet lets pass."""
    return simulation.practice.methods[SHEET].loss


def _as_covered(band: EstimateBand, simulation: Simulation) -> EstimateBand:
    """Return the temperatures with the likely surface under the sheet that lies on it between waterings.

    The band reaches from the open slab to that under the sheet: nobody may have laid it.
    """
    likely = simulation.likely_surface
    if likely is None or not likely.is_covered.any():
        return band
    warmer_k = likely.temperature_c - simulation.slab.temperature_c[:, CENTRAL, 0]
    moved = {"likely": warmer_k, "low": np.minimum(warmer_k, 0.0), "high": np.maximum(warmer_k, 0.0)}
    return EstimateBand(
        **{
            name: replace(getattr(band, name), surface=getattr(band, name).surface + each)
            for name, each in moved.items()
        }
    )


def _ends(share: float) -> tuple[float, float, float]:
    """Return the quantiles of a band: its low end, its middle, its high end."""
    return 1.0 - share, _MEDIAN, share


def _band(values: Floats, share: float) -> EstimateBand:
    """Return a quantity (hours, members, depths) as likely, low and high."""
    ordered = np.sort(values, axis=1)
    last = values.shape[1] - 1
    low, likely, high = (_depths(ordered[:, round(end * last)]) for end in _ends(share))
    return EstimateBand(likely, low, high)


def _depths(values: Floats) -> Depths:
    return Depths(values[:, 0], values[:, 1], values[:, 2])
