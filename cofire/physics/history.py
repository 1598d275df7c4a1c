"""What one material does alone along a firing: free strain, density, stiffness, flow, strength."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from cofire.errors import OutOfRange
from cofire.firing.kiln import Trace
from cofire.materials.binders import shipped_reactions
from cofire.materials.card import Card, pure_cards
from cofire.materials.properties import ALONG_THE_FIRING, VISCOSITIES
from cofire.numerics import Array
from cofire.physics import mixing
from cofire.physics.blends import bulk_density, neck
from cofire.physics.burnout import KAOLIN_CONTRACTION, mass_lost_in_turn, water_contraction
from cofire.physics.expansion import thermal_strains
from cofire.physics.porosity import (
    anchored_strength,
    densified,
    porous_viscosity,
    viscous_poisson_ratio,
)
from cofire.physics.rheology import binder_relief, creep_factor, shear_viscosity
from cofire.physics.sintering import (
    left_to_sinter,
    relative_density,
    sintering_potential,
    sintering_strain,
    sintering_viscosity,
)
from cofire.units import celsius

WATER, SINTERING = "bound water", "sintering"
"""Contributions to the free strain that make up the firing shrinkage, in turn."""
PER_MATERIAL = (
    "relative_density", "mass_fraction", "water_lost", "young_modulus", "poisson_ratio",
    "viscosity", "viscous_poisson_ratio", "creep_factor", "creep_exponent", "yield_stress",
    "strength",
)  # fmt: skip


@dataclass(frozen=True)
class History:
    """Histories of N materials along one trace of M times.

    Strains are natural (logarithmic) strains relative to the dried body at 20 °C, so that
    contributions add exactly. Arrays have the material first and the time last.

    Attributes
    ----------
    names
        Names of the N materials.
    time
        Times of the trace, strictly increasing, shape (M,). [s]
    temperature
        Temperature of the ware, shape (M,). [K]
    breakpoints
        Indices into `time` on which an integrator must land (segment ends, transformations).
    strain
        Free strain by named contribution, each of shape (N, M): expansion, each inversion, and of
        the shrinkage what `WATER` leaves behind and what `SINTERING` adds to it. [-]
    relative_density, mass_fraction
        Bulk over theoretical density, and mass over dried mass, shape (N, M). [-]
    water_lost
        Bound water that has left, of the dried mass; all else that has left is binder, shape
        (N, M). [-]
    young_modulus
        Of the porous body at temperature, shape (N, M). [Pa]
    poisson_ratio
        Elastic, shape (N,). [-]
    viscosity
        Uniaxial viscosity (stress over strain rate): of its glass or crystals, and of the powder
        that is densifying; infinite where nothing flows, shape (N, M). [Pa s]
    viscous_poisson_ratio
        Lateral over axial strain rate in viscous flow, shape (N, M). [-]
    creep_factor
        A in strain rate = A stress^n, zero where nothing creeps, shape (N, M). [1/(s Pa^n)]
    creep_exponent
        n of the same law, shape (N,). [-]
    yield_stress
        Of the porous metal, infinite for a body that does not yield, shape (N, M). [Pa]
    strength
        Tensile (flexural) strength of the porous body, shape (N, M). [Pa]
    extended
        What was read outside the range it was measured in: one line each.
    """

    names: tuple[str, ...]
    time: Array
    temperature: Array
    breakpoints: NDArray[np.intp]
    strain: dict[str, Array]
    relative_density: Array
    mass_fraction: Array
    water_lost: Array
    young_modulus: Array
    poisson_ratio: Array
    viscosity: Array
    viscous_poisson_ratio: Array
    creep_factor: Array
    creep_exponent: Array
    yield_stress: Array
    strength: Array
    extended: tuple[str, ...] = ()

    def __repr__(self) -> str:
        names = ", ".join(self.names[:3]) + f" and {len(self.names) - 3} more" * (
            len(self.names) > 3
        )
        return f"<History of {names}: {self.time.size} times>"

    @property
    def free_strain(self) -> Array:
        """Sum of all contributions, shape (N, M); in one order, whatever cards come along. [-]"""
        parts = [self.strain[name] for name in sorted(self.strain)]
        return np.asarray(np.sum(parts, axis=0), dtype=np.float64)

    @property
    def shrinkage(self) -> Array:
        """Natural strain that stays: bound water's and sintering's together, shape (N, M). [-]"""
        parts = [self.strain[name] for name in (WATER, SINTERING) if name in self.strain]
        none = np.zeros(self.relative_density.shape)
        return np.asarray(np.sum([none, *parts], axis=0), dtype=np.float64)

    @property
    def progress(self) -> Array:
        """Share of its densification that each material has done, shape (N, M). [-]

        A body that begins without pores has done all of it.
        """
        start, end = self.relative_density[:, :1], self.relative_density[:, -1:]
        done = (self.relative_density - start) / np.maximum(end - start, 1e-12)
        return np.where(start >= 1.0, 1.0, done)

    def rows(self, chosen: Sequence[int]) -> History:
        """The same for some of the materials.

        Parameters
        ----------
        chosen : sequence of int
            Rows, in the order wanted. [-]

        Returns
        -------
        History
            Of those alone.
        """
        pick = list(chosen)
        whole = {f.name: getattr(self, f.name) for f in fields(self)}
        whole["names"] = tuple(self.names[k] for k in pick)
        whole["strain"] = {name: values[pick] for name, values in self.strain.items()}
        for name in PER_MATERIAL:
            whole[name] = whole[name][pick]
        return History(**whole)


BLEND_STRESS = 10e6
"""Stress in the necks at which a blend's metal grains are taken to creep: of the size that cracks a
body. Below it relief is overstated, above it understated; flow under own weight, a thousandth of
it, is not read from it (`rheology.viscosity_at`). [Pa]"""


@dataclass(frozen=True)
class _Zone:
    """One material's rows of a History, shape (M,) each."""

    strain: dict[str, Array]
    relative_density: Array
    mass_fraction: Array
    water_lost: Array
    young_modulus: Array
    poisson_ratio: float
    viscosity: Array
    viscous_poisson_ratio: Array
    creep_factor: Array
    creep_exponent: float
    yield_stress: Array
    strength: Array


