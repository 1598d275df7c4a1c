"""Every published pair as material cards, a structure and a cooling: what a check can judge.

    python -m tests.published.as_firings

Design
------
The older evaluation (`outcome_pairs`) cools from a *set point* with room-temperature constants. A
check does not know set points: it knows cards and a firing. So each pair becomes

 1. **cards** (`card_of`). A material that a shipped card covers is that card; one that none covers
    gets a card from `handbook.toml`: mean expansion by rows (Curie points are in the rows),
    martensite as a `Transformation`, glass by the four fixed points of its viscosity. Cold
    constants stay those of `outcomes.toml`. What a pair itself prints goes before: the expansion
    curve is scaled so that its mean at the printed set point is the printed one (`_fitted`).
    Recalled coefficients do not go before the curve, as they were only its value at one point; but
    one curve stands for many glasses and porcelains, so theirs do, and their fixed points move with
    the pair's transition (`_shifted`). A printed differential goes before all.
 2. **a state**: bodies that arrive dense (`Card.arrives`); `dense_history` is their history along
    the cooling.
    Where a source prints a schedule and green densities (none does both today) the pair is fired
    from green with `histories` instead, and the sintering rules are tested too.
 3. **a cooling** (`cooling`) from `bonding_C`, not from a set point: glass sets by its viscosity,
    metal is soft by yield and creep at temperature, and what is frozen in follows. Rates are
    printed nowhere but in words; 5 K/min is assumed, a rate that the viscosity of a glass feels by
    some 10 K a decade.
 4. **a structure** (`response_of`): tile, disc, sleeve or rings, with the piece's sizes from
    `piece`, else 20 mm: what lies flat is a tile, or where the piece is a disc, rod or block, a
    solid about its axis (a block as the disc of the same face); what lies one inside the other is
    a sleeve without ends (`without_ends` marks beads), what stands end to end in a thin wall rings.
 5. **a verdict** (`judged`): `cofire.assessment.verdict.judge` over this response and the table of
    rules, nothing else. All bodies arrive dense, so the rules of green ware are not asked. The gas
    is printed nowhere: inert.

Temperature dependence where no card or row has it, as rules (estimates, alike for all metals):
yield and stiffness follow T/T_solidus [K] by `YIELD_SHARE` and `MODULUS_SHARE`; a ceramic's modulus
falls by 1 % per 100 K. Metals without a card do not creep: yield at temperature stands for it.

Expected, before the first run: pairs whose metal contracts mostly above its Curie point while soft
(alumina with Fe-Ni-Co) carry less tension than by the set point of 0.6 of the solidus; matched
seals of glass stay below 20 MPa; martensite relieves 410 and 17-4PH against zirconia only below
300 °C.
If a matched bead shows more than a mismatched one, the curves are wrong. Found: the first does not
come true: alumina on Fe-Ni-Co bears 198 MPa cold, and 183 MPa by the set point; with the rule of
shares the alloy still has 0.6 of its yield stress at 600 °C, and its cold yield is met either way.
The others do.
"""

from __future__ import annotations

import sys
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from cofire.assessment.response import Response
from cofire.assessment.verdict import Verdict, judge
from cofire.firing.kiln import Trace
from cofire.firing.program import Firing, load_kilns
from cofire.materials.card import DENSE, Card, Property, Transformation
from cofire.materials.catalogue import load_cards
from cofire.mechanics.layer_firing import read_sleeve, read_tile
from cofire.mechanics.meridian import mesh_meridian
from cofire.mechanics.shell_firing import fire_shells
from cofire.mechanics.sleeve import fire_sleeve, nested_rings
from cofire.mechanics.solid_firing import fire_solid
from cofire.mechanics.solid_mesh import mesh_cylinder, mesh_solid
from cofire.mechanics.tile import fire_tile, layered_tile
from cofire.numerics import Array
from cofire.physics import mixing
from cofire.physics.expansion import thermal_strains
from cofire.physics.history import History
from cofire.physics.rheology import creep_factor, shear_viscosity
from cofire.units import ROOM, kelvin
from cofire.vessel import Band, JointLimits, Printer, Vessel
from tests.published import outcome_pairs

Entry = dict[str, Any]

