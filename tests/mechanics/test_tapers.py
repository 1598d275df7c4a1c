"""A wall tapered towards its joint, as a solid against one by scikit-fem, and in the thin limit."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from cofire.mechanics.solid_firing import SolidFiring
from cofire.mechanics.solid_mesh import mesh_solid
from cofire.mechanics.solid_reading import Lines
from cofire.vessel import Taper
from tests.fired import TEA_LIGHT, written_vessel
from tests.mechanics.test_solid import UNIT, elastic
from tests.solid_reference import Solid, solve_solid

AT = 0.018
YOUNG, POISSON, FREE = np.array([0.8, 0.7]), np.array([0.37, 0.2]), np.array([-0.5, 0.5])


@cache
def tapered(least: float) -> tuple[SolidFiring, Solid]:
    """A tea-light of 4 mm whose lower, metal part thins over 12 mm: ours and scikit-fem's."""
    form = Taper(at=AT, least=least, length=0.012, shoulder=6e-3, below=True)
    vessel = written_vessel(TEA_LIGHT).with_taper(form)
    mesh = mesh_solid(vessel.radius, vessel.height, vessel.wall, [AT])
    z = np.unique(np.concatenate([np.linspace(0.0, 0.06, 1201), [AT]]))
    inner = 35e-3 - (least + (4e-3 - least) * form.left(z))
    known = solve_solid(
        0.5 * (inner + 35e-3), z, 4e-3, np.array([AT]), YOUNG, POISSON, FREE,
        finest=0.01 * least / 4e-3, coarsest=0.2, across=12, faces=(inner, 35e-3 + 0.0 * z),
    )  # fmt: skip
    return elastic(mesh, FREE, YOUNG, POISSON), known


def test_stress_in_a_tapered_wall_is_that_of_a_fine_solid() -> None:
    """Along the ring on both faces within 2.5 % of the largest from 0.1 mm beside the joint on.

    Along the straight outside within 8 %: where a wall's breadth changes fast, lines square to its
    middle end 0.2 mm off the faces of the level rings that it is built of. Wrong if the shoulder
    were cut badly: both would be far out there.
    """
    fired, known = tapered(1e-3)
    lines = Lines.of(fired.mesh)
    height, radius = (v.reshape(fired.height.size, -1) for v in (lines.height, lines.radius))
    assert np.abs(radius[:, -1] - 35e-3).max() < 0.25e-3
    for face, component, theirs, within in (
        (-1, 1, 2, 0.025), (0, 1, 2, 0.025), (-1, 0, 1, 0.08),
    ):  # fmt: skip
        away = np.abs(height[:, face] - AT) > 1.25e-4
        ours = fired.stress[-1, away, face, component]
        right = UNIT * np.interp(height[away, face], known.height, known.stress[:, face, theirs])
        assert np.abs(ours - right).max() < within * np.abs(right).max()


def test_a_thin_edge_bears_the_whole_mismatch_along_the_ring() -> None:
    """Like a thin film on a thick ring: E Δε in the film, where two even rings would share it."""
    fired, _ = tapered(0.5e-3)
    thin = np.flatnonzero(fired.height < AT)[-1]
    thick = np.flatnonzero(fired.height > AT + 4e-3)[0]
    whole = 1e8 * YOUNG[0] * np.ptp(FREE)
    hoop = fired.stress[-1, :, :, 1].mean(axis=-1)
    assert hoop[thin] == pytest.approx(whole, rel=0.2)
    assert abs(hoop[thick]) < 0.15 * whole
    even, _ = tapered(4e-3)
    steps = even.steps.hoop[-1, 0]
    assert abs(steps[0]) < 0.75 * whole  # half, and what its axial pull adds in the tenth beside it
