"""Glass-to-metal and ceramic-to-metal seals: sandwiches, pins in beads, tubes."""

from __future__ import annotations

import numpy as np
import pytest

from cofire.mechanics.sleeve import fire_sleeve, nested_rings
from cofire.mechanics.tile import fire_tile, layered_tile
from tests.histories import jumps, made_history

E = 100e9


def rings(radii, strains, young=E, poisson=0.3, **options):
    """Elastic stress (component, ring, point) of nested rings."""
    history = jumps([0.0, 1.0], strains, young_modulus=young, poisson_ratio=poisson)
    return fire_sleeve(nested_rings(radii, **options), history).stress[-1]


@pytest.mark.parametrize(("metal", "expected"), [(2e-3, 20.726), (0.5e-3, 13.700)])
def test_a_sandwich_seal_at_300_ppm(metal, expected):
    """Stress by the symmetric laminate, glass 1 mm.

    ASTM F144 (sandwich seal) puts the practical limit of differential contraction near 300 ppm.
    """
    history = jumps(
        [0.0, 1.0], [-300e-6, 0.0], young_modulus=[138e9, 65e9], poisson_ratio=[0.317, 0.22]
    )
    tile = layered_tile([metal / 2, 1e-3, metal / 2], [0, 1, 0])
    glass = fire_tile(tile, history).stress[-1, 1]
    assert glass / 1e6 == pytest.approx(np.full(5, -expected), abs=5e-4)


def test_a_thin_wire_in_thick_glass():
    """Core σ_r = EΔε/[2(1−ν)], σ_z = EΔε/(1−ν), hoop of the glass at the wire −σ_r of the core.

    A. W. Hull and E. E. Burger 1934, Physics 5, 384 (from memory), equal constants.
    """
    stress = rings([0.0, 1.0, 1000.0], [-1e-3, 0.0], poisson=0.2, points=15) / (E * 1e-3)
    assert stress[0, 0, -1] == pytest.approx(0.62500, abs=1e-5)
    assert stress[2, 0, -1] == pytest.approx(1.25000, abs=1e-5)
    assert stress[1, 1, 0] == pytest.approx(-0.62500, abs=1e-5)


def test_concentric_cylinders_with_equal_constants():
    """Core EΔε(1−f)/[2(1−ν)], EΔε(1−f)/(1−ν); sleeve −EΔε(1+f)/[2(1−ν)], −EΔεf/(1−ν); f = (a/b)².

    Generalised plane strain (B. A. Boley and J. H. Weiner, Theory of Thermal Stresses, 1960, class
    of case, from memory).
    """
    stress = rings([0.0, 1.0, 2.0], [-1e-3, 0.0]) / (E * 1e-3)
    core, sleeve = stress[:, 0, -1], stress[:, 1, 0]
    assert core[[0, 2]] == pytest.approx([0.53571, 1.07143], abs=5e-6)
    assert sleeve[1:] == pytest.approx([-0.89286, -0.35714], abs=5e-6)