HANDBOOK = Path(__file__).with_name("handbook.toml")
RATE = 5.0 / 60.0
"""Cooling where none is printed, which is everywhere: an estimate. [K/s]"""
STEP = 5.0
"""Between nodes of the cooling. [K]"""
SHARES = (0.0, 0.25, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0)
YIELD_SHARE = (1.0, 1.0, 0.8, 0.65, 0.45, 0.22, 0.1, 0.04, 0.02)
MODULUS_SHARE = (1.0, 1.0, 0.93, 0.86, 0.78, 0.69, 0.6, 0.5, 0.4)
"""Of the cold value, at those shares of the solidus [K/K]: the run of annealed pure metals and
solid solutions near 1e-4 per second (handbook curves, from memory; an estimate for any one). [-]"""
FIXED_POINTS = (13.5, 12.0, 6.6, 3.0)
"""log10 of the viscosity at the strain, annealing, softening and working point (ASTM C336, C338).
[log10(Pa s)]"""
FLUID = 6.0
"""Viscosity below which a glass carries nothing here; keeps the march from chasing a liquid.
[log10(Pa s)]"""
SOLIDS = ("disc", "rod", "block")
THERMAL = ("thermal_conductivity", "specific_heat", "theoretical_density")
SIZE = 0.02
"""Side of a tile, length of a sleeve where the piece does not tell; enters by its m-th root. [m]"""


@dataclass(frozen=True)
class Stressed:
    """What a pair carries after its cooling.

    Attributes
    ----------
    names
        Of the layers.
    tension
        Largest principal tension in each layer at any time, shape (N,). [Pa]
    cold
        Largest principal tension in each layer when cold, shape (N,). [Pa]
    """

    names: tuple[str, ...]
    tension: Array
    cold: Array


@cache
def handbook() -> Entry:
    """The file of properties against temperature."""
    return tomllib.loads(HANDBOOK.read_text(encoding="utf-8"))


@cache
def _shipped() -> dict[str, Card]:
    return load_cards()


def _property(owner: str, name: str, rows: Sequence[tuple[float, float]] | float) -> Property:
    """A property of an entry, from rows of K and SI value, or one number."""
    if isinstance(rows, float):
        return Property(name, owner, None, np.array([rows]), (), (), ())
    temperature, value = (np.array(column, float) for column in zip(*rows, strict=True))
    return Property(name, owner, temperature, value, (), (), ())


def _metal_rows(entry: Entry, solidus: float, what: str) -> dict[str, Property]:
    """Yield stress and stiffness of a metal against temperature, by the rule of shares."""
    at = [max(share * solidus, 1.0 + k) for k, share in enumerate(SHARES)]
    cold = 1e6 * entry["yield_stress_MPa"], 1e9 * entry["young_modulus_GPa"]
    names = ("yield_stress", YIELD_SHARE), ("young_modulus", MODULUS_SHARE)
    return {
        name: _property(what, name, [(t, size * s) for t, s in zip(at, shares, strict=True)])
        for size, (name, shares) in zip(cold, names, strict=True)
    }


def _glass_rows(points: Sequence[float]) -> list[tuple[float, float]]:
    """Rows of log viscosity, colder by the slope at the strain point to 18, hotter to `FLUID`."""
    hot = np.array([kelvin(p) for p in points])
    log = np.array(FIXED_POINTS)
    slope = (log[0] - log[1]) / (hot[1] - hot[0])
    rows = [(hot[0] - (18.0 - log[0]) / slope, 18.0), *zip(hot, log, strict=True)]
    return [(float(t), float(max(v, FLUID - 1e-3 * k))) for k, (t, v) in enumerate(rows)]


