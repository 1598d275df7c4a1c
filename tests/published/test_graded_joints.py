"""What number and height of graded layers buy, against closed forms for long thin cylinders.

S. P. Timoshenko and S. Woinowsky-Krieger, Theory of Plates and Shells, 2nd ed., 1959, ch. 15 (from
memory): the wall of a cylinder bends as a beam on an elastic foundation. A step Δε of free strain
between two like half-infinite cylinders gives, at a distance x from it and with β as usual,

    hoop     σ_θ = ±½ E Δε e^{−βx} cos βx
    bending  σ_x = √3/(2√(1−ν²)) E Δε e^{−βx} sin βx   (outer face, of opposite sign either side).

A graded joint is a sum of steps, and a continuous linear grade over a height L their integral:

    end of the grade  σ_θ = E Δε/(4βL) [1 + e^{−βL} (sin βL − cos βL)],  → E Δε/(4βL) for tall ones.

The formulas are evaluated here, independently of the package. That grading does not help by
itself, and some cases need an optimised profile to lower the critical stress at all, is also what
Williamson, Rabin & Drake 1993, J. Appl. Phys. 74, 1310, found for metal-ceramic cylinders
(abstract). That what a metal between two ceramics yields at, not how far its expansion is off, sets
the tension in the ceramic is the finding of Kovalev et al. 1998, J. Am. Ceram. Soc. 81, 2342
(abstract), by finite elements with nickel and aluminium between silicon nitride.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cofire.design.candidates import Bench, fire_candidates
from cofire.design.fired_size import decay_length
from cofire.design.transition import Layout, as_vessel, zones
from cofire.mechanics.joint import JointFields
from cofire.mechanics.meridian import mesh_meridian
from cofire.mechanics.properties import Mechanisms
from cofire.mechanics.shell import elastic_response, shells
from cofire.mechanics.shell_firing import fire_shells
from cofire.numerics import Array
from cofire.physics.history import History
from cofire.vessel import JointLimits
from tests.fired import CARDS
from tests.planned import tea_light_to_plan

POISSON = 0.3
RADIUS, WALL = 1.0, 5e-4
"""As thin as in the tests of two cylinders: what a thick wall adds is below 0.1 %. [m]"""
BETA = (3.0 * (1.0 - POISSON**2)) ** 0.25 / np.sqrt(RADIUS * WALL)
ELASTIC = Mechanisms(viscous=False, creep=False, plastic=False)


def step_response(x: Array) -> tuple[Array, Array]:
    """Hoop stress and outer bending stress over EΔε at a distance x (in 1/β) from one step."""
    near = np.exp(-np.abs(x))
    hoop = 0.5 * np.sign(x) * near * np.cos(x)
    bend = np.sqrt(0.75 / (1.0 - POISSON**2)) * near * np.sin(np.abs(x)) * np.sign(x)
    return hoop, bend


def ring_peaks(layers: int, tall: float) -> tuple[float, float]:
    """Peaks of hoop and bending over EΔε for N equal rings over a height L (in 1/β)."""
    places = np.linspace(-0.5 * tall, 0.5 * tall, layers + 1) if layers else np.zeros(1)
    x = np.linspace(-0.5 * tall - 8.0, 0.5 * tall + 8.0, 40001)
    x = np.sort(np.concatenate([x, places - 1e-9, places + 1e-9]))
    hoop, bend = np.zeros_like(x), np.zeros_like(x)
    for place in places:
        one = step_response(x - place)
        hoop, bend = hoop + one[0] / places.size, bend + one[1] / places.size
    return float(np.abs(hoop).max()), float(np.abs(bend).max())


def linear_grade_hoop(tall: float) -> float:
    """Hoop at the end of a continuous linear grade, over EΔε."""
    return (1.0 + np.exp(-tall) * (np.sin(tall) - np.cos(tall))) / (4.0 * tall)


def computed(layers: int, tall: float) -> tuple[float, float]:
    """The same peaks from the package's elastic shell."""
    steps = np.linspace(-0.5 * tall, 0.5 * tall, layers + 1) if layers else np.zeros(1)
    ends = (0.5 * tall + 6.0) / BETA
    mesh = mesh_meridian([RADIUS] * 2, [-ends, ends], WALL, steps / BETA, fineness=2.0)
    body = shells([mesh], [np.arange(layers + 2)])
    levels = np.linspace(0.5, -0.5, layers + 2)
    stress = elastic_response(
        body, np.ones(layers + 2), np.full(layers + 2, POISSON), levels[body.material]
    )[1]
    fields = JointFields.of(body)
    state = fields.at(stress[None], np.ones((1, layers + 2)), np.full(layers + 2, POISSON))
    return float(np.abs(state.hoop).max()), float(np.abs(stress[0, 0, [0, -1]]).max())


