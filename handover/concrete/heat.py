"""One-dimensional heat balance of a slab on ground: hydration, sun, sky, wind, evaporation, ground.

The column runs downward from the surface. Its nodes carry the heat, and the first node *is* the surface:
its control volume is half a cell, so the temperature there is the surface's, not that of a cell below it.

Several slabs (``members``) are marched at once. They share the column and the steps, and each has its own
concrete, weather and start; every step is one symmetric tridiagonal solve for all of them together.

Time stepping is the two-stage Rosenbrock method of second order ROS2 with gamma = 1 - 1/sqrt(2), which is
L-stable and keeps its order with an approximate Jacobian:
    Source: Verwer, Spee, Blom, Hundsdorfer (1999), A second-order Rosenbrock method applied to
    photochemical dispersion problems, SIAM J. Sci. Comput. 20(4). From memory; the order is checked by test.

Interface: build a `GridColumn` with `grid_column`, a `HydrationParameters`, a `Surface` and an `Exchange`
(weather at the step instants, from `surface_exchange`), then `march` them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import sqrt
from typing import TYPE_CHECKING, NamedTuple

import numpy as np

from handover.air.psychrometrics import saturation_over_water
from handover.base.arrays import HOUR_S, ZERO_CELSIUS_K, Floats
from handover.concrete.constants import GAS_CONSTANT
from handover.concrete.evaporation import transfer_coefficient
from handover.concrete.freezing import Freezing, FreezingNodes, liquid_share
from handover.concrete.hydration import degree_and_rate
from handover.concrete.maturity import energy_at, rate_by_kelvin
from handover.concrete.tridiagonal import dpttrf, dpttrs
from handover.errors import OutOfRange

if TYPE_CHECKING:
    from numpy.typing import NDArray

STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m2 K4)
LATENT_HEAT = 2.45e6  # J/kg, water at about 20 degC
_FAST_WIND_MS = 5.0
_GAMMA = 1.0 - 1.0 / sqrt(2.0)

# Numbers of the time step, as arrays: numpy makes an array of a plain number at each use, which takes as long
# as the operation on a few members.
_NONE, _HALF, _ONE, _ONE_AND_A_HALF, _FOUR = (np.array(each) for each in (0.0, 0.5, 1.0, 1.5, 4.0))
_GAMMA_ARRAY = np.array(_GAMMA)
_HOUR = np.array(HOUR_S)
_ICE_POINT_K = np.array(ZERO_CELSIUS_K)
_LATENT = np.array(LATENT_HEAT)
_CLAUSIUS_K = np.array(5400.0)
_STILL = 1e-9
"""A node that moves by less in a step has no mean capacity over it."""


@dataclass(frozen=True)
class Layer:
    """A layer of the column.

    Attributes:
        thickness: [m]
        conductivity: [W/(m K)]
        heat_capacity: Per volume. [J/(m3 K)]
        cells: How many cells it is cut into.
        growth: Each cell is this many times as thick as the one above it.
        ice: Latent heat of the water in it, where it starts frozen. [J/m3]
    """

    thickness: float
    conductivity: float
    heat_capacity: float
    cells: int
    growth: float = 1.0
    ice: float = 0.0

    def cell_sizes(self) -> Floats:
        """Return the thickness of each cell from the top down, in m, shape (cells,)."""
        shares = self.growth ** np.arange(self.cells, dtype=np.float64)
        return np.asarray(self.thickness * shares / shares.sum())


@dataclass(frozen=True)
class GridColumn:
    """The column as nodes and the links between them, per square metre of slab.

    Attributes:
        depth: Of the nodes below the surface, shape (n,). [m]
        capacity: Heat held by each node, shape (n,). [J/(m2 K)]
        conductance: Between neighbouring nodes, shape (n-1,). [W/(m2 K)]
        concrete: Thickness of concrete that belongs to each of the first nodes, shape (c,). [m]
        ice: Latent heat of the water of each node below the concrete, shape (n-c,). [J/m2]
    """

    depth: Floats
    capacity: Floats
    conductance: Floats
    concrete: Floats
    ice: Floats

    def depths(self) -> tuple[int, int, int]:
        """Return the nodes at the surface, nearest the middle and at the bottom of the slab."""
        bottom = len(self.concrete) - 1
        middle = int(np.abs(self.depth[: bottom + 1] - self.depth[bottom] / 2.0).argmin())
        return 0, middle, bottom


def grid_column(slab: Layer, below: Sequence[Layer]) -> GridColumn:
    """Return the column of a slab and the layers under it.

    Raises:
        OutOfRange: A layer is thinner than nothing, conducts nothing, holds nothing, or has no cells.
    """
    layers = (slab, *below)
    for layer in layers:
        if (
            min(layer.thickness, layer.conductivity, layer.heat_capacity, layer.growth) <= 0
            or layer.cells < 1
        ):
            raise OutOfRange(
                f"a layer needs thickness, conductivity, heat capacity and cells above zero: {layer}"
            )
    sizes = np.concatenate([layer.cell_sizes() for layer in layers])
    heat = np.concatenate([np.full(layer.cells, layer.heat_capacity) for layer in layers]) * sizes
    conductivity = np.concatenate([np.full(layer.cells, layer.conductivity) for layer in layers])
    frozen = np.concatenate([np.full(layer.cells, layer.ice) for layer in below] or [np.empty(0)])
    return GridColumn(
        depth=np.concatenate([[0.0], np.cumsum(sizes)]),
        capacity=_shared_between_ends(heat),
        conductance=conductivity / sizes,
        concrete=_shared_between_ends(slab.cell_sizes()),
        ice=_ice_below(frozen * sizes[slab.cells :]),
    )


def _shared_between_ends(of_cells: Floats) -> Floats:
    """Give half of each cell to the node above it and half to the node below."""
    halves = of_cells / 2.0
    shared: Floats = np.concatenate([halves, [0.0]]) + np.concatenate([[0.0], halves])
    return shared


def _ice_below(of_cells: Floats) -> Floats:
    """Return what the nodes below the concrete hold of cells; that of the contact counts in the first."""
    shared = _shared_between_ends(of_cells)
    shared[1:2] += shared[0]
    return np.asarray(shared[1:])


@dataclass(frozen=True)
class HydrationParameters:
    """What hydrates. Each field is a number or one value a member, shape (m,).

    Attributes:
        ultimate: Degree of hydration that the mix can reach.
        tau: Time parameter of the hydration curve. [h at reference_c]
        beta: Slope parameter of the hydration curve.
        heat: Of full hydration, per volume of concrete. [J/m3]
        activation_energy: From the reference temperature up. [J/mol]
        cold_activation_energy: Below the reference temperature; None: the same. [J/mol]
        reference_c: Reference temperature of the equivalent age. [degC]
        dormant_h: Equivalent age until which no heat is released. [h at reference_c]
        freezing: How the pore water freezes: hydration goes on in the liquid share. None: it never does.
        conductivity_gain: Fresh concrete conducts 1 + gain times its hardened value; the gain falls with
            the degree of hydration. Schindler (2002), 0.33; from memory, not checked.
        thickness: Of the slab, over that of the column.
    """

    ultimate: float | Floats
    tau: float | Floats
    beta: float | Floats
    heat: float | Floats
    activation_energy: float | Floats
    reference_c: float = 21.1
    freezing: Freezing | None = None
    conductivity_gain: float = 0.33
    cold_activation_energy: float | Floats | None = None
    dormant_h: float | Floats = 0.0
    thickness: float | Floats = 1.0


INERT = HydrationParameters(
    ultimate=1.0, tau=1.0, beta=1.0, heat=0.0, activation_energy=0.0, conductivity_gain=0.0
)
"""Hardened concrete: no heat of its own, constant conductivity."""


@dataclass(frozen=True)
class Surface:
    """How the top of the column looks to sun and sky.

    Attributes:
        absorptivity: Share of the sun taken up, 0 to 1; a number, or over each step, shape (s, m).
        emissivity: For long waves, 0 to 1.
        sky_view: Share of the sky seen; the rest is at air temperature. 1 in the open, 0 under a roof.
        sun_share: Share of the sun that reaches the slab. 1 in the open, 0 under a roof.
    """

    absorptivity: float | Floats = 0.60
    emissivity: float = 0.90
    sky_view: float = 1.0
    sun_share: float = 1.0


@dataclass(frozen=True)
class Exchange:
    """The weather as the surface meets it. Rows are step instants (s+1) or steps (s); columns are members.

    Attributes:
        air_c: At the instants. [degC]
        vapour_pa: Of the air, at the instants. [Pa]
        film: Convective film coefficient, at the instants. [W/(m2 K)]
        transfer: Evaporation of a wet surface per pascal, at the instants. [kg/(m2 h Pa)]
        longwave: Taken up from sky and surroundings, at the instants. [W/m2]
        sun: Taken up, mean over each step. [W/m2]
        cover: Resistance of the cover on the slab, over each step; 0 is bare. [m2 K/W]
        emissivity: Of the surface.
    """

    air_c: Floats
    vapour_pa: Floats
    film: Floats
    transfer: Floats
    longwave: Floats
    sun: Floats
    cover: Floats
    emissivity: float


def film_coefficient(wind_ms: Floats) -> Floats:
    """Return the convective film coefficient of a rough horizontal surface, in W/(m2 K).

    Args:
        wind_ms: Wind near the surface, any shape. [m/s]

    Source:
        As in NISTIR 6551 (Bentz 2000): 5.6 + 4.0 v up to 5 m/s, 7.2 v^0.78 above. From memory, not checked
        against the report. Measured walls have given less than half of it in wind (Jayamaha et al. 1996),
        so the slab temperature is shown as a band.
    """
    wind = np.asarray(wind_ms, dtype=np.float64)
    fast = np.maximum(wind, _FAST_WIND_MS)
    return np.where(wind <= _FAST_WIND_MS, 5.6 + 4.0 * wind, 7.2 * fast**0.78)


def sky_emissivity(air_c: Floats, vapour_pa: Floats, cloud: Floats) -> Floats:
    """Return the emissivity of the sky as seen from the ground, relative to air temperature.

    Args:
        air_c: Air temperature. [degC]
        vapour_pa: Vapour pressure of the air. [Pa]
        cloud: Share of the sky covered, 0 to 1.

    Source:
        Clear sky: Brutsaert (1975), 1.24 (e/T)^(1/7) with e in hPa, T in K, as quoted by Convertino et al.
        (2020). Cloud: Unsworth and Monteith (1975), (1 - 0.84 c) clear + 0.84 c; from memory, not checked.
    """
    clear = 1.24 * (vapour_pa / 100.0 / (air_c + ZERO_CELSIUS_K)) ** (1.0 / 7.0)
    cover = 0.84 * cloud
    return np.asarray(np.minimum((1.0 - cover) * clear + cover, 1.0))


def surface_exchange(
    surface: Surface,
    *,
    air_c: Floats,
    vapour_pa: Floats,
    wind_ms: Floats,
    cloud: Floats,
    shortwave_wm2: Floats,
    cover: Floats | float = 0.0,
    film_factor: Floats | float = 1.0,
    evaporation_factor: Floats | float = 1.0,
) -> Exchange:
    """Return the weather as the surface meets it.

    Args:
        surface: Its colour, and what it sees.
        air_c: At the step instants, shape (s+1, m). [degC]
        vapour_pa: At the step instants, shape (s+1, m). [Pa]
        wind_ms: Near the surface (0.5 m), at the step instants, shape (s+1, m). [m/s]
        cloud: At the step instants, shape (s+1, m), 0 to 1.
        shortwave_wm2: On the level, mean over each step, shape (s, m). [W/m2]
        cover: Resistance of the cover on the slab over each step, shape (s, m) or a number. [m2 K/W]
        film_factor: On the film coefficient, a number or shape (m,): the formulas disagree.
        evaporation_factor: On evaporation, likewise.
    """
    kelvin4 = (air_c + ZERO_CELSIUS_K) ** 4
    seen = surface.sky_view * sky_emissivity(air_c, vapour_pa, cloud) + (1.0 - surface.sky_view)
    sun = surface.absorptivity * surface.sun_share * shortwave_wm2
    return Exchange(
        air_c=air_c,
        vapour_pa=vapour_pa,
        film=film_coefficient(wind_ms) * film_factor,
        transfer=transfer_coefficient(wind_ms) * evaporation_factor,
        longwave=surface.emissivity * STEFAN_BOLTZMANN * seen * kelvin4,
        sun=sun,
        cover=np.broadcast_to(np.asarray(cover, dtype=np.float64), sun.shape),
        emissivity=surface.emissivity,
    )


@dataclass(frozen=True)
class Heat:
    """Where the heat went since the start, in J/m2, shape (m,) each.

    ``stored = hydration + surface + ground``, to rounding; what is stored counts the ice, that of the ground
    too.
    """

    stored: Floats
    hydration: Floats
    surface: Floats
    ground: Floats


@dataclass(frozen=True)
class March:
    """The result at the requested instants.

    Attributes:
        seconds: Since the start, shape (k,). [s]
        temperature_c: Of the nodes asked for, shape (k, m, nodes). [degC]
        equivalent_age_h: Of the concrete at the same nodes, shape (k, m, nodes). [h]
        final_c: Of all nodes at the end, shape (m, n). [degC]
        balance: Finds where the heat went.
    """

    seconds: Floats
    temperature_c: Floats
    equivalent_age_h: Floats
    final_c: Floats
    balance: Callable[[], Heat]

    @cached_property
    def heat(self) -> Heat:
        """Balance over the whole march."""
        return self.balance()


Wetness = Callable[[int, Floats], Floats | None]
"""How wet the surface is over a step, 0 to 1 a member, from step and equivalent age at the surface.