def card_of(name: str) -> Card:
    """Card of a material of `outcomes.toml`, dense, with what a cooling needs.

    A shipped card, or one made of `handbook.toml` and the cold constants of `outcomes.toml`.
    """
    curve = handbook()["materials"][name]
    if "card" in curve:
        return replace(_shipped()[curve["card"]], arrives=DENSE)
    entry = outcome_pairs.table()["materials"][name]
    rows = [(kelvin(t), 1e-6 * a) for t, a in curve["expansion"]]
    found = {
        "thermal_expansion": _property(name, "thermal_expansion", rows),
        "poisson_ratio": _property(name, "poisson_ratio", float(entry["poisson_ratio"])),
    }
    if entry["role"] == "metal":
        found |= _metal_rows(entry, kelvin(curve["solidus_C"]), name)
    else:
        cold = 1e9 * entry["young_modulus_GPa"]
        found["young_modulus"] = _property(
            name, "young_modulus", [(t, cold * (1.0 - 1e-4 * (t - ROOM))) for t in (ROOM, 2500.0)]
        )
        found |= {
            key: _property(name, key, size)
            for key, size in (
                ("strength", 1e6 * entry["strength_MPa"]),
                ("weibull_modulus", float(entry["weibull_modulus"])),
                ("fracture_toughness", 1e6 * entry["fracture_toughness_MPa_m05"]),
            )
        }
    if "thermal" in curve:
        found |= {
            key: _property(name, key, float(size))
            for key, size in zip(THERMAL, curve["thermal"], strict=True)
        }
    if "fixed_points_C" in curve:
        found["glass_viscosity"] = _property(
            name, "glass_viscosity", _glass_rows(curve["fixed_points_C"])
        )
    changes: tuple[Transformation, ...] = ()
    if "transformation" in curve:
        t = curve["transformation"]
        changes = (
            Transformation(
                t["name"], kelvin(t["on_heating_C"]), kelvin(t["on_cooling_C"]), t["width_C"],
                0.01 * t["strain_percent"], 1e-6 * t["expansion_change"],
            ),
        )  # fmt: skip
    return Card(
        name, entry["role"], "", found, elements=tuple(curve.get("elements", ())),
        transformations=changes, arrives=DENSE,
    )  # fmt: skip


def _scaled_to(card: Card, set_point: float, mean: float) -> Card:
    """The card with its mean expansion from 20 °C to the set point [K] made that. [1/K]"""
    curve = float(card["thermal_expansion"].at(set_point, extend=True))
    return card.scaled("thermal_expansion", mean / curve)


def _shifted(card: Card, by: float, anneal: float) -> Card:
    """A glass whose fixed points, and the bend of its expansion there, lie elsewhere. [K]"""
    viscosity, expansion = card["glass_viscosity"], card["thermal_expansion"]
    assert viscosity.temperature is not None
    assert expansion.temperature is not None
    edge = anneal - 60.0
    bend = expansion.temperature >= edge
    keep = bend | (expansion.temperature < edge + min(by, 0.0))
    moved = {
        "glass_viscosity": replace(viscosity, temperature=viscosity.temperature + by),
        "thermal_expansion": replace(
            expansion,
            temperature=(expansion.temperature + by * bend)[keep],
            value=expansion.value[keep],
        ),
    }
    return replace(card, properties={**card.properties, **moved})


def _fitted(card: Card, pair: Entry, name: str) -> Card:
    """The card as this pair has it: printed expansion, and transition of its glass."""
    set_point, seen = kelvin(pair["set_point_C"]), pair.get("seen", [])
    points = handbook()["materials"][name].get("fixed_points_C")
    if points and pair["set_by"] != "strain point":
        card = _shifted(card, set_point - kelvin(points[1]), kelvin(points[1]))
    if points or {"expansion_1e6_per_K", f"expansion_1e6_per_K.{name}"} & set(seen):
        card = _scaled_to(card, set_point, 1e-6 * pair["expansion_1e6_per_K"][name])
    return card


def cards_of(pair: Entry) -> dict[str, Card]:
    """Cards of the pure materials of a pair, by their names in `outcomes.toml`."""
    cards = {name: _fitted(card_of(name), pair, name) for name in pair["expansion_1e6_per_K"]}
    if "differential_ppm" in pair:
        set_point = kelvin(pair["set_point_C"])
        first, second = cards
        mean = float(cards[first]["thermal_expansion"].at(set_point, extend=True))
        mean -= 1e-6 * pair["differential_ppm"] / (set_point - ROOM)
        cards[second] = _scaled_to(cards[second], set_point, mean)
    return cards


def cooling(bonding: float) -> tuple[Array, Array]:
    """Time and temperature of the cooling from the bonding temperature [K] to room. [s], [K]"""
    count = int(np.ceil((bonding - ROOM) / STEP)) + 1
    temperature = np.linspace(bonding, ROOM, count)
    return (bonding - temperature) / RATE, temperature


def contraction(card: Card, bonding: float) -> Array:
    """Free strain along the cooling since bonding, transformations included, shape (M,). [-]

    The body was heated first: what turns on heating has turned when it is bonded.
    """
    _, down = cooling(bonding)
    both = np.concatenate([down[::-1], down[1:]])
    strain = np.sum(list(thermal_strains(card, both, extend=True).values()), axis=0)
    fall = strain[down.size - 1 :]
    return np.asarray(fall - fall[0], np.float64)