def test_a_pin_in_a_glass_bead_of_other_constants():
    """Iron–nickel–cobalt pin of 1 mm in glass of 5 mm that contracts 225 ppm less.

    By the Lamé solution for both and one axial strain, four unknowns, solved here.
    """
    core_E, core_nu, glass_E, glass_nu, mismatch = 138e9, 0.317, 65e9, 0.22, -225e-6
    a, b = 0.5e-3, 2.5e-3

    def lame(young, poisson, inverse_square, both, axial, free):
        """(radial, hoop, axial) stress for u = both r + inverse_square / r."""
        lam = young * poisson / ((1 + poisson) * (1 - 2 * poisson))
        mu = young / (2 * (1 + poisson))
        trace = 2 * both + axial - 3 * free
        return np.array(
            [
                lam * trace + 2 * mu * (both - inverse_square - free),
                lam * trace + 2 * mu * (both + inverse_square - free),
                lam * trace + 2 * mu * (axial - free),
            ]
        )

    def residual(unknowns):
        core_A, A, B, axial = unknowns
        core = lame(core_E, core_nu, 0.0, core_A, axial, mismatch)
        inside = lame(glass_E, glass_nu, B / a**2, A, axial, 0.0)
        outside = lame(glass_E, glass_nu, B / b**2, A, axial, 0.0)
        force = core[2] * a**2 + inside[2] * (b**2 - a**2)
        return np.array([core_A * a - A * a - B / a, core[0] - inside[0], outside[0], force]), (
            core,
            inside,
            outside,
        )

    zero, _ = residual(np.zeros(4))
    matrix = np.stack([residual(row)[0] - zero for row in np.eye(4)], axis=1)
    _, (core, inside, outside) = residual(np.linalg.solve(matrix, -zero))
    stress = rings([0.0, a, b], [mismatch, 0.0], [core_E, glass_E], [core_nu, glass_nu], points=13)
    assert stress[:, 0, -1] == pytest.approx(core, rel=1e-5)
    assert stress[:, 1, 0] == pytest.approx(inside, rel=1e-5)
    assert stress[1:, 1, -1] == pytest.approx(outside[1:], rel=1e-5)
    assert stress[0, 0, 0] / 1e6 == pytest.approx(12.538, abs=5e-4)
    assert stress[2, 0, 0] / 1e6 == pytest.approx(36.278, abs=5e-4)
    assert stress[1, 1, [0, -1]] / 1e6 == pytest.approx([-13.583, -1.045], abs=5e-4)
    assert stress[2, 1, 0] / 1e6 == pytest.approx(-1.512, abs=5e-4)


def test_a_shrink_fit_of_two_tubes():
    """Pressure Eδ(b²−a²)(c²−b²)/[2b³(c²−a²)] for plane stress (Lamé).

    Any strength of materials text: radii 100, 150, 200 mm, E 200 GPa, interference 0.1 mm.
    """
    stress = rings([0.1, 0.15, 0.2], [1e-4 / 0.15, 0.0], 200e9, long=False) / 1e6
    assert stress[0, 0, -1] == pytest.approx(-21.605, abs=5e-4)
    assert stress[1, 1, 0] == pytest.approx(77.160, abs=5e-4)
    assert stress[1, 0, 0] == pytest.approx(-77.778, abs=5e-4)


def hot_tube(ratio):
    """Stress of a long tube with a logarithmic temperature profile, 0 inside, 100 K outside."""
    tube = nested_rings([1.0, ratio])
    profile = 10e-6 * 100.0 * np.log(tube.radius) / np.log(ratio)
    history = made_history([0.0, 1.0], [0.0, 0.0], young_modulus=200e9)
    return fire_sleeve(tube, history, added_strain=lambda t: t * profile).stress[-1][:, 0]


def test_a_thick_tube_with_a_steady_radial_gradient():
    """−126.9543 MPa outside, hoop and axial.

    S. Timoshenko and J. N. Goodier 1951, case 135, p. 412, as given with the published output of
    Logie et al. 2018, Solar Energy 160, 368. Ratio of radii 1.4 and ν 0.3 are inferred from the
    number; at ν 0.3 no other ratio gives it.
    """
    stress = hot_tube(1.4) / 1e6
    assert stress[1:, -1] == pytest.approx([-126.9543, -126.9543], abs=5e-5)


def test_thin_tubes_tend_to_the_flat_wall():
    """± EαΔT/[2(1−ν)] = ±142.857 MPa; at a ratio of radii of 1.1 −138.32 and +147.39 MPa."""
    assert hot_tube(1.1)[1, [-1, 0]] / 1e6 == pytest.approx([-138.32, 147.39], abs=0.005)
    assert hot_tube(1.00001)[1, [-1, 0]] / 1e6 == pytest.approx([-142.857, 142.857], abs=1e-3)
