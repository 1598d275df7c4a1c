"""The table of pairs, and a pair as a body that cools from a set point with constants of 20 °C.

The second serves `quantities` alone, where a source's own model is so; pairs are judged by
`as_firings` and `outcomes`.
"""

from __future__ import annotations

import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import numpy as np

from cofire.assessment.response import Response
from cofire.assessment.rule import Flag
from cofire.materials.card import Card, Property
from cofire.mechanics.sleeve import fire_sleeve, nested_rings
from cofire.mechanics.tile import fire_tile, layered_tile
from cofire.numerics import Array
from cofire.physics import mixing
from cofire.physics.history import History
from cofire.units import ROOM, kelvin
from tests.fired import flags_of

Entry = dict[str, Any]

TABLE = Path(__file__).with_name("outcomes.toml")
SIZE = 0.02
"""Side of a tile, length of a sleeve, height of a ring; enters the risk by its m-th root. [m]"""
SINTERED_TOGETHER = ("cosintered", "graded")
SETTLE, COOL, READINGS = 1.0, 3600.0, 13
"""Time in which the pair is declared dense, then that of cooling (no rate enters), and at how many
even steps of it stress is read at least. [s], [s], [-]"""


@dataclass(frozen=True)
class Body:
    """One layer's material: its card for the flags, and what the history needs, SI."""

    card: Card
    young: float
    poisson: float
    strain: float
    yield_stress: float
    strength: float


@cache
def table() -> Entry:
    """The file of outcomes."""
    return tomllib.loads(TABLE.read_text(encoding="utf-8"))


def _card(name: str, kind: str, parts: tuple[tuple[Card, float], ...] = (), **si: float) -> Card:
    numbers = {k: Property(k, name, None, np.array([v]), (), (), ()) for k, v in si.items()}
    return Card(name, kind, "", numbers, parts=parts)


def _pure(name: str, strain: float) -> Body:
    entry = table()["materials"][name]
    young, nu = 1e9 * entry["young_modulus_GPa"], entry["poisson_ratio"]
    if entry["role"] == "metal":  # its strength: the yield stress, as in `history`
        limit = 1e6 * entry["yield_stress_MPa"]
        return Body(_card(name, "metal"), young, nu, strain, limit, limit)
    card = _card(
        name, "ceramic", young_modulus=young, weibull_modulus=float(entry["weibull_modulus"]),
        fracture_toughness=1e6 * entry["fracture_toughness_MPa_m05"],
    )  # fmt: skip
    return Body(card, young, nu, strain, np.inf, 1e6 * entry["strength_MPa"])


def _mixed(first: Body, second: Body, share: float) -> Body:
    """Blend with a share of the first body: a metal in a ceramic, or two ceramics."""
    moduli = [
        (mixing.bulk_modulus(b.young, b.poisson), mixing.shear_modulus(b.young, b.poisson))
        for b in (first, second)
    ]
    bulk, shear = mixing.elastic_moduli(share, *moduli)
    strain = mixing.free_strain(
        share, first.strain, second.strain, moduli[0][0], moduli[1][0], bulk
    )
    young = float(mixing.young_modulus(bulk, shear))
    name = f"{100 * share:.0f} % {first.card.name} / {second.card.name}"
    if first.card.kind == "metal":
        card = _card(name, "blend", ((first.card, share), (second.card, 1.0 - share)))
        limit = float(mixing.yield_stress(share, first.yield_stress))
    else:
        both = (first.card, second.card)
        least = min(c.scalar("fracture_toughness") ** 2 / c.scalar("young_modulus") for c in both)
        card = _card(
            name, "ceramic", young_modulus=young, fracture_toughness=float(np.sqrt(least * young)),
            weibull_modulus=min(c.scalar("weibull_modulus") for c in both),
        )  # fmt: skip
        limit = np.inf
    return Body(
        card,
        young,
        float(mixing.poisson_ratio(bulk, shear)),
        float(strain),
        limit,
        float(mixing.strength(share, first.strength, second.strength)),
    )


def bodies(pair: Entry) -> list[Body]:
    """Materials of the layers in their order."""
    drop = kelvin(pair["set_point_C"]) - ROOM
    strains = {name: -1e-6 * a * drop for name, a in pair["expansion_1e6_per_K"].items()}
    if "differential_ppm" in pair:
        first, second = strains
        strains[second] = strains[first] + 1e-6 * pair["differential_ppm"]
    found = []
    for layer in pair["layers"]:
        parts = layer.get("parts") or {layer["material"]: 1.0}
        pure = [(_pure(name, strains[name]), share) for name, share in parts.items()]
        metals = [p for p in pure if p[0].card.kind == "metal"]
        ceramics = [p for p in pure if p[0].card.kind == "ceramic"]
        whole = ceramics or metals
        body, share = whole[0]
        for other, more in whole[1:]:
            body, share = _mixed(body, other, share / (share + more)), share + more
        found.append(_mixed(metals[0][0], body, metals[0][1]) if metals and ceramics else body)
    return found