def dense_history(cards: Sequence[Card], bonding: float) -> History:
    """History of dense bodies along the cooling from where they were bonded [K]."""
    time, temperature = cooling(bonding)
    flat = np.ones_like(temperature)

    def stiffness(card: Card) -> Array:
        return card["young_modulus"].at(temperature, extend=True)

    def yields(card: Card) -> Array:
        return (
            card["yield_stress"].at(temperature, extend=True)
            if card.kind == "metal"
            else np.inf * flat
        )

    def creeps(card: Card) -> tuple[Array, float]:
        if "creep_stress" not in card:
            return 0.0 * flat, 1.0
        row, n = card["creep_stress"], card.scalar("creep_exponent")
        assert row.temperature is not None
        energy = card.scalar("creep_energy")
        return creep_factor(temperature, row.scalar, row.temperature[0], n, energy), n

    def cold_strength(card: Card) -> Array:
        return flat * (card["yield_stress"].value[0] if card.kind == "metal"
                       else card.scalar("strength"))  # fmt: skip

    creep = [creeps(c) for c in cards]
    return History(
        names=tuple(c.name for c in cards),
        time=time,
        temperature=temperature,
        breakpoints=np.array([0, time.size - 1]),
        strain={"expansion": np.array([contraction(c, bonding) for c in cards])},
        relative_density=np.ones((len(cards), time.size)),
        mass_fraction=np.ones((len(cards), time.size)),
        water_lost=np.zeros((len(cards), time.size)),
        young_modulus=np.array([stiffness(c) for c in cards]),
        poisson_ratio=np.array([c.scalar("poisson_ratio") for c in cards]),
        viscosity=np.array([3.0 * shear_viscosity(c, temperature, extend=True) for c in cards]),
        viscous_poisson_ratio=np.full((len(cards), time.size), 0.49),
        creep_factor=np.array([rows for rows, _ in creep]),
        creep_exponent=np.array([n for _, n in creep]),
        yield_stress=np.array([yields(c) for c in cards]),
        strength=np.array([cold_strength(c) for c in cards]),
    )


@dataclass(frozen=True)
class _Rows:
    """One material's rows of a cooling, shape (M,) each."""

    card: Card
    strain: Array
    young_modulus: Array
    poisson_ratio: float
    yield_stress: Array
    strength: Array


def _mixed_card(first: Card, second: Card, share: float) -> Card:
    """A metal in a ceramic: both are its parts. Two ceramics: the weaker phase's scatter counts."""
    name = f"{100 * share:.0f} % {first.name} / {second.name}"
    if first.kind == "metal":
        parts = ((first, share), (second, 1.0 - share))
        mean = {  # by volume: near enough for the lag of a wall, which decides nothing here
            key: _property(
                name, key,
                float(share * first[key].value[0] + (1.0 - share) * second[key].value[0]),
            )
            for key in THERMAL
        }  # fmt: skip
        return Card(name, "blend", "", mean, parts=parts, arrives=DENSE)
    weaker = min(
        (first, second),
        key=lambda c: c.scalar("fracture_toughness") ** 2 / float(c["young_modulus"].value[0]),
    )
    return replace(weaker, name=name)


def _mixed_rows(first: _Rows, second: _Rows, share: float) -> _Rows:
    """Rows of a blend of two by the rules of mixing; Levin's rule in steps."""
    sides = (first, second)
    moduli = [
        (
            mixing.bulk_modulus(z.young_modulus, z.poisson_ratio),
            mixing.shear_modulus(z.young_modulus, z.poisson_ratio),
        )
        for z in sides
    ]
    bulk, shear = mixing.elastic_moduli(share, *moduli)
    one = np.ones_like(bulk)
    weight = mixing.free_strain(share, one, 0.0 * one, moduli[0][0], moduli[1][0], bulk)
    steps = np.append(weight[0], 0.5 * (weight[1:] + weight[:-1]))
    fall = [np.diff(z.strain, prepend=0.0) for z in sides]
    metal = first.card.kind == "metal"
    return _Rows(
        _mixed_card(first.card, second.card, share),
        np.cumsum(fall[1] + steps * (fall[0] - fall[1])),
        mixing.young_modulus(bulk, shear),
        float(mixing.poisson_ratio(bulk, shear)[-1]),
        np.asarray(mixing.yield_stress(share, first.yield_stress)) if metal else np.inf * one,
        np.asarray(mixing.strength(share, first.strength, second.strength)),
    )