def _overfired(card: Card, trace: Trace) -> OutOfRange | None:
    """Why tables end below the peak of a trace, where no row of them could mend it."""
    if card.kind == "metal":
        limit, word = card["solidus"].scalar, "melts"
    else:
        limit, word = card.in_gas(trace.gas).overfires_at, "overfires"
    if trace.peak <= limit:
        return None
    return OutOfRange(
        f"{card.name}: {word} from {celsius(limit):.0f} °C, and the ware reaches "
        f"{celsius(trace.peak):.0f} °C, beyond its tables. Fire below; --extend (extend=True) goes "
        "on with their end values"
    )


def _out_of_reach(card: Card, trace: Trace) -> list[str]:
    """Which tables of the card end below the peak of the trace, or begin above its coldest.

    Below its coldest row a viscosity is not held: the body is frozen there.
    """
    cold, hot = float(trace.ware.min()), trace.peak
    found = []
    for name in (*ALONG_THE_FIRING, *VISCOSITIES):
        if name not in card:
            continue
        low, high = card[name].reach
        place = f"{card.name}: {name}"
        up = high < hot - 1e-6
        down = name in ALONG_THE_FIRING and low > cold + 0.5
        if (up or down) and card[name].single and card[name].valid is None:
            found.append(
                f"{place} is a single number, taken to hold from {celsius(cold):.0f} to "
                f"{celsius(hot):.0f} °C"
            )
            continue
        if down:
            found.append(
                f"{place} held at its {celsius(low):.0f} °C value down to {celsius(cold):.0f} °C"
            )
        if up:
            found.append(
                f"{place} held at its {celsius(high):.0f} °C value up to {celsius(hot):.0f} °C"
            )
    return found


@dataclass(frozen=True)
class _Lost:
    """What leaves any body along a trace: of the binder's mass and of the bound water's, (M,)."""

    binder: Array
    water: Array
    burnt_out: Array


