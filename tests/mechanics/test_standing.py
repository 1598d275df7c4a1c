"""A leaning wall under its own weight, against a solid of revolution by scikit-fem.

A viscous wall is the elastic one with rates for strains; Poisson's ratio 0.49 stands for 1/2.
"""

from __future__ import annotations

import numpy as np
import pytest
import skfem
from skfem.helpers import grad

from cofire.mechanics.standing import stand

NU = 0.49


def stood(radii: tuple[float, float], tall: float, wall: float, *, held: bool, **soft: float):
    """Height that a cone loses above `low`, over that height; below it is 200 times stiffer."""
    lean = np.arctan2(radii[1] - radii[0], tall)
    ends = np.linspace(0.0, tall / np.cos(lean), 301)
    along, length = 0.5 * (ends[1:] + ends[:-1]), np.diff(ends)
    radius = radii[0] + along * np.sin(lean)
    volume = 2.0 * np.pi * radius * wall * length
    weight = np.cumsum(volume[::-1])[::-1] - 0.5 * volume
    above = along * np.cos(lean) > soft.get("low", 0.0)
    every = np.ones(along.size)
    found = stand(
        along, length, radius, lean * every, wall * every, weight,
        np.where(above, 1.0, 1.0 / 200.0), held=held,
    )  # fmt: skip
    return float(np.average(found.drop[above], weights=length[above]))


def solid(radii: tuple[float, float], tall: float, wall: float, *, held: bool, low: float = 0.0):
    """The same of a solid with a modulus and a weight of one."""
    lean = np.arctan2(radii[1] - radii[0], tall)
    levels = np.unique(np.append(np.linspace(0.0, 1.0, 41), low / tall))
    mesh = skfem.MeshQuad.init_tensor(np.linspace(-0.5, 0.5, 5), levels)
    across, up = mesh.p
    points = np.array(
        [radii[0] + (radii[1] - radii[0]) * up + wall / np.cos(lean) * across, tall * up]
    )
    basis = skfem.Basis(
        skfem.MeshQuad(points, mesh.t), skfem.ElementVector(skfem.ElementQuad2()), intorder=4
    )

    def strain(u, w):
        g = grad(u)
        return g[0, 0], u[0] / w.x[0], g[1, 1], 0.5 * (g[0, 1] + g[1, 0])

    @skfem.BilinearForm
    def stiffness(u, v, w):
        young = np.where(w.x[1] > low, 1.0, 200.0)
        lame, shear = young * NU / (1.0 + NU) / (1.0 - 2.0 * NU), 0.5 * young / (1.0 + NU)
        *one, slid = strain(u, w)
        *other, slides = strain(v, w)
        alike = sum(a * b for a, b in zip(one, other, strict=True)) + 2.0 * slid * slides
        return w.x[0] * (lame * sum(one) * sum(other) + 2.0 * shear * alike)

    @skfem.LinearForm
    def weight(v, w):
        return -w.x[0] * v[1]

    foot = basis.get_dofs(lambda x: x[1] < 1e-9)
    fixed = foot.all() if held else foot.all(["u^2"])
    out = skfem.solve(*skfem.condense(stiffness.assemble(basis), weight.assemble(basis), D=fixed))
    axial = basis.get_dofs(elements=True).all(["u^2"])
    height = basis.doflocs[1][axial]
    top, bottom = (out[axial[np.abs(height - z) < 1e-9]].mean() for z in (tall, low))
    return float(bottom - top) / (tall - low)


@pytest.mark.parametrize("held", [True, False])
@pytest.mark.parametrize(
    ("radii", "tall", "wall"),
    [
        ((0.045, 0.045), 0.05, 0.004),
        ((0.036, 0.048), 0.036, 0.0045),
        ((0.03, 0.075), 0.05, 0.004),
        ((0.048, 0.036), 0.036, 0.0045),
        ((0.065, 0.03), 0.05, 0.004),
    ],
)
def test_a_leaning_wall_sags_as_a_solid_of_revolution(
    radii: tuple[float, float], tall: float, wall: float, held: bool
):
    """Within 5 %, and up to 15 % on the safe side where it narrows by 35° from a foot that slides.

    A column is 0.9 to 1.0 of the upright one and a seventh of the worst of these.
    """
    true = solid(radii, tall, wall, held=held)
    slack = 0.15 if radii[0] - radii[1] > 0.02 and not held else 0.05
    assert -0.05 < stood(radii, tall, wall, held=held) / true - 1.0 < slack


@pytest.mark.parametrize(
    ("radii", "tall", "wall", "low"),
    [((0.0357, 0.0477), 0.036, 0.0045, 0.022), ((0.0272, 0.0722), 0.05, 0.004, 0.006)],
)
def test_a_band_on_a_rigid_foot_leans_out_over_it_as_a_solid_does(
    radii: tuple[float, float], tall: float, wall: float, low: float
):
    """The iron bowl's body over its foot, three walls high, and a bowl of 42°."""
    true = solid(radii, tall, wall, held=False, low=low)
    assert stood(radii, tall, wall, held=False, low=low) / true == pytest.approx(1.08, abs=0.08)


def test_stress_of_a_cone_is_that_of_the_membrane_away_from_its_ends():
    """σ_φ = −(s₁² − s²)/(2 s cosθ), σ_θ = r tanθ, with s from the apex and a unit weight."""
    lean, wall = np.radians(30.0), 1e-4
    ends = np.linspace(0.06, 0.16, 801)
    s, length = 0.5 * (ends[1:] + ends[:-1]), np.diff(ends)
    radius, every = s * np.sin(lean), np.ones(s.size)
    weight = np.pi * wall * np.sin(lean) * (ends[-1] ** 2 - s**2)
    up, ring = stand(s, length, radius, lean * every, wall * every, weight, every, held=True).stress
    inside = (s > 0.08) & (s < 0.15)
    np.testing.assert_allclose(up, -(ends[-1] ** 2 - s**2) / (2.0 * s * np.cos(lean)), rtol=1e-9)
    np.testing.assert_allclose(
        ring[inside], (radius * np.tan(lean))[inside], rtol=5e-3, atol=1e-4 * radius.max()
    )
