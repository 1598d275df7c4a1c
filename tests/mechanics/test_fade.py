"""Walls along which one material fades into another, against closed forms and against steps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt
import pytest

from cofire.mechanics.integrator import Control
from cofire.mechanics.meridian import mesh_meridian
from cofire.mechanics.properties import NO_YIELD, Fade, Levels, material_table
from cofire.mechanics.shell_firing import ShellFiring, fire_shells
from cofire.mechanics.shell_kernel import njit
from cofire.mechanics.solid_firing import SolidFiring, fire_solid
from cofire.mechanics.solid_mesh import mesh_solid
from cofire.physics.history import History
from tests.histories import made_history

RADIUS, WALL, HIGH = 0.03, 0.003, 0.06
STRAIN, YOUNG = 1e-4, 60e9
STRAIGHT = Fade(np.array([0.0, HIGH]), np.array([0.0, 1.0]), np.array([0, 1]), np.array([0.0, 1.0]))
BENT = replace(STRAIGHT, height=np.array([0.0, 0.03, HIGH]), share=np.array([0.0, 0.8, 1.0]))
STEPS = np.linspace(0.0, HIGH, 11)[1:-1]


def apart(**properties: npt.ArrayLike) -> History:
    """Two materials that end up `STRAIN` apart."""
    strain = [[0.0, 0.0, 0.0], [0.0, 0.5 * STRAIN, STRAIN]]
    return made_history([0.0, 1.0, 2.0], strain, young_modulus=YOUNG, **properties)


def as_shell(history: History, fade: Fade | None, control: Control | None = None) -> ShellFiring:
    mesh = mesh_meridian([RADIUS, RADIUS], [0.0, HIGH], WALL, STEPS)
    materials = np.arange(STEPS.size + 1)
    (fired,) = fire_shells(
        [mesh], history, [materials if fade is None else 0 * materials], fade=fade, control=control
    )
    return fired


def as_solid(history: History, fade: Fade | None) -> SolidFiring:
    mesh = mesh_solid([RADIUS, RADIUS], [0.0, HIGH], WALL, STEPS, across=4)
    materials = np.arange(STEPS.size + 1)
    return fire_solid(mesh, history, materials if fade is None else 0 * materials, fade=fade)


def staircase() -> History:
    """What stands in the same ten bands, if each is of its own mean."""
    means = STRAIN * (np.arange(STEPS.size + 1) + 0.5) / (STEPS.size + 1)
    return made_history([0.0, 1.0, 2.0], np.outer(means, [0.0, 0.5, 1.0]), young_modulus=YOUNG)


def largest(fired: ShellFiring | SolidFiring) -> float:
    """Stress at the end over that of the whole difference held. [-]"""
    return float(np.abs(fired.total[-1]).max()) / (YOUNG * STRAIN)


def test_a_fade_that_is_straight_along_a_tube_sets_up_no_stress():
    """A temperature that is linear in the coordinates of a free body bends it, and nothing pulls.

    Boley and Weiner 1960, "Theory of Thermal Stresses" (from memory). Ten steps instead pull with
    a twentieth of the whole difference, less a fifth.
    """
    assert largest(as_solid(apart(), STRAIGHT)) < 1e-4
    assert largest(as_shell(apart(), STRAIGHT)) < 1e-4
    assert largest(as_solid(staircase(), None)) > 0.04
    assert largest(as_shell(staircase(), None)) > 0.04


def test_more_bands_do_not_change_what_a_fade_sets_up():
    """A fade that bends in the middle, in ten bands and in one."""
    many = as_solid(apart(), BENT)
    mesh = mesh_solid([RADIUS, RADIUS], [0.0, HIGH], WALL, (0.03,), across=4)
    few = fire_solid(mesh, apart(), [0, 0], fade=BENT)
    assert largest(many) == pytest.approx(largest(few), rel=0.01)
    assert largest(many) > 0.02


def test_levels_are_on_straight_lines_between_materials_and_yield_by_its_inverse():
    history = apart(viscosity=np.array([1e9, 1e11]), yield_stress=np.array([1e8, np.inf]))
    table = material_table(history)
    levels = Levels(np.array([0, 0, 0]), np.array([1, 1, 1]), np.array([0.0, 0.5, 1.0]))
    there, here = table.between(levels).at(2.0), table.at(2.0)
    assert there.free_strain == pytest.approx([0.0, 0.5 * STRAIN, STRAIN])
    assert there.fluidity == pytest.approx([1e-9, 1e-10, 1e-11])
    assert there.yield_stress == pytest.approx([1e8, 2e8, NO_YIELD], rel=1e-3)
    for k, end in ((0, 0), (-1, 1)):
        ends = [(a[k], b[end]) for a, b in zip(there, here, strict=True)]
        assert all(a == pytest.approx(b, rel=1e-12) for a, b in ends)


def test_a_fade_a_little_beyond_its_materials_goes_on_straight():
    fade = Fade(np.array([0.0, 1.0]), np.array([0.1, 0.4]), np.array([7, 3]), np.array([0.2, 0.3]))
    levels, index = fade.at(np.array([0.0, 0.5, 1.0, 0.5]))
    assert index.tolist() == [0, 1, 2, 1]
    assert levels.lower.tolist() == [7, 7, 7]
    assert levels.share == pytest.approx([-0.5, 0.5, 1.5])  # no farther than half the way


@pytest.mark.skipif(njit is None, reason="without a compiler")
def test_a_compiled_shell_fades_as_the_march_in_numpy_does():
    history = apart(viscosity=np.array([1e9, 1e13]), yield_stress=np.array([2e6, np.inf]))
    plain, quick = (as_shell(history, BENT, Control(compiled=c)) for c in (False, True))
    assert np.abs(plain.total).max() > 1e3
    assert quick.total == pytest.approx(plain.total, abs=1e-6 * np.abs(plain.total).max())


def test_a_level_beyond_two_materials_has_of_the_nearer_one_all_but_its_free_strain():
    """A creep exponent or Poisson's ratio drawn on would leave what the law can take."""
    exponents = np.array([1.0, 4.0])
    history = apart(creep_factor=np.array([1e-18, 1e-38]), creep_exponent=exponents)
    table = material_table(history)
    beyond = Levels(np.array([0, 0]), np.array([1, 1]), np.array([-0.5, 1.5]))
    there, here = table.between(beyond).at(2.0), table.at(2.0)
    assert there.free_strain == pytest.approx([-0.5 * STRAIN, 1.5 * STRAIN])
    for name in ("young_modulus", "log_creep_rate", "creep_exponent", "yield_stress"):
        assert getattr(there, name) == pytest.approx(getattr(here, name))