def _lost(trace: Trace) -> _Lost:
    """Burnout along a trace, the same for all materials; `burnt_out` ends at 1.

    Reactions of each gas count while it is there. What the gas that leaves most char leaves holds
    nothing: where gases follow each other, that much counts as burnt out.
    """
    sets = [(s.first, shipped_reactions(s.gas)) for s in trace.stretches]

    def gone(substance: str) -> Array:
        turns = [(node, [r for r in some if r.substance == substance]) for node, some in sets]
        return mass_lost_in_turn(trace.time, trace.ware, turns)

    takes = (sum(r.share for r in some if r.substance == "binder") for _, some in sets)
    binder = gone("binder")
    burnt_out = np.clip(binder / max(min(takes), 1e-9), 0.0, 1.0)
    return _Lost(binder, gone("structural water"), burnt_out)


def burnout(trace: Trace) -> tuple[Array, Array]:
    """How much of the binder and of a clay's bound water has left along a trace.

    Parameters
    ----------
    trace : Trace
        What the ware sees, and in which gas.

    Returns
    -------
    tuple of array
        Shares of the binder's mass and of the bound water's, each of shape (M,), the same for all
        materials; what stays as char has not left. [-]
    """
    lost = _lost(trace)
    return lost.binder, lost.water


def contracted(card: Card, lost: Array) -> Array:
    """Natural strain of one material by the bound water that has left it.

    Parameters
    ----------
    card : Card
        Not a blend.
    lost : array
        Share of the bound water that has left, shape (M,). [-]

    Returns
    -------
    array
        Zero of a body without loss on ignition, shape (M,). [-]
    """
    per_water = card.scalar("water_contraction", KAOLIN_CONTRACTION)
    return water_contraction(lost, card.scalar("loss_on_ignition", 0.0), per_water)


def yields_cold(card: Card, density: Array | float) -> Array:
    """Yield stress of a porous metal at 20 °C: linear in its necks, the brown strength when brown.

    Parameters
    ----------
    card : Card
        A metal.
    density : array
        Relative density. [-]

    Returns
    -------
    array
        Same shape. [Pa]
    """
    limit, green = card["yield_stress"], card["green_density"].scalar
    brown = min(card["brown_strength"].scalar, float(limit.value[0]))
    joined = densified(density, green, limit.at_density)
    return np.asarray(brown + (float(limit.value[0]) - brown) * joined, dtype=np.float64)


def _pure(card: Card, trace: Trace, lost: _Lost, extend: bool) -> _Zone:
    """History of one material that is not a blend, as it is in the gas of the hot part."""
    card, T = card.in_gas(trace.gas), trace.ware
    density = relative_density(card, trace, extend)
    green = card["green_density"].scalar
    strain = thermal_strains(card, T, extend)
    shrinkage = sintering_strain(density, green, height_factor(card))
    water = card.scalar("loss_on_ignition", 0.0)
    if water > 0.0:
        strain[WATER] = contracted(card, lost.water)
    strain[SINTERING] = left_to_sinter(shrinkage, strain.get(WATER, 0.0))
    mass = 1.0 - card["binder"].scalar * lost.binder - water * lost.water
    modulus = card["young_modulus"]
    young = modulus.at(T, extend) * neck(card, density, modulus.at_density)
    empty = np.zeros_like(T)
    if card.kind == "metal":
        dense = neck(card, density, 1.0)
        n = card["creep_exponent"].scalar
        row = card["creep_stress"]
        assert row.temperature is not None
        creep = (
            creep_factor(T, row.scalar, row.temperature[0], n, card["creep_energy"].scalar)
            / dense**n
        )
        limit = card["yield_stress"]
        cold = yields_cold(card, density)
        yields = cold * limit.at(T, extend) / limit.value[0]
        viscosity = np.full_like(T, np.inf)
        # a porous metal's strength: its yield stress when cold, which is on the safe side
        fired_density = card["fired_density"].scalar
        fired_strength = float(yields_cold(card, fired_density))
    else:
        creep, n, yields = empty, 1.0, np.full_like(T, np.inf)
        viscosity = porous_viscosity(density, shear_viscosity(card, T, extend))
        fired_strength, fired_density = card["strength"].scalar, card["strength"].at_density
    lateral = viscous_poisson_ratio(density)
    shrinking = np.gradient(shrinkage, trace.time)  # necks grow, whatever water did to the length
    soft = sintering_viscosity(shrinking, sintering_potential(card), lateral)
    weak, bound = card["brown_strength"].scalar, card["green_strength"].scalar
    strength = anchored_strength(density, green, weak, fired_density, fired_strength)
    held = max(bound - weak, 0.0) * (1.0 - lost.burnt_out)
    relief = binder_relief(trace.time, weak + held, young)
    strength, yields = strength + held, yields + held
    with np.errstate(divide="ignore"):
        viscosity = 1.0 / (1.0 / viscosity + 1.0 / soft + relief)
    return _Zone(
        strain=strain,
        relative_density=density,
        mass_fraction=mass,
        water_lost=water * lost.water,
        young_modulus=young,
        poisson_ratio=card["poisson_ratio"].scalar,
        viscosity=viscosity,
        viscous_poisson_ratio=lateral,
        creep_factor=creep,
        creep_exponent=n,
        yield_stress=yields,
        strength=strength,
    )