def history(materials: Sequence[Body], set_point: float) -> History:
    """Cooling of dense bodies from the set point [K], free strain linear in temperature."""
    cooled = np.linspace(0.0, 1.0, READINGS)
    time = np.append(0.0, SETTLE + COOL * cooled)
    share = np.append(0.0, cooled)
    count = len(materials)

    def constant(value: float) -> Array:
        return np.full((count, time.size), value)

    def each(name: str) -> Array:
        return np.array([np.full(time.size, getattr(b, name)) for b in materials])

    density = constant(1.0)
    density[:, 0] = 0.6  # so that the rules see it sinter
    return History(
        names=tuple(b.card.name for b in materials),
        time=time,
        temperature=set_point + (ROOM - set_point) * share,
        breakpoints=np.arange(1, time.size),
        strain={"expansion": each("strain") * share},
        relative_density=density,
        mass_fraction=constant(1.0),
        water_lost=constant(0.0),
        young_modulus=each("young"),
        poisson_ratio=np.array([b.poisson for b in materials]),
        viscosity=constant(np.inf),
        viscous_poisson_ratio=constant(0.5),
        creep_factor=constant(0.0),
        creep_exponent=np.ones(count),
        yield_stress=each("yield_stress"),
        strength=each("strength"),
    )


def _response(materials: Sequence[Body], trace: History, shell: Any) -> Response:
    """What the product's rules read; `shell` has the fields of a `ShellFiring` that they use."""
    temperature = np.interp(shell.time, trace.time, trace.temperature)
    cards, rows = tuple(b.card for b in materials), tuple(range(len(materials)))
    nothing: Any = None
    return Response(nothing, cards, rows, nothing, trace, shell, temperature)


def _stations(time: Array, stress: Array, plastic: Array, volume: Array) -> SimpleNamespace:
    """Layers of stress (T, N, P, 2 k) as a shell of k stations a layer, two directions each.

    Principal stresses act independently, so that a third direction may have its own station.
    """
    times, layers, points, directions = stress.shape
    k = directions // 2

    def split(field: Array) -> Array:
        apart = np.moveaxis(field.reshape(times, layers, points, k, 2), 3, 2)
        return apart.reshape(times, layers * k, points, 2)

    return SimpleNamespace(
        time=time,
        band=np.repeat(np.arange(layers), k),
        height=np.zeros(layers * k),
        volume=np.repeat(volume, k, axis=0),
        stress=split(stress),
        total=split(stress),
        local=np.zeros(()),
        plastic=split(plastic),
    )


def _tile_flags(pair: Entry, materials: Sequence[Body], trace: History, size: float) -> list[Flag]:
    thickness = [1e-3 * layer["thickness_mm"] for layer in pair["layers"]]
    tile = layered_tile(thickness, free_to_bend=pair["bending"] == "free")
    fired = fire_tile(tile, trace)
    stress, plastic = (
        np.repeat(field[..., None], 2, axis=-1)
        for field in (fired.stress, fired.record.inelastic[:, 2, 0])
    )
    shell = _stations(fired.time, stress, plastic, tile.share * size**2)
    response = _response(materials, trace, shell)
    return flags_of(response, "cooling")


def _sleeve_flags(
    pair: Entry, materials: Sequence[Body], trace: History, size: float
) -> list[Flag]:
    layers = pair["layers"]
    radii = [layers[0]["inner_radius_mm"], *(layer["outer_radius_mm"] for layer in layers)]
    sleeve = nested_rings(1e-3 * np.array(radii))
    fired = fire_sleeve(sleeve, trace)
    stress, plastic = (  # radial and hoop, axial and nothing
        np.moveaxis(np.pad(field, ((0, 0), (0, 1), (0, 0), (0, 0))), 1, -1)
        for field in (fired.stress, fired.record.inelastic[:, 2])
    )
    shell = _stations(fired.time, stress, plastic, 2.0 * np.pi * sleeve.share * size)
    response = _response(materials, trace, shell)
    return flags_of(response, "cooling")


GEOMETRY: dict[str, Callable[[Entry, Sequence[Body], History, float], list[Flag]]] = {
    "tile": _tile_flags,
    "sleeve": _sleeve_flags,
}


def cooling_flags(pair: Entry, size: float = SIZE) -> list[Flag]:
    """What the product's cooling rule says of a pair cooled from its set point."""
    materials = bodies(pair)
    trace = history(materials, kelvin(pair["set_point_C"]))
    return GEOMETRY[pair["geometry"]](pair, materials, trace, size)