def _blend(parts: dict[str, float], pure: dict[str, _Rows]) -> _Rows:
    """Rows of a blend; one of three is a metal in a blend of ceramics."""
    rows = [(pure[name], share) for name, share in parts.items()]
    metals = [r for r in rows if r[0].card.kind == "metal"]
    (body, share), *others = [r for r in rows if r[0].card.kind != "metal"]
    for other, more in others:
        body, share = _mixed_rows(body, other, share / (share + more)), share + more
    return _mixed_rows(metals[0][0], body, metals[0][1]) if metals else body


def layers_of(pair: Entry) -> tuple[History, tuple[Card, ...]]:
    """History with one row a layer, and the layers' cards.

    Viscosity and creep of blends: none.
    """
    cards = cards_of(pair)
    bonded = pair.get("frozen_C", pair["bonding_C"])
    known = dense_history(list(cards.values()), kelvin(bonded))
    names = list(cards)
    pure = {
        name: _Rows(
            card, known.strain["expansion"][k], known.young_modulus[k],
            float(known.poisson_ratio[k]), known.yield_stress[k], known.strength[k],
        )
        for k, (name, card) in enumerate(cards.items())
    }  # fmt: skip
    first = [next(iter(layer.get("parts") or [layer["material"]])) for layer in pair["layers"]]
    layered = known.rows([names.index(name) for name in first])
    rows = [
        _blend(layer["parts"], pure) if "parts" in layer else pure[layer["material"]]
        for layer in pair["layers"]
    ]
    blends = np.array(["parts" in layer for layer in pair["layers"]])
    whole = replace(
        layered,
        names=tuple(r.card.name for r in rows),
        strain={"expansion": np.stack([r.strain for r in rows])},
        young_modulus=np.stack([r.young_modulus for r in rows]),
        poisson_ratio=np.array([r.poisson_ratio for r in rows]),
        yield_stress=np.stack([r.yield_stress for r in rows]),
        strength=np.stack([r.strength for r in rows]),
        creep_factor=np.where(blends[:, None], 0.0, layered.creep_factor),
        viscosity=np.where(blends[:, None], np.inf, layered.viscosity),
    )
    return whole, tuple(r.card for r in rows)


def is_cylinder(pair: Entry) -> bool:
    """Whether the piece is fired as a rod or disc of flat layers about its axis."""
    return bool(pair["piece"]["shape"] in SOLIDS and pair["geometry"] == "tile")


def without_ends(pair: Entry) -> bool:
    """Whether the piece is a bead, whose ends the long sleeve it is fired as does not show."""
    return bool(pair["piece"]["shape"] in SOLIDS and pair["geometry"] == "sleeve")


def radius_of(pair: Entry) -> float:
    """Radius of a rod or disc, of a block that of a disc of the same face. [m]"""
    return float(np.sqrt(area(pair) / np.pi))


def _names(pair: Entry) -> tuple[str, ...]:
    return tuple(
        layer.get("material") or "/".join(f"{100 * s:.0f} % {n}" for n, s in layer["parts"].items())
        for layer in pair["layers"]
    )


def _tile(pair: Entry, past: History) -> Any:
    thickness = [1e-3 * layer["thickness_mm"] for layer in pair["layers"]]
    tile = layered_tile(thickness, free_to_bend=pair["bending"] == "free")
    fired = fire_tile(tile, past)
    if is_cylinder(pair):
        bands = np.arange(len(thickness))
        return fire_solid(mesh_cylinder(radius_of(pair), thickness), past, bands, times=fired.time)
    return read_tile(tile, fired, area(pair))


def _sleeve(pair: Entry, past: History) -> Any:
    layers = pair["layers"]
    radii = [layers[0]["inner_radius_mm"], *(layer["outer_radius_mm"] for layer in layers)]
    sleeve = nested_rings(1e-3 * np.array(radii))
    length = 1e-3 * pair["piece"].get("height_mm", 1e3 * SIZE)
    return read_sleeve(sleeve, fire_sleeve(sleeve, past), length)


def _rings(pair: Entry, past: History) -> Any:
    count, height = len(pair["layers"]), 1e-3 * pair["piece"]["height_mm"]
    wall = (
        [1e-3 * pair["radius_mm"]] * 2, [0.0, height * count], 1e-3 * pair["wall_mm"],
        height * np.arange(1, count),
    )  # fmt: skip
    bands = np.arange(count)
    (shell,) = fire_shells([mesh_meridian(*wall)], past, [bands])
    return fire_solid(mesh_solid(*wall), past, bands, times=shell.time)