def height_factor(card: Card) -> float:
    """Shrinkage along the height over that along the ring, of a blend by shares of volume.

    Parameters
    ----------
    card : Card
        Pure or a blend.

    Returns
    -------
    float
        [-]
    """
    return sum(p.scalar("height_shrinkage_factor", 1.0) * share for p, share in card.constituents)


def along_height(card: Card, free_strain: float, shrinkage: float) -> float:
    """Free natural strain along the height, of which only what stays is another there.

    Parameters
    ----------
    card : Card
        Pure or a blend.
    free_strain, shrinkage : float
        All of it, and what is no expansion, along the ring. [-]

    Returns
    -------
    float
        [-]
    """
    return free_strain + (height_factor(card) - 1.0) * shrinkage


def _mixed(card: Card, metal: _Zone, ceramic: _Zone) -> _Zone:
    """History of a blend from those of its parts, by the rules of `mixing`."""
    c = card.metal_share
    sides = (metal, ceramic)
    moduli = [
        (
            mixing.bulk_modulus(z.young_modulus, z.poisson_ratio),
            mixing.shear_modulus(z.young_modulus, z.poisson_ratio),
        )
        for z in sides
    ]
    bulk, shear = mixing.elastic_moduli(c, *moduli)
    one = np.ones_like(bulk)
    weight = mixing.free_strain(c, one, 0.0 * one, moduli[0][0], moduli[1][0], bulk)
    middle = 0.5 * (weight[1:] + weight[:-1])

    def accumulate(name: str) -> Array:
        """Levin's rule in rates, so that the weight may change on the way."""
        nothing = np.zeros_like(bulk)
        m, k = (np.diff(z.strain.get(name, nothing), prepend=0.0) for z in sides)
        return np.cumsum(k + np.append(weight[0], middle) * (m - k))

    names = dict.fromkeys([*metal.strain, *ceramic.strain])
    strain = {name: accumulate(name) for name in names if name != SINTERING}
    density = bulk_density(c, metal.relative_density, ceramic.relative_density)
    green = bulk_density(c, metal.relative_density[0], ceramic.relative_density[0])
    shrinkage = sintering_strain(density, green, height_factor(card))
    strain[SINTERING] = left_to_sinter(shrinkage, strain.get(WATER, 0.0))
    (m, _), (k, _) = card.parts
    necks = neck(m, metal.relative_density, 1.0)
    mass = np.array(
        [c * m["theoretical_density"].scalar, (1.0 - c) * k["theoretical_density"].scalar]
    )
    mass /= mass.sum()
    return _Zone(
        strain=strain,
        relative_density=density,
        mass_fraction=mass[0] * metal.mass_fraction + mass[1] * ceramic.mass_fraction,
        water_lost=mass[0] * metal.water_lost + mass[1] * ceramic.water_lost,
        young_modulus=mixing.young_modulus(bulk, shear),
        poisson_ratio=float(mixing.poisson_ratio(bulk, shear)[-1]),
        viscosity=mixing.viscosity(c, _linear_metal(c, metal, necks), ceramic.viscosity),
        viscous_poisson_ratio=viscous_poisson_ratio(density),
        creep_factor=mixing.creep_factor(c, metal.creep_factor, metal.creep_exponent),
        creep_exponent=metal.creep_exponent,
        yield_stress=mixing.yield_stress(c, metal.yield_stress),
        strength=mixing.strength(c, metal.strength, ceramic.strength),
    )