RINGS = [
    # number of rings, βL, hoop and bending over EΔε: the closed form above, evaluated apart
    (0, 0.0, 0.5000, 0.2927),
    (1, 0.5, 0.3831, 0.2753),
    (3, 0.5, 0.3805, 0.2828),
    (7, 0.5, 0.3798, 0.2850),
    (1, 4.0, 0.2530, 0.1481),
    (3, 4.0, 0.1327, 0.0984),
    (7, 4.0, 0.0885, 0.1032),
    (1, 8.0, 0.2500, 0.1464),
    (3, 8.0, 0.1324, 0.0710),
    (7, 8.0, 0.0685, 0.0552),
]


@pytest.mark.parametrize(("layers", "tall", "hoop", "bending"), RINGS)
def test_the_formula_gives_the_tabulated_peaks(layers, tall, hoop, bending) -> None:
    assert ring_peaks(layers, tall) == pytest.approx((hoop, bending), abs=1e-4)


@pytest.mark.parametrize(("layers", "tall"), [row[:2] for row in RINGS])
def test_equal_rings_between_two_zones_follow_the_sum_of_steps(layers, tall) -> None:
    known = ring_peaks(layers, tall)
    found = computed(layers, tall)
    assert found == pytest.approx(known, abs=0.003)  # the mesh, as for two cylinders: 0.3 % of EΔε


@pytest.mark.parametrize(
    ("tall", "hoop"),
    [(0.25, 0.438), (0.5, 0.379), (1.0, 0.2777), (2.0, 0.1474), (4.0, 0.0624), (8.0, 0.0313)],
)
def test_many_rings_tend_to_the_linear_grade(tall, hoop) -> None:
    assert linear_grade_hoop(tall) == pytest.approx(hoop, abs=6e-4)
    # fifteen rings leave steps of a sixteenth: half of one of them is added at each end
    found, _ = computed(15, tall)
    assert hoop - 0.005 < found < hoop + 0.5 / 16 + 0.005


def test_height_is_what_counts_and_only_from_a_decay_length_on() -> None:
    direct = computed(0, 0.0)
    quarter, whole, eight = (computed(3, tall) for tall in (0.25, 1.0, 8.0))
    assert quarter[1] > 0.98 * direct[1]  # the bending does not notice a quarter of 1/β
    assert quarter[0] < 0.90 * direct[0]  # the hoop stress falls by a tenth
    assert direct[1] > whole[1] > 2.0 * eight[1]


def test_more_rings_in_the_same_height_ease_the_step_but_not_the_bending() -> None:
    few, many = computed(3, 4.0), computed(7, 4.0)
    assert many[0] < 0.75 * few[0]
    assert many[1] > few[1]  # it even rises


def elastic_history(levels: Array) -> History:
    """Bodies alike but for a strain that grows linearly with time."""
    n = levels.size
    time = np.array([0.0, 1.0])
    flat = np.ones((n, 2))
    return History(
        names=tuple(f"body {k}" for k in range(n)),
        time=time,
        temperature=np.array([300.0, 310.0]),
        breakpoints=np.array([0, 1]),
        strain={"free": np.stack([0.0 * levels, levels], axis=1)},
        relative_density=flat,
        mass_fraction=flat,
        water_lost=0.0 * flat,
        young_modulus=60e9 * flat,
        poisson_ratio=np.full(n, POISSON),
        viscosity=np.inf * flat,
        viscous_poisson_ratio=0.5 * flat,
        creep_factor=0.0 * flat,
        creep_exponent=np.ones(n),
        yield_stress=np.inf * flat,
        strength=1e8 * flat,
    )


