"""Two other ways to join the zones: one as a sleeve in the other, and fired one after the other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from cofire.inputs.cards import Card
from cofire.inputs.units import celsius
from cofire.inputs.vessel import Vessel
from cofire.physics.history import History
from cofire.physics.sintering import sintering_potential
from cofire.physics.strength import bar_effective_volume, rupture_risk, unit_strength
from cofire.planning.flags import Flag
from cofire.planning.proposals.candidates import COARSE, POINTS, Bench, worst_first
from cofire.planning.proposals.transition import Layout, as_vessel
from cofire.planning.ware.crack_flags import (
    BEGUN,
    FAILURE_CAUTION,
    FAILURE_NO,
    SINTERED,
    TEST_BAR,
    cooling_flags,
    sintering_flags,
)
from cofire.planning.ware.joint_flags import POOR_BOND, energy_load, joint_flags
from cofire.planning.ware.response import Response
from cofire.planning.ware.thresholds import with_thresholds
from cofire.planning.ware.verdict import Verdict
from cofire.planning.ware.wall_flags import metal_flags
from cofire.structures.meridian import mesh_meridian
from cofire.structures.shell_firing import fire_shells
from cofire.structures.sleeve import FiredSleeve, fire_sleeve, nested_rings

Array = NDArray[np.float64]

RING_POINTS = 5
LARGEST_STRAIN = 0.03
"""Mismatch above which the shell's small strains give only a first figure. [-]"""


def sleeve(bench: Bench, vessel: Vessel) -> tuple[str, Verdict, str]:
    """One zone inside the other, as two rings of the same wall over the whole height.

    Long rings in the vessel's firing, either zone inside. Compared are the ceramic ring's
    survival (Weibull, over its volume), its tension while half sintered, the tension between the
    rings against the ceramic's strength, and the elastic energy that both rings store against the
    ceramic's toughness: what a crack that runs between them from an end can spend at most (Suo &
    Hutchinson 1990, Int. J. Fract. 43, 1, steady state). The metal's plastic strain is not.

    Parameters
    ----------
    bench : Bench
        With the materials.
    vessel : Vessel
        With its firing.

    Returns
    -------
    tuple of str, Verdict and str
        What was tried in the better order, its flags, and what was compared.
    """
    metal, ceramic, _ = bench.zones(vessel)
    history = bench.history(vessel.firing, [metal, ceramic])
    middle = 0.5 * (vessel.bands[0].high + vessel.bands[-1].low)
    radius = float(np.interp(middle, vessel.height, vessel.radius))
    wall = float(np.interp(middle, vessel.height, vessel.wall))
    faces = radius + wall * np.array([-0.5, 0.0, 0.5])
    rings = nested_rings(np.stack([faces, faces]), [[0, 1], [1, 0]], points=RING_POINTS)
    fired = fire_sleeve(rings, with_thresholds(history), control=COARSE)
    tall = float(vessel.height[-1])
    note = (
        f"rings of {wall * 1e3 / 2:.1f} mm; compared are the ceramic ring's survival, its tension "
        "while half sintered, the tension between the rings and the energy a crack between them "
        "can spend"
    )
    found = []
    for order, place in ((0, "inside"), (1, "outside")):
        volume = 2.0 * np.pi * tall * rings.share[order, 1 - order]
        flags = _ring_flags(ceramic, history, fired, order, volume)
        inner = rings.share[order] / faces[1]
        flags.append(_energy_flag(ceramic, history, fired, order, inner))
        found.append((f"a sleeve: {metal.name} {place} {ceramic.name}", worst_first(flags)))
    what, verdict = min(found, key=lambda pair: pair[1].load)
    return what, verdict, note


def _ring_flags(
    ceramic: Card, history: History, fired: FiredSleeve, order: int, volume: Array
) -> list[Flag]:
    """Flags of the ceramic ring, which is the outer one in order 0."""
    time = fired.time
    stress = np.moveaxis(fired.stress[:, :, order, 1 - order], 1, 2)  # (S, P, C)
    density, strength, temperature = (
        np.interp(time, history.time, row)
        for row in (history.relative_density[1], history.strength[1], history.temperature)
    )
    done = (density - density[0]) / max(float(density[-1] - density[0]), 1e-12)
    sintered = done >= SINTERED
    m = ceramic["weibull_modulus"].scalar
    bar = bar_effective_volume(TEST_BAR, m, 0.5)
    unit = unit_strength(strength * np.log(2.0) ** (-1.0 / m), m, bar)
    risk = np.where(sintered, rupture_risk(stress, volume, unit[:, None], m), 0.0)
    limit = -np.log1p(-FAILURE_NO)
    tension = np.clip(stress.max(axis=(1, 2)), 0.0, None)
    half = np.where((done > BEGUN) & ~sintered, tension, 0.0)
    bears = np.maximum(strength, sintering_potential(ceramic))
    apart = np.where(sintered, np.clip(fired.interface_stress[:, order, 0], 0.0, None), 0.0)

    def flag(rule: str, load: Array, caution: float, figure: Array, most: Array, note: str) -> Flag:
        t = int(np.argmax(load))
        return Flag(
            rule, ceramic.name, float(load[t]), caution, float(figure[t]) / 1e6,
            float(most[t]) / 1e6, "MPa", "strength and scatter of the card", "", note,
            float(time[t]), float(temperature[t]),
        )  # fmt: skip

    grade = (-np.log1p(-FAILURE_CAUTION) / limit) ** (1.0 / m)
    return [
        flag("cooling", (risk / limit) ** (1.0 / m), grade, tension, strength, "ceramic ring"),
        flag("sintering", half / bears, 0.5, half, bears, "ceramic ring, half sintered"),
        flag("joint stress", apart / strength, 0.5, apart, strength, "between the rings"),
    ]