None: all are dry.
"""

Covering = Callable[[int, Floats, Floats], Floats]
"""Resistance of the cover over a step, shape (m,), from step, equivalent age and temperature.

Age and temperature are those of the concrete nodes, shape (m, c). [m2 K/W], [h], [degC]
"""


Until = Callable[[Floats], bool]
"""Whether the march may end, from the equivalent age of the concrete nodes, shape (m, c). [h]"""


class _Air(NamedTuple):
    """The weather at both ends of a step, shape (2, m) where it says nothing else."""

    air_c: Floats
    vapour_pa: Floats
    film: Floats  # W/(m2 K)
    evaporating: Floats | None  # kg/(m2 s Pa), of the surface as wet as it is; None: all are dry
    radiation: Floats  # sun and long waves taken up, W/m2
    cover: Floats | None  # shape (m,), m2 K/W; None: none is covered
    emission: Floats  # a number, W/(m2 K4)


class _Length(NamedTuple):
    """The length of a step, and what follows from it: numbers as arrays."""

    seconds: Floats
    weight: Floats  # of the Jacobian, s
    less: Floats  # its negative, s
    deep: Floats  # its product with the link to the deep ground, J/(m2 K)
    half_h: Floats  # half of the step, h


def _length(seconds: float, deep_link: float) -> _Length:
    """Return the length of a step in s, above ground that is linked by a conductance in W/(m2 K)."""
    weight = _GAMMA * seconds
    numbers = (seconds, weight, -weight, weight * deep_link, 0.5 * seconds / HOUR_S)
    return _Length(*(np.array(each) for each in numbers))


def march(
    column: GridColumn,
    concrete: HydrationParameters,
    weather: Exchange,
    *,
    steps: Floats,
    initial_c: Floats,
    deep_c: float | Floats | None,
    frozen: NDArray[np.bool_] | None = None,
    initial_age_h: float | Floats = 0.0,
    wetness: Wetness | None = None,
    covering: Covering | None = None,
    keep: NDArray[np.bool_] | None = None,
    until: Until | None = None,
    nodes: Sequence[int] | None = None,
) -> March:
    """March the column through the weather.

    Args:
        column: The slab and what is under it.
        concrete: What hydrates in the slab's nodes.
        weather: At the step instants, shape (s+1, m), and over the steps, shape (s, m).
        steps: Length of each step, shape (s,). [s]
        initial_c: Temperature of every node at the start, shape (m, n). [degC]
        deep_c: Temperature held one last cell below the column, or None for a last node that lets no heat
            through. A number or shape (m,). [degC]
        frozen: Which nodes of the ground start frozen, shape (m, n); none where left out.
        initial_age_h: Equivalent age of the concrete at the start: hydration began with the first water. A
            number or shape (m,). [h]
        wetness: How wet the surface is; dry where left out.
        covering: The cover on the slab where it depends on the concrete; that of the weather where left out.
        keep: Which of the s+1 instants to return, shape (s+1,); all where left out.
        until: Whether the march may end at an instant to return; at its last step where left out.
        nodes: Which nodes to return (concrete ones); surface, middle and bottom where left out.

    Raises:
        OutOfRange: A step is not longer than nothing, or a shape does not fit the column.
    """
    temperature = np.array(initial_c, dtype=np.float64, order="C")
    if temperature.ndim != 2 or temperature.shape[1] != len(column.depth):  # noqa: PLR2004
        raise OutOfRange(f"initial_c must be (members, {len(column.depth)}), not {temperature.shape}")
    if np.any(np.asarray(steps) <= 0):
        raise OutOfRange("every step must be longer than nothing")
    marcher = _Marcher(column, concrete, temperature, deep_c, initial_age_h, frozen)
    wanted = np.ones(len(steps) + 1, dtype=bool) if keep is None else np.asarray(keep)
    kept = np.array(column.depths() if nodes is None else nodes)
    rows = np.cumsum(wanted) - 1
    lengths = {each: _length(each, marcher.deep_link) for each in np.asarray(steps).tolist()}
    emission = np.array(weather.emissivity * STEFAN_BOLTZMANN)
    temperatures = np.empty((int(wanted.sum()), len(temperature), len(kept)))
    ages = np.empty_like(temperatures)
    radiation = np.stack([weather.longwave[:-1] + weather.sun, weather.longwave[1:] + weather.sun], axis=1)
    for number in range(len(steps) + 1):
        if wanted[number]:
            row = rows[number]
            marcher.temperature.take(kept, axis=1, out=temperatures[row], mode="clip")  # no buffer
            marcher.age.take(kept, axis=1, out=ages[row], mode="clip")
            if until is not None and until(marcher.age):
                break
        if number < len(steps):
            wet = None if wetness is None else wetness(number, marcher.age[:, 0])
            cover = weather.cover[number]
            if covering is not None:
                cover = covering(number, marcher.age, marcher.temperature[:, : marcher.count])
            air = _air_at(weather, number, radiation[number], wet, cover, emission)
            marcher.advance(lengths[float(steps[number])], air)
    reached = int(wanted[: number + 1].sum())
    return March(
        seconds=np.concatenate([[0.0], np.cumsum(steps)])[wanted][:reached],
        temperature_c=temperatures[:reached],
        equivalent_age_h=ages[:reached],
        final_c=marcher.temperature,
        balance=marcher.balance,
    )


def _air_at(
    weather: Exchange, number: int, radiation: Floats, wet: Floats | None, cover: Floats, emission: Floats
) -> _Air:
    """Return the weather that a step meets, under a cover of a resistance, shape (m,)."""
    ends = slice(number, number + 2)
    is_covered = np.count_nonzero(cover) > 0
    evaporating = None
    if wet is not None:
        open_to_air = np.where(cover > 0.0, 0.0, wet / _HOUR) if is_covered else wet / _HOUR
        evaporating = weather.transfer[ends] * open_to_air if np.count_nonzero(open_to_air) else None
    return _Air(
        weather.air_c[ends],
        weather.vapour_pa[ends],
        weather.film[ends],
        evaporating,
        radiation,
        cover if is_covered else None,
        emission,
    )


def _surface_flux(temperature_c: Floats, air: _Air) -> tuple[Floats, Floats]:
    """Return the heat into the surface and how fast it falls as the surface warms, shape (2, m) each.

    Under a cover the outside of the cover meets the weather; its balance is taken as linear about the
    temperature that convection alone would give it. Without a cover that is the slab's own.
    """
    outer = temperature_c - air.air_c
    if air.cover is not None:
        outer /= _ONE + air.cover * air.film
    outer += air.air_c
    kelvin = outer + _ICE_POINT_K
    emitted = air.emission * kelvin**4
    flux = air.film * (air.air_c - outer)
    flux += air.radiation
    flux -= emitted
    fall = _FOUR * emitted
    fall /= kelvin
    fall += air.film
    if air.evaporating is not None:
        pressure = saturation_over_water(outer)
        losing = _LATENT * air.evaporating
        latent = losing * np.maximum(pressure - air.vapour_pa, _NONE)
        flux -= latent
        # Clausius-Clapeyron gives the slope of the saturation pressure.
        fall += np.where(latent > _NONE, losing * pressure * _CLAUSIUS_K / kelvin**2, _NONE)
    flux += fall * (outer - temperature_c)
    if air.cover is None:
        return flux, fall
    through = _ONE + air.cover * fall
    return flux / through, fall / through


class _Start(NamedTuple):
    """What a step begins with."""

    flux: Floats  # into the surface at the start, W/m2, shape (m,)
    flux_end: Floats  # and in the weather of the end
    fall: Floats  # W/(m2 K)
    drift: Floats
    rate: Floats  # equivalent hours per hour, shape (m, c)
    heat: Floats  # of hydration, W/m2, shape (m, c)
    load: Floats  # W/m2, shape (m, n)
    ground: Floats


class _FirstStage(NamedTuple):
    """How far a step has come halfway, and the solver of its matrix."""

    solve: Callable[[Floats], Floats]
    slope: Floats  # K/s, shape (m, n)
    ahead: Floats  # degC, shape (m, n)


class _SecondStage(NamedTuple):
    """How a step ends."""

    temperature: Floats  # degC, shape (m, n)
    slope: Floats  # K/s, shape (m, n)
    flux: Floats  # into the surface, W/m2, shape (m,)
    ground: Floats


class _Booking(NamedTuple):
    """What the heat of a step follows from, shape (m,) each."""

    seconds: Floats
    released: Floats  # by hydration, J/m2
    flux: tuple[Floats, Floats]  # into the surface in both stages, W/m2
    fall: Floats  # W/(m2 K)
    ground: tuple[Floats, Floats]  # W/m2
    slope: tuple[Floats, Floats]  # of both stages together, of the first node and the last, K/s


class _Step(NamedTuple):
    """The state of all members after a step."""

    temperature: Floats  # degC, shape (m, n)
    age: Floats  # h, shape (m, c)
    degree: Floats
    degree_rate: Floats
    booking: _Booking


def _add_to(part: Floats, values: Floats | float) -> None:
    """Add to a part of an array; `array[part] += values` would write it twice."""
    np.add(part, values, out=part)


class _Marcher:
    """The state of all members, and how it moves by a step.

    Where pore water freezes, a step is taken twice: with the heat capacity at its start, then with the mean
    one between its ends. Temperatures follow from the enthalpy, so that no heat is lost between them.
    Source: Pham (1985), A fast, unconditionally stable finite-difference scheme for heat conduction with
    phase change, Int. J. Heat Mass Transfer 28(11); from memory, the balance and the convergence are tested.

    Ground that starts frozen thaws: what would warm a node above 0 degC melts its ice first. It does not
    freeze again, which would keep the slab warm. Source: the method of excess degrees, Dusinberre (1945),
    Numerical methods for transient heat flow, Trans. ASME 67; from memory, tested by Neumann's solution.

    All members are one long row of nodes; the link from the last node of one to the first of the next is
    zero. So an operation on all of them is one pass over memory, faster than one member by member. What
    concerns the concrete alone is computed in arrays of its own and copied, because an operation on a part of
    each row takes several times as long.
    """

    def __init__(
        self,
        column: GridColumn,
        concrete: HydrationParameters,
        temperature: Floats,
        deep_c: float | Floats | None,
        age_h: float | Floats,
        frozen: NDArray[np.bool_] | None,
    ) -> None:
        self.column = column
        self.concrete = concrete
        self.temperature = temperature
        self.count = len(column.concrete)
        members = len(temperature)
        self.deep_link = 0.0 if deep_c is None else float(column.conductance[-1])
        self.deep_link_array = np.array(self.deep_link)
        self.deep_c = np.asarray(0.0 if deep_c is None else deep_c)
        self.ultimate, self.tau, self.beta = (
            self.at_nodes(each) for each in (concrete.ultimate, concrete.tau, concrete.beta)
        )
        thick = self.at_nodes(concrete.thickness)
        own = thick * column.concrete
        self.conductance = np.repeat(column.conductance[np.newaxis], members, axis=0)
        self.conductance[:, : self.count - 1] /= thick[:, 1:]
        self.hardened = np.column_stack([self.conductance, np.zeros(members)])  # the last: between members
        self.links = self.hardened.copy()
        self.row_of_links = self.links.ravel()[:-1]
        self.gain = np.ones_like(self.links)
        self.heating = np.zeros_like(temperature)
        self.capacity = np.repeat(column.capacity[np.newaxis], members, axis=0)
        per_metre = column.capacity[0] / column.concrete[0]
        self.capacity[:, : self.count] += (own - column.concrete) * per_metre
        self.upward = np.zeros(temperature.size + 1)  # flow of heat into and out of each node
        self.volume_heat = self.at_nodes(concrete.heat) * own
        self.energy_k = self.at_nodes(concrete.activation_energy) / GAS_CONSTANT
        cold = concrete.cold_activation_energy
        self.cold_energy_k = None if cold is None else self.at_nodes(cold) / GAS_CONSTANT
        self.age = self.at_nodes(age_h)
        self.dormant = self.at_nodes(concrete.dormant_h)
        self.degree, self.degree_rate = self.degree_and_slope(self.age)
        self.ones = np.ones(self.count)  # to sum over a slab's nodes: faster than `sum`
        self.bookings: list[_Booking] = []
        self.reference = np.array(concrete.reference_c)
        self.inverse_reference_k = np.array(1.0 / (concrete.reference_c + ZERO_CELSIUS_K))
        self.nodes = np.array(float(self.count))
        self.conductivity_gain = np.array(concrete.conductivity_gain)
        self.freezing = concrete.freezing
        self.own = self.capacity[:, : self.count].copy()
        self.icing: FreezingNodes | None = None
        if self.freezing is not None:
            self.icing = FreezingNodes(self.freezing, self.own, self.at_nodes(self.freezing.latent) * own)
        self.is_icy = self.is_freezing(temperature)
        self.ice = np.zeros((members, len(column.ice)))
        if frozen is not None:
            self.ice += np.where(frozen[:, self.count :], column.ice, 0.0)
        self.is_ground_frozen = bool(self.ice.any())
        self.melted = np.zeros(members)
        self.initial_enthalpy = self.enthalpy_of(self.temperature)

    def at_nodes(self, value: float | Floats) -> Floats:
        """Return a number, or one value a member, at each concrete node, shape (m, c)."""
        of_members = np.broadcast_to(np.asarray(value, dtype=np.float64), (len(self.temperature),))
        return np.repeat(of_members[:, np.newaxis], self.count, axis=1)

    def degree_and_slope(self, age: Floats) -> tuple[Floats, Floats]:
        """Return the degree of hydration whose heat is out, and its derivative by equivalent age."""
        return degree_and_rate(age - self.dormant, self.ultimate, self.tau, self.beta)

    def rate(self, temperature: Floats, liquid: Floats | None) -> Floats:
        """Return equivalent hours per hour at the concrete nodes, of which a share of the water is liquid."""
        slab = temperature[:, : self.count].copy()
        energy_k = self.energy_k
        if self.cold_energy_k is not None:
            energy_k = energy_at(slab, energy_k, self.cold_energy_k, self.reference)
        slab += _ICE_POINT_K
        rate = rate_by_kelvin(slab, energy_k, self.inverse_reference_k)
        if liquid is not None:
            rate *= liquid
        return rate

    def liquid_at(self, temperature: Floats) -> Floats | None:
        """Return the liquid share of the free water at the concrete nodes; None: no node may freeze."""
        if self.freezing is None or not self.is_freezing(temperature):
            return None
        return liquid_share(temperature[:, : self.count].copy(), self.freezing)

    def is_freezing(self, temperature: Floats) -> bool:
        """Return whether any node is cold enough for ice, those of the ground among them."""
        return self.freezing is not None and bool(
            temperature.item(temperature.argmin()) < self.freezing.begins_c
        )

    def enthalpy_of(self, temperature: Floats) -> Floats:
        """Return the enthalpy of every node, shape (m, n), in J/m2."""
        whole = np.asarray(self.capacity * temperature)
        if self.icing is not None:
            whole[:, : self.count] = self.icing.enthalpy(temperature[:, : self.count])
        return whole

    def update_links(self) -> None:
        """Update the conductance between nodes; concrete conducts less as it hydrates."""
        if self.concrete.conductivity_gain:
            gain = self.degree.dot(self.ones)
            gain /= self.nodes
            np.subtract(_ONE, gain, out=gain)
            gain *= self.conductivity_gain
            gain += _ONE
            self.gain[:, : self.count - 1] = gain[:, np.newaxis]
            np.multiply(self.hardened, self.gain, out=self.links)

    def load(self, temperature: Floats, flux: Floats, hydration: Floats) -> tuple[Floats, Floats]:
        """Return the heat that reaches each node, and the part from the deep ground, in W/m2."""
        ground = self.deep_c - temperature[:, -1]
        ground *= self.deep_link_array
        row, upward = temperature.ravel(), self.upward
        between = upward[1:-1]
        np.subtract(row[1:], row[:-1], out=between)
        between *= self.row_of_links
        load = (upward[1:] - upward[:-1]).reshape(temperature.shape)
        _add_to(load[:, 0], flux)
        _add_to(load[:, -1], ground)
        self.heating[:, : self.count] = hydration
        load += self.heating
        return load, ground

    def advance(self, length: _Length, air: _Air) -> None:
        """Move every member on by a step."""
        self.update_links()
        start = self.start(air)
        step = self.step_with_ice(length, start) if self.is_icy else self.step(length, start, self.capacity)
        is_icy = self.is_freezing(step.temperature)
        if is_icy and not self.is_icy:
            step = self.step_with_ice(length, start)
            is_icy = self.is_freezing(step.temperature)
        self.is_icy = is_icy
        self.temperature, self.age = step.temperature, step.age
        self.degree, self.degree_rate = step.degree, step.degree_rate
        self.bookings.append(step.booking)
        if self.is_ground_frozen:
            self.melt_ice()

    def melt_ice(self) -> None:
        """Melt ice of the ground with the heat that has warmed its nodes above 0 degC."""
        ground, capacity = self.temperature[:, self.count :], self.capacity[:, self.count :]
        melting = np.minimum(np.maximum(ground, 0.0) * capacity, self.ice)
        ground -= melting / capacity
        self.ice -= melting
        self.melted += melting.sum(axis=1)
        self.is_ground_frozen = bool(self.ice.any())

    def step_with_ice(self, length: _Length, start: _Start) -> _Step:
        """Return the state after a step in which water freezes or thaws."""
        if self.icing is None:
            raise ValueError("this concrete does not freeze")
        before, own = self.temperature[:, : self.count].copy(), self.own
        whole = self.icing.enthalpy(before)
        gained = self.end_without_ice(length, start)[:, : self.count] - before
        gained *= own
        moved = self.icing.temperature_at(whole + gained)
        moved -= before
        mean = own.copy()
        np.divide(gained, moved, out=mean, where=np.abs(moved) > _STILL)
        np.maximum(mean, own, out=mean)
        capacity = self.capacity.copy()
        capacity[:, : self.count] = mean
        step = self.step(length, start, capacity)
        gained = step.temperature[:, : self.count] - before
        gained *= mean
        step.temperature[:, : self.count] = self.icing.temperature_at(whole + gained)
        return step

    def start(self, air: _Air) -> _Start:
        """Return the fluxes and heats with which a step begins, whatever the heat capacities."""
        (flux1, flux_end), (_, fall) = _surface_flux(self.temperature[:, 0], air)
        # How the weather moves on within the step belongs to the method too: without it the surface, whose
        # node holds little heat, would run ahead of the sun.
        drift = flux_end - flux1
        drift *= _GAMMA_ARRAY
        liquid = self.liquid_at(self.temperature) if self.is_icy else None
        rate = self.rate(self.temperature, liquid)
        heat = self.volume_heat * self.degree_rate
        heat *= rate
        heat /= _HOUR
        load, ground = self.load(self.temperature, flux1 + drift, heat)
        return _Start(flux1, flux_end, fall, drift, rate, heat, load, ground)

    def step(self, length: _Length, start: _Start, capacity: Floats) -> _Step:
        """Return the state after a step with the heat capacities of the nodes, shape (m, n)."""
        first = self.first_stage(length, start, capacity)
        age = self.rate(first.ahead, self.liquid_at(first.ahead))
        age += start.rate
        age *= length.half_h
        age += self.age
        degree, degree_rate = self.degree_and_slope(age)
        # The second stage is given what the first has left of the heat of this step, so that the heat
        # released is exactly that of the degree of hydration gained.
        released = degree - self.degree
        released *= self.volume_heat
        left = released + released
        left /= length.seconds
        left -= start.heat
        second = self.second_stage(length, start, capacity, first, left)
        booking = _Booking(
            length.seconds,
            released.dot(self.ones),
            (start.flux, second.flux),
            start.fall,
            (start.ground, second.ground),
            (first.slope[:, 0] + second.slope[:, 0], first.slope[:, -1] + second.slope[:, -1]),
        )
        return _Step(second.temperature, age, degree, degree_rate, booking)

    def end_without_ice(self, length: _Length, start: _Start) -> Floats:
        """Return the temperature after a step in which nothing freezes or thaws, shape (m, n).

        The concrete hydrates as at the start of the step: what the difference is worth is little beside ice.
        """
        first = self.first_stage(length, start, self.capacity)
        return self.second_stage(length, start, self.capacity, first, start.heat).temperature

    def first_stage(self, length: _Length, start: _Start, capacity: Floats) -> _FirstStage:
        """Return the first stage of a step with the heat capacities of the nodes, shape (m, n)."""
        solve = self.solver(start.fall, length, capacity)
        slope = solve(start.load.copy())  # a step with ice starts with the same load again
        ahead = slope * length.seconds
        ahead += self.temperature
        return _FirstStage(solve, slope, ahead)

    def second_stage(
        self,
        length: _Length,
        start: _Start,
        capacity: Floats,
        first: _FirstStage,
        hydration: Floats,
    ) -> _SecondStage:
        """Return the end of a step from its first stage and the heat of hydration of the second."""
        before = self.temperature
        # The surface is taken as linear over the step: in a gale on a wet slab its true flux, at a stage that
        # overshoots, would run away. The order stays: what is left out is of the second order in the step.
        flux = start.flux_end - start.fall * (first.ahead[:, 0] - before[:, 0])
        load, ground = self.load(first.ahead, flux - start.drift, hydration)
        held = capacity * first.slope
        held += held
        load -= held
        second = first.solve(load)
        temperature = first.slope * _ONE_AND_A_HALF
        temperature += second * _HALF
        temperature *= length.seconds
        temperature += before
        return _SecondStage(temperature, second, flux, ground)

    def solver(self, fall: Floats, length: _Length, capacity: Floats) -> Callable[[Floats], Floats]:
        """Factor the matrix of a step for all members; return its solver, which overwrites the load."""
        shape = self.temperature.shape
        bonds = np.zeros(self.temperature.size + 1)
        np.multiply(self.row_of_links, length.less, out=bonds[1:-1])
        diagonal = capacity - bonds[1:].reshape(shape)
        diagonal -= bonds[:-1].reshape(shape)
        _add_to(diagonal[:, 0], fall * length.weight)
        _add_to(diagonal[:, -1], length.deep)
        factors, bonds, _ = dpttrf(diagonal.ravel(), bonds[1:-1], 1, 1)

        def solve(load: Floats) -> Floats:
            return np.asarray(dpttrs(factors, bonds, load.ravel(), 1)[0]).reshape(shape)

        return solve

    def balance(self) -> Heat:
        """Return where the heat went.

        Over both stages of a step half of each one's heat counts, less what the Jacobian has let back.
        """
        stored = (self.enthalpy_of(self.temperature) - self.initial_enthalpy).sum(axis=1) + self.melted
        hydration, surface, ground = (np.zeros(len(stored)) for _ in range(3))
        for each in self.bookings:
            half, lag = 0.5 * each.seconds, _GAMMA * each.seconds
            hydration += each.released
            surface += half * (sum(each.flux) - each.fall * (lag * each.slope[0]))
            ground += half * (sum(each.ground) - self.deep_link * (lag * each.slope[1]))
        return Heat(stored, hydration, surface, ground)