def test_the_firing_of_graded_vessels_shows_the_same_trend() -> None:
    """The whole machinery, elastic, on a vessel of a/h = 25: closed forms hold to 4 %."""
    radius, wall = 0.1, 4e-3
    beta = (3.0 * (1.0 - POISSON**2)) ** 0.25 / np.sqrt(radius * wall)
    strain, cases = 1e-3, [(0, 0.0), (3, 1.0), (3, 4.0), (7, 4.0)]
    for layers, tall in cases:
        steps = np.linspace(-0.5 * tall, 0.5 * tall, layers + 1) / beta
        height = (tall + 12.0) / beta
        places = 0.5 * height + (steps if layers else np.zeros(1))
        mesh = mesh_meridian([radius] * 2, [0.0, height], wall, places)
        history = elastic_history(strain * np.linspace(0.5, -0.5, layers + 2))
        (fired,) = fire_shells([mesh], history, [np.arange(layers + 2)])
        _, bending = ring_peaks(layers, tall)
        found = fired.bending_tension[-1].max() / (60e9 * strain)
        assert found == pytest.approx(bending, rel=0.04)


METALS = {"aluminium": (10e-3, 70e9, 30e6), "nickel": (5e-3, 200e9, 150e6)}
"""Contraction beyond silicon nitride's over 500 K, modulus [Pa], yield stress when annealed [Pa]:
handbook, rounded, from memory."""


def between_two_ceramics(metal: str, tall: float, mechanisms: Mechanisms | None) -> float:
    """Largest bending tension in silicon nitride rings with a metal ring between. [Pa]"""
    radius, wall = 0.05, 4e-3
    beta = (3.0 * (1.0 - POISSON**2)) ** 0.25 / np.sqrt(radius * wall)
    strain, young, yields = METALS[metal]
    places = (7.0 + np.array([0.0, tall])) / beta
    mesh = mesh_meridian([radius] * 2, [0.0, (tall + 14.0) / beta], wall, places)
    history = replace(
        elastic_history(np.array([0.0, -strain])),
        young_modulus=np.outer([300e9, young], np.ones(2)),
        yield_stress=np.outer([np.inf, yields], np.ones(2)),
    )
    (fired,) = fire_shells([mesh], history, [[0, 1, 0]], mechanisms=mechanisms)
    return float(fired.bending_tension[-1, [0, 2]].max())


@pytest.mark.parametrize("tall", [2.0, 4.0])
def test_the_yield_of_a_metal_between_ceramics_counts_for_more_than_its_mismatch(tall) -> None:
    soft, hard = (between_two_ceramics(metal, tall, None) for metal in METALS)
    soft_elastic, hard_elastic = (between_two_ceramics(metal, tall, ELASTIC) for metal in METALS)
    assert soft_elastic > 1.3 * hard_elastic  # by mismatch alone aluminium is the worse one
    assert soft < 0.4 * hard  # the ranking turns


def test_a_taller_transition_eases_a_real_pair_and_one_blend_more_does_less() -> None:
    """Silver on frit, fired elastically: the plan's own candidates show the trend."""
    base = tea_light_to_plan()
    base = replace(base, joint=JointLimits(7, 40e-3, 28e-3, 32e-3, 6e-3))
    metal, ceramic, below = zones(base, CARDS)
    decay = decay_length(base, 30e-3)
    some = [
        Layout((), 0.0, 30e-3),
        Layout((75, 50, 25), 0.25 * decay / 3, 30e-3),
        Layout((75, 50, 25), 3.0 * decay / 3, 30e-3),
        Layout((85, 70, 55, 45, 30, 15), 3.0 * decay / 6, 30e-3),
    ]
    laid = [as_vessel(base, metal.name, ceramic.name, below, layout) for layout in some]
    fired = fire_candidates(Bench(CARDS), laid, mechanisms=ELASTIC)
    tension = [r.fired.bending_tension[-1].max() for r in fired]
    direct, short, tall, more = tension
    assert short > 0.9 * direct
    assert tall < 0.7 * direct
    assert abs(more / tall - 1.0) < 0.35 < 1.0 - tall / direct