def _linear_metal(metal_fraction: float, metal: _Zone, necks: Array) -> Array:
    """Viscosity of the metal grains of a blend, their creep read at `BLEND_STRESS` in the necks.

    A power law in a blend whose ceramic flows too has no closed form; without this the two phases
    would lock each other between 40 and 60 % metal, which hot blends do not. Where the metal is
    the matrix (60 % and more) the creep law itself takes over, so the linear share fades there.
    """
    faded = min((1.0 - metal_fraction) / (1.0 - mixing.FLOW_THRESHOLD), 1.0)
    creep = faded * metal.creep_factor * (BLEND_STRESS * necks) ** (metal.creep_exponent - 1.0)
    with np.errstate(divide="ignore"):
        return np.asarray(1.0 / (1.0 / metal.viscosity + creep))


KEPT = 48
"""Blends whose histories are kept along one trace, the latest: some 60 kB each. A search comes
back to those of its last few designs. [-]"""


class Along:
    """Histories of materials along one trace, kept for whoever asks for them again.

    Those of blends, of which a search makes hundreds, are kept up to `KEPT` of them, the latest.

    Parameters
    ----------
    trace : Trace
        What the ware sees, M nodes.
    extend : bool
        Hold a table's end values beyond its rows, and say so in `extended`, instead of refusing.
    """

    def __init__(self, trace: Trace, extend: bool = False) -> None:
        self.trace, self.extend = trace, extend
        self._known: dict[int, tuple[Card, _Zone, list[str]]] = {}

    def __reduce__(self) -> tuple[type[Along], tuple[Trace, bool]]:
        """How another process gets it: without what is known."""
        return type(self), (self.trace, self.extend)

    @cached_property
    def _lost(self) -> _Lost:
        return _lost(self.trace)

    def _zone(self, card: Card) -> tuple[Card, _Zone, list[str]]:
        """What one material does, with the card itself, so that its identity stays taken."""
        known = self._known.get(id(card))
        if known is None:
            if card.parts:
                zone = _mixed(card, *(self._zone(part)[1] for part, _ in card.parts))
                blends = [key for key, (one, *_) in list(self._known.items()) if one.parts]
                if len(blends) >= KEPT:
                    self._known.pop(blends[0], None)  # another thread may have been quicker
            else:
                try:
                    zone = _pure(card, self.trace, self._lost, self.extend)
                except OutOfRange as error:
                    raise _overfired(card, self.trace) or error from None
            far = [] if card.parts else _out_of_reach(card, self.trace)
            known = self._known[id(card)] = (card, zone, far)
        return known

    def of(self, cards: Sequence[Card]) -> History:
        """Their histories.

        Parameters
        ----------
        cards : sequence of Card
            N materials.

        Returns
        -------
        History
            Arrays of shape (N, M).

        Raises
        ------
        OutOfRange
            The trace is hotter or colder than a card's tables, and `extend` is false.
        """
        zones = [self._zone(card)[1] for card in cards]
        extended = [line for card in pure_cards(cards).values() for line in self._zone(card)[2]]
        names = dict.fromkeys(name for zone in zones for name in zone.strain)
        nothing = np.zeros_like(self.trace.time)

        def stack(name: str) -> Array:
            return np.stack([np.asarray(getattr(zone, name), dtype=np.float64) for zone in zones])

        return History(
            names=tuple(card.name for card in cards),
            time=self.trace.time,
            temperature=self.trace.ware,
            breakpoints=self.trace.breakpoints,
            strain={n: np.stack([z.strain.get(n, nothing) for z in zones]) for n in names},
            extended=tuple(extended),
            **{name: stack(name) for name in PER_MATERIAL},
        )


def histories(
    cards: Sequence[Card],
    trace: Trace,
    extend: bool = False,
) -> History:
    """Histories of many materials along one trace: N cards cost N, whatever is joined to what.

    Parameters
    ----------
    cards : sequence of Card
        N materials.
    trace : Trace
        What the ware sees, M nodes.
    extend : bool
        Hold a table's end values beyond its rows, and say so in `extended`, instead of refusing.

    Returns
    -------
    History
        Arrays of shape (N, M).

    Raises
    ------
    OutOfRange
        The trace is hotter or colder than a card's tables, and `extend` is false.
    """
    return Along(trace, extend).of(cards)