def _energy_flag(
    ceramic: Card, history: History, fired: FiredSleeve, order: int, share: Array
) -> Flag:
    """Elastic energy of both rings per area between them, against the ceramic's toughness."""
    time = fired.time
    rows = [0, 1] if order == 0 else [1, 0]
    stored = np.zeros(time.size)
    for ring, row in enumerate(rows):
        young = np.interp(time, history.time, history.young_modulus[row])[:, None]
        nu = float(history.poisson_ratio[row])
        a, b, c = (fired.stress[:, k, order, ring] for k in range(3))
        density = a * a + b * b + c * c - 2.0 * nu * (a * b + b * c + c * a)
        stored += (density / (2.0 * young)) @ share[ring]
    done = np.stack([np.interp(time, history.time, r) for r in history.relative_density])
    done = (done - done[:, :1]) / np.maximum(done[:, -1:] - done[:, :1], 1e-12)
    stored = np.where(np.min(done, axis=0) >= SINTERED, stored, 0.0)
    tough = ceramic["fracture_toughness"].scalar ** 2 / ceramic["young_modulus"].value[0]
    t = int(np.argmax(stored))
    temperature = float(np.interp(time[t], history.time, history.temperature))
    return Flag(
        "joint energy", ceramic.name, energy_load(float(stored[t]), float(tough)),
        energy_load(POOR_BOND, 1.0), float(stored[t]), float(tough), "J/m²",
        "toughness of the ceramic; caution from a fifth of it (estimate)", "",
        "elastic energy that a crack between the rings can spend", float(time[t]), temperature,
    )  # fmt: skip


def two_firings(bench: Bench, vessel: Vessel) -> tuple[str, Verdict, str]:
    """The ceramic fired alone first, then the metal sintered onto it, joined edge to edge.

    In the second firing the ceramic only expands and flows as fired; the metal's whole shrinkage
    is mismatch.

    Parameters
    ----------
    bench : Bench
        With the materials.
    vessel : Vessel
        With its firing, which is also the second one.

    Returns
    -------
    tuple of str, Verdict and str
        What was tried, its flags, and the mismatch.
    """
    metal, ceramic, below = bench.zones(vessel)
    middle = 0.5 * (vessel.bands[0].high + vessel.bands[-1].low)
    joined = as_vessel(vessel, metal.name, ceramic.name, below, Layout((), 0.0, middle))
    history = already_fired(bench.history(vessel.firing, [metal, ceramic]), 1)
    rows = (0, 1) if below else (1, 0)
    mesh = mesh_meridian(
        joined.radius, joined.height, joined.wall, joined.steps, fineness=bench.fineness,
        corners=joined.corners,
    )  # fmt: skip
    (shell,) = fire_shells([mesh], with_thresholds(history), [rows], points=POINTS, control=COARSE)
    cards = (metal, ceramic) if below else (ceramic, metal)
    curve = bench.trace(vessel.firing)
    ware = np.interp(shell.time, curve.time, curve.ware)
    response = Response(joined, cards, rows, curve, history, shell, ware)
    flags = [flag for flag in sintering_flags(response) if flag.zone == metal.name]
    flags += cooling_flags(response) + joint_flags(response) + metal_flags(response)
    shrinks = -float(np.expm1(history.strain["sintering"][0, -1]))
    note = f"{metal.name} shrinks {100 * shrinks:.0f} % on a body that no longer does"
    if shrinks > LARGEST_STRAIN:
        note += "; strains beyond the shell's, a first figure"
    what = (
        f"two firings: {ceramic.name} first, {metal.name} onto it at {celsius(curve.peak):.0f} °C"
    )
    return what, worst_first(flags), note


def already_fired(history: History, row: int) -> History:
    """A history in which one material was fired before: it keeps the body it had on cooling.

    Parameters
    ----------
    history : History
        Of a first firing.
    row : int
        Of the material.

    Returns
    -------
    History
        That material no longer densifies; stiffness, flow and strength are those that it has at
        each temperature on the way down.
    """
    down = int(history.temperature.size - 1 - np.argmax(history.temperature[::-1]))
    cold, hot = history.temperature[down:][::-1], history.temperature

    def on_cooling(values: Array) -> Array:
        whole = values.copy()
        whole[row] = np.interp(hot, cold, values[row, down:][::-1])
        return whole

    with np.errstate(divide="ignore"):
        viscosity = 1.0 / on_cooling(1.0 / history.viscosity)
        yields = 1.0 / on_cooling(1.0 / history.yield_stress)
    density, mass, sintering = (
        values.copy()
        for values in (history.relative_density, history.mass_fraction, history.strain["sintering"])
    )
    density[row] = density[row, -1]
    density[row, 0] -= 1e-6  # done from the start, as the flags count progress
    mass[row], sintering[row] = mass[row, -1], 0.0
    return replace(
        history,
        strain={**history.strain, "sintering": sintering},
        relative_density=density,
        mass_fraction=mass,
        young_modulus=on_cooling(history.young_modulus),
        viscosity=viscosity,
        viscous_poisson_ratio=on_cooling(history.viscous_poisson_ratio),
        creep_factor=on_cooling(history.creep_factor),
        yield_stress=yields,
        strength=on_cooling(history.strength),
    )