STRUCTURES = {"tile": _tile, "sleeve": _sleeve, "ring": _rings}


def area(pair: Entry) -> float:
    """Area of a flat piece, from its sizes where it states them. [m²]"""
    piece = pair["piece"]
    if "diameter_mm" in piece:
        return float(0.25 * np.pi * (1e-3 * piece["diameter_mm"]) ** 2)
    if "length_mm" in piece and "width_mm" in piece:
        return float(1e-6 * piece["length_mm"] * piece["width_mm"])
    return SIZE**2


def _vessel(pair: Entry, cards: Sequence[Card]) -> Vessel:
    """The pair as a vessel file would name it; its sizes stand with the structure."""
    tall = 1e-3 * pair["piece"]["height_mm"] * len(cards) if pair["geometry"] == "ring" else SIZE
    edges = np.linspace(0.0, tall, len(cards) + 1)
    bands = tuple(
        Band(c.name, float(low), float(high))
        for c, low, high in zip(cards, edges[:-1], edges[1:], strict=True)
    )
    firing = Firing(f"cooling of {pair['id']}", next(iter(load_kilns().values())), (), "inert")
    size = np.full(2, 1e-3 * pair.get("radius_mm", 1e3 * SIZE))
    wall = np.full(2, 1e-3 * pair["wall_mm"]) if "wall_mm" in pair else size
    return Vessel(
        pair["id"], size, np.array([0.0, tall]), wall, (), bands, firing, Printer(),
        JointLimits(0, 0.0, 0.0, 0.0, 0.0),
    )  # fmt: skip


def response_of(pair: Entry) -> Response:
    """A pair cooled from where it was bonded, in the nearest of today's structures."""
    past, cards = layers_of(pair)
    fired = STRUCTURES[pair["geometry"]](pair, past)
    trace = Trace(past.time, past.temperature, past.temperature, past.breakpoints, "inert")
    at = np.interp(fired.time, past.time, past.temperature)
    return Response(_vessel(pair, cards), cards, tuple(range(len(cards))), trace, past, fired, at)


@dataclass(frozen=True)
class Judged:
    """A pair and what the product says of it.

    Attributes
    ----------
    pair
        Entry of the table.
    verdict
        Of the product, worst flag first.
    apart
        Largest difference of free contraction between neighbours, from bonding to cold. [-]
    """

    pair: Entry
    verdict: Verdict
    apart: float

    @property
    def utilisations(self) -> dict[str, float]:
        """Largest utilisation by rule, what could not be computed counting as 1. [-]"""
        found: dict[str, float] = {}
        for flag in self.verdict.flags:
            found[flag.rule] = max(found.get(flag.rule, 0.0), flag.counted)
        return found

    @property
    def says_failed(self) -> bool:
        """Whether the product says no."""
        return self.verdict.word == "no"


def judged(pair: Entry) -> Judged:
    """The product's verdict on a published pair."""
    response = response_of(pair)
    strain = response.history.free_strain[:, -1]
    return Judged(pair, judge(response), float(np.abs(np.diff(strain)).max()))


def stressed(pair: Entry) -> Stressed:
    """Tension in each layer of a pair, cooled from where it was bonded, by today's structures."""
    response = response_of(pair)
    shell = response.fired
    worst = np.maximum(shell.total.max(axis=(-2, -1)), 0.0)
    layers = range(len(response.cards))
    peak = np.stack([worst[:, shell.band == k].max(axis=1) for k in layers], axis=1)
    return Stressed(_names(pair), peak.max(axis=0), peak[-1])


def report(every: int = 1) -> str:
    """Peak tension of each layer of the open pairs, or of every so many of them, as printed."""
    from tests.published.evidence_set import open_pairs

    lines = []
    for pair in open_pairs()[::every]:
        found = stressed(pair)
        layers = ", ".join(
            f"{n} {1e-6 * t:.0f}" for n, t in zip(found.names, found.tension, strict=True)
        )
        edge = " (its ends are not in it)" if without_ends(pair) else ""
        lines.append(f"{pair['id']} [{pair['outcome_label']}]: {layers} MPa{edge}")
    return "\n".join(lines)


if __name__ == "__main__":
    sys.stdout.write(report() + "\n")
