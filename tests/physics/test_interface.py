"""Two bodies at their joint: limits, symmetry, and independent solutions."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_bvp
from scipy.optimize import brentq
from skfem import (
    Basis,
    BilinearForm,
    ElementQuad2,
    ElementVector,
    LinearForm,
    MeshQuad,
    condense,
    solve,
)
from skfem.helpers import ddot, sym_grad, trace

from cofire.errors import InputError, OutOfRange
from cofire.physics import interface
from tests import closed_forms

YOUNG = st.floats(1e10, 4e11)
RATIO = st.floats(0.0, 0.45)
LENGTH = st.floats(1e-4, 1e-2)
quickly = settings(max_examples=50, deadline=None)


# ---- corner


@quickly
@given(YOUNG, RATIO, YOUNG, RATIO, st.booleans())
def test_naming_the_bodies_the_other_way_round_turns_the_sign_of_dundurs(E1, n1, E2, n2, thin):
    one = interface.dundurs(E1, n1, E2, n2, plane_stress=thin)
    other = interface.dundurs(E2, n2, E1, n1, plane_stress=thin)

    np.testing.assert_allclose(one, np.negative(other), atol=1e-12)


def test_alike_bodies_have_neither_parameter():
    np.testing.assert_allclose(interface.dundurs(60e9, 0.2, 60e9, 0.2), 0.0, atol=1e-15)
    assert interface.corner_exponent(0.0, 0.0) == 1.0


def williams_determinant(exponent, ratio, kappa_1, kappa_2):
    """Two quarter planes: free edges at ±90°, joined at 0; zero at an eigenvalue.

    Williams 1952, J. Appl. Mech. 19, 526: Airy function r^(l+1) F, with F a sum of the cosine and
    sine of (l+1) and of (l-1) times the angle.
    """
    p, q = exponent + 1.0, exponent - 1.0

    def rows(angle, kappa, compliance):
        c, s, d, e = np.cos(p * angle), np.sin(p * angle), np.cos(q * angle), np.sin(q * angle)
        F = np.array([c, s, d, e])
        slope = np.array([-p * s, p * c, -q * e, q * d])
        radial = (-p * F + (kappa + 1.0) * np.array([0, 0, d, e])) * compliance
        hoop = (-slope + (kappa + 1.0) * np.array([0, 0, e, -d])) * compliance
        return F, slope, radial, hoop

    zero = np.zeros(4)
    upper, lower = rows(0.5 * np.pi, kappa_1, 1.0), rows(-0.5 * np.pi, kappa_2, ratio)
    joint = zip(rows(0.0, kappa_1, 1.0), rows(0.0, kappa_2, ratio), strict=True)
    matrix = [np.append(row, zero) for row in upper[:2]]
    matrix += [np.append(zero, row) for row in lower[:2]]
    matrix += [np.append(one, -other) for one, other in joint]
    return np.linalg.det(np.array(matrix))


@quickly
@given(YOUNG, RATIO, YOUNG, RATIO)
def test_the_corner_exponent_is_an_eigenvalue_of_the_williams_series(E1, n1, E2, n2):
    alpha, beta = (float(v) for v in interface.dundurs(E1, n1, E2, n2))
    assume(alpha * (alpha - 2.0 * beta) > 1e-3)
    ratio = (E1 / (1.0 + n1)) / (E2 / (1.0 + n2))
    exponent = interface.corner_exponent(alpha, beta)

    def determinant(x):
        return williams_determinant(x, ratio, 3.0 - 4.0 * n1, 3.0 - 4.0 * n2)

    near = min(1e-4, 0.5 * (1.0 - exponent))
    found = brentq(determinant, exponent - near, exponent + near, xtol=1e-13)
    assert found == pytest.approx(exponent, abs=1e-9)


@quickly
@given(YOUNG, RATIO, YOUNG, RATIO)
def test_the_corner_is_singular_only_where_the_rule_says(E1, n1, E2, n2):
    alpha, beta = (float(v) for v in interface.dundurs(E1, n1, E2, n2))
    rule = alpha * (alpha - 2.0 * beta)
    assume(abs(rule) > 1e-3)
    exponent = interface.corner_exponent(alpha, beta)

    assert (exponent < 1.0) == (rule > 0.0)
    ratio = (E1 / (1.0 + n1)) / (E2 / (1.0 + n2))
    inside = np.linspace(0.01, 0.9999, 40)
    signs = [williams_determinant(x, ratio, 3 - 4 * n1, 3 - 4 * n2) > 0.0 for x in inside]
    assert (len(set(signs)) > 1) == (exponent < 0.9999)


# ---- crack between layers


def laminate_energy(t1, E1, t2, E2, mismatch, points=4000):
    """Energy per area of two bonded layers, by minimising it over strain and curvature."""
    middle = (np.arange(points) + 0.5) / points
    y = np.concatenate([-t1 * middle, t2 * middle])
    E = np.repeat([E1, E2], points)
    free = np.repeat([mismatch, 0.0], points)
    weight = np.repeat([t1 / points, t2 / points], points)
    A = np.stack([np.ones_like(y), y], axis=1)
    left = A.T @ (A * (E * weight)[:, None])
    strain = A @ np.linalg.solve(left, A.T @ (E * weight * free))
    return 0.5 * np.sum(E * weight * (strain - free) ** 2)


@quickly
@given(LENGTH, YOUNG, LENGTH, YOUNG, st.floats(1e-4, 1e-2))
def test_parting_two_layers_frees_all_the_energy_they_store(t1, E1, t2, E2, mismatch):
    energy = closed_forms.separation_energy(t1, E1, t2, E2, mismatch)

    assert energy == pytest.approx(laminate_energy(t1, E1, t2, E2, mismatch), rel=1e-5)
    assert energy == pytest.approx(float(closed_forms.separation_energy(t2, E2, t1, E1, -mismatch)))


def test_a_thin_layer_parts_like_a_film():
    E, nu, strain = 70e9, 0.22, 1e-3
    stress = E * strain / (1.0 - nu)
    film = closed_forms.film_energy(stress, 1e-6, E, nu)
    wide = closed_forms.separation_energy(1e-6, E / (1 - nu**2), 1.0, 100e9, (1 + nu) * strain)

    assert wide == pytest.approx(film, rel=1e-4)


@quickly
@given(LENGTH, st.floats(3e10, 1e11), LENGTH, st.floats(3e10, 1e11), st.booleans())
def test_mode_mix_knows_no_order_and_turns_over_with_the_mismatch(t1, E1, t2, E2, growing):
    mismatch = 1e-3 if growing else -1e-3
    mix = closed_forms.mode_mix(t1, E1, t2, E2, mismatch)

    assert 0.0 <= mix <= np.pi
    assert mix == pytest.approx(float(closed_forms.mode_mix(t2, E2, t1, E1, -mismatch)), abs=0.005)
    assert mix == pytest.approx(np.pi - float(closed_forms.mode_mix(t1, E1, t2, E2, -mismatch)))


def test_two_layers_of_one_kind_shear_without_opening():
    assert closed_forms.mode_mix(2e-3, 60e9, 2e-3, 60e9, 1e-3) == pytest.approx(np.pi / 2, abs=1e-4)
    assert closed_forms.mode_mix(2e-3, 60e9, 2e-3, 60e9, 0.0) == np.pi / 2


def test_a_thin_layer_that_contracts_opens_the_crack():
    assert closed_forms.mode_mix(1e-4, 60e9, 5e-3, 60e9, -1e-3) < np.radians(53)
    assert closed_forms.mode_mix(1e-4, 60e9, 5e-3, 60e9, 1e-3) > np.radians(127)


def graded(length, first, growth=1.5, coarsest=0.25):
    x, step = [0.0], first
    while x[-1] < length:
        x.append(x[-1] + step)
        step = min(step * growth, coarsest * length)
    return np.array(x) * length / x[-1]


@pytest.mark.parametrize(("alpha", "eta"), [(0.5, 0.4), (-0.5, 0.6)])
def test_mode_mix_against_the_crack_faces_of_a_plane_strain_solid(alpha, eta):
    """Bilayer with a long crack, beta = 0; tolerance 0.6° for the mesh and the table's steps."""
    stiff, soft = (
        0.57 * np.sqrt((1 + alpha) / (1 - alpha)),
        0.57 * np.sqrt((1 - alpha) / (1 + alpha)),
    )
    nu = np.array([(1 - stiff) / (2 - stiff), (1 - soft) / (2 - soft)])
    mu = np.array([(1 - 2 * nu[0]) / (1 - 2 * nu[1]), 1.0])  # beta = 0
    E = 2 * mu / (1 - nu)  # plane-strain moduli
    first, H = 1.5e-3, 1.0 / eta
    right = graded(2.0 * (1.0 + H) + 4.0, first, coarsest=0.06)
    x = np.concatenate([-right[:0:-1], right])
    upper = MeshQuad.init_tensor(x, graded(1.0, first))
    lower = MeshQuad.init_tensor(x, -graded(H, first)[::-1])
    bonded = (np.abs(lower.p[1]) < 1e-12) & (lower.p[0] > -1e-12)
    name = np.empty(lower.p.shape[1], dtype=int)
    name[~bonded] = upper.p.shape[1] + np.arange(np.sum(~bonded))
    face = np.flatnonzero(np.abs(upper.p[1]) < 1e-12)
    face = face[np.argsort(upper.p[0, face])]
    name[bonded] = face[np.searchsorted(x, lower.p[0, bonded] - 1e-12)]
    mesh = MeshQuad(np.hstack([upper.p, lower.p[:, ~bonded]]), np.hstack([upper.t, name[lower.t]]))
    layer = np.repeat([0, 1], [upper.t.shape[1], lower.t.shape[1]])
    basis = Basis(mesh, ElementVector(ElementQuad2()), intorder=4)
    m, lame = mu[layer][:, None], (2 * mu * nu / (1 - 2 * nu))[layer][:, None]

    @BilinearForm
    def stiffness(u, v, w):
        eu, ev = sym_grad(u), sym_grad(v)
        return 2 * m * ddot(eu, ev) + lame * trace(eu) * trace(ev)

    @LinearForm
    def shrink(v, w):  # layer 1 wants to be shorter, with no stress across the joint
        pull = -np.where(layer == 0, E[0], 0.0)[:, None]
        return pull * sym_grad(v)[0, 0]

    corner = [np.argmin(np.hypot(mesh.p[0] - x[-1], mesh.p[1] - y)) for y in (1.0, -H)]
    held = [*basis.nodal_dofs[:, corner[1]], basis.nodal_dofs[0, corner[0]]]
    u = solve(*condense(stiffness.assemble(basis), shrink.assemble(basis), D=np.array(held)))
    cracked = np.flatnonzero(np.abs(lower.p[1]) < 1e-12)
    cracked = cracked[np.argsort(lower.p[0, cracked])][: np.sum(x < -1e-12)]
    r = -lower.p[0, cracked]
    jump = u[basis.nodal_dofs[:, face[: r.size]]] - u[basis.nodal_dofs[:, name[cracked]]]
    use = (r > 0.02) & (r < 0.3)
    powers = np.stack([r[use] ** k for k in (0.5, 1.0, 1.5, 2.0)], axis=1)
    slide, opening = (np.linalg.lstsq(powers, jump[k][use], rcond=None)[0][0] for k in (0, 1))
    found = np.degrees(np.arctan2(slide, opening))

    mix = closed_forms.mode_mix(1.0, E[0], H, E[1], -1.0)
    assert np.degrees(mix) == pytest.approx(found, abs=0.6)


# ---- rings


@quickly
@given(YOUNG, RATIO, YOUNG, RATIO, st.floats(4.0, 100.0), st.floats(1e-6, 0.01))
def test_rings_know_no_order_and_no_size(E1, n1, E2, n2, slender, mismatch):
    R, t = 0.05, 0.05 / slender
    joint = closed_forms.ring_joint(R, t, E1, n1, E2, n2, mismatch)
    other = closed_forms.ring_joint(R, t, E2, n2, E1, n1, -mismatch)
    large = closed_forms.ring_joint(10 * R, 10 * t, E1, n1, E2, n2, mismatch)

    for name in ("hoop_stress", "bending_stress", "bending_distance"):
        np.testing.assert_allclose(getattr(joint, name), getattr(other, name)[::-1], rtol=1e-6)
    np.testing.assert_allclose(joint.hoop_stress, large.hoop_stress, rtol=1e-9)
    np.testing.assert_allclose(joint.bending_stress, large.bending_stress, rtol=1e-9)
    np.testing.assert_allclose(10 * joint.energy, large.energy, rtol=1e-9)
    assert joint.energy >= 0.0
    hoops = joint.hoop_stress[1] / E2 - joint.hoop_stress[0] / E1  # the radii meet
    assert hoops == pytest.approx(mismatch, abs=1e-12)


def test_rings_that_agree_carry_nothing():
    joint = closed_forms.ring_joint(0.05, 0.005, 120e9, 0.34, 60e9, 0.2, 0.0)

    assert float(np.max(np.abs([joint.hoop_stress, joint.bending_stress]))) == 0.0
    assert joint.energy == joint.moment == joint.radial_force == 0.0


def test_rings_against_the_shell_equation_solved_numerically():
    """D w'''' + E t w/R² = E t e/R on both sides of the joint; energy by integration."""
    R, t, E, nu = 0.05, 0.006, np.array([120e9, 60e9]), np.array([0.34, 0.20])
    free = np.array([-2e-3, 1e-3])
    D = E * t**3 / (12 * (1 - nu**2))
    unit = np.sqrt(R * t)  # of length; deflections in thousandths of the radius
    stiffness = E * t * unit**4 / (D * R**2)

    def slopes(x, y):
        one, other = (k * (1e3 * e - w) for k, e, w in zip(stiffness, free, y[::4], strict=True))
        return np.stack([*y[1:4], one, *y[5:8], other])

    def ends(a, b):  # both sides measured away from the joint, free at the far end
        ratio = D[1] / D[0]
        meet = a[0] - a[4], a[1] + a[5], a[2] - ratio * a[6], a[3] + ratio * a[7]
        return np.array([*meet, b[2], b[3], b[6], b[7]])

    x = np.linspace(0.0, 6.0, 100)
    found = solve_bvp(slopes, ends, x, np.zeros((8, x.size)), tol=1e-6)
    assert found.success
    joint = closed_forms.ring_joint(R, t, E[0], nu[0], E[1], nu[1], free[0] - free[1])
    x = np.linspace(0.0, 6.0, 20001)
    y = found.sol(x) * 1e-3 * R
    energy = 0.0
    for side in (0, 1):
        w, curvature = y[4 * side], y[4 * side + 2] / unit**2
        hoop = E[side] * (w / R - free[side])
        bending = 6.0 * D[side] * np.abs(curvature) / t**2
        assert joint.hoop_stress[side] == pytest.approx(hoop[0], rel=1e-4)
        assert joint.bending_stress[side] == pytest.approx(bending.max(), rel=1e-4)
        assert joint.bending_distance[side] == pytest.approx(unit * x[bending.argmax()], rel=1e-2)
        stored = D[side] * curvature**2 + t * hoop**2 / E[side]
        energy += 0.5 * np.trapezoid(stored, unit * x) / t
    assert joint.moment == pytest.approx(-D[0] * y[2][0] / unit**2, rel=1e-3)
    assert joint.radial_force == pytest.approx(D[0] * y[3][0] / unit**3, rel=1e-3)
    assert joint.energy == pytest.approx(energy, rel=1e-4)


def test_parting_takes_back_the_work_of_any_force_and_moment():
    """Against the strain energy of both tube ends, each bent by the force and moment alone."""
    R, t, E, nu = 0.05, 0.006, (120e9, 60e9), (0.34, 0.2)
    force, moment = 2e3, 5.0
    energy = 0.0
    x = np.linspace(0.0, 12.0, 20001)  # in decay lengths
    for young, poisson, outward in zip(E, nu, (force, -force), strict=True):
        D = young * t**3 / (12 * (1 - poisson**2))
        b = (young * t / (4 * D * R**2)) ** 0.25
        sine = moment / (2 * D * b**2)
        cosine = outward / (2 * D * b**3) - sine
        w = np.exp(-x) * (cosine * np.cos(x) + sine * np.sin(x))
        curvature = 2 * b**2 * np.exp(-x) * (cosine * np.sin(x) - sine * np.cos(x))
        energy += 0.5 * np.trapezoid(D * curvature**2 + young * t * w**2 / R**2, x / b) / t

    assert closed_forms.parting_energy(R, t, E, nu, force, moment) == pytest.approx(
        energy, rel=1e-6
    )
    joint = closed_forms.ring_joint(R, t, E[0], nu[0], E[1], nu[1], 1e-3)
    again = closed_forms.parting_energy(R, t, E, nu, joint.radial_force, joint.moment)
    assert again == pytest.approx(joint.energy)


def test_rings_broadcast():
    joint = closed_forms.ring_joint(0.05, 0.005, 60e9, 0.2, 120e9, 0.34, np.linspace(0, 1e-3, 5))

    assert joint.energy.shape == joint.hoop_stress[0].shape == (5,)


# ---- grains


@quickly
@given(YOUNG, RATIO, YOUNG, RATIO)
def test_a_grain_is_lames_sphere(E1, n1, E2, n2):
    """Displacements and tractions matched at the grain: u = A r inside, B/r² outside."""
    mismatch = 1e-3
    K, G = E1 / (3 * (1 - 2 * n1)), E2 / (2 * (1 + n2))
    A, B = np.linalg.solve([[1.0, -1.0], [3 * K, 4 * G]], [0.0, 3 * K * mismatch])

    found = closed_forms.grain_stress(mismatch, E1, n1, E2, n2)
    assert found == pytest.approx(-4 * G * B)
    assert found == pytest.approx(3 * K * (A - mismatch))


@pytest.mark.parametrize(
    ("call", "error"),
    [
        (lambda: interface.dundurs(-1.0, 0.2, 1.0, 0.2), InputError),
        (lambda: interface.dundurs(1.0, 0.2, 1.0, 0.6), InputError),
        (lambda: interface.corner_exponent(1.0, 0.2), InputError),
        (lambda: interface.corner_exponent(np.nan, 0.2), InputError),
        (lambda: closed_forms.separation_energy(0.0, 1.0, 1.0, 1.0, 1e-3), InputError),
        (lambda: closed_forms.film_energy(1e8, 1e-3, -1.0, 0.2), InputError),
        (lambda: closed_forms.mode_mix(1e-3, 1e9, 1e-3, 5e9, 1e-3), OutOfRange),
        (lambda: closed_forms.ring_joint(0.05, 0.02, 1e9, 0.2, 1e9, 0.2, 1e-3), InputError),
        (lambda: closed_forms.grain_stress(1e-3, 1e9, 0.5, 1e9, 0.2), InputError),
    ],
)
def test_impossible_inputs_are_refused_in_one_line(call, error):
    with pytest.raises(error) as refused:
        call()

    assert "\n" not in str(refused.value)


def test_mode_of_a_crack_worked_by_hand_from_the_printed_formulas():
    """Suo & Hutchinson 1990, equations 2.6 to 2.9 (numbers from memory), one modulus, h/H = 1/2.

    A = 1/(1 + 4/2 + 6/4 + 3/8) = 0.205128, I = 1/(12 (1 + 1/8)) = 0.0740741,
    sin γ = 6/4 (1 + 1/2) √(A I) = 0.277350, and M/N h = (1 + 2)/2/(1 + 8) = 1/6; 50.90° from the
    table. Between the layers' mirror images and signs the angle is the same or its supplement.
    """
    gamma = np.arcsin(0.277350)
    load = 1.0 / np.sqrt(0.205128) + 1j * np.exp(1j * gamma) / 6.0 / np.sqrt(0.0740741)
    by_hand = np.degrees(np.angle(load * np.exp(1j * np.radians(50.90))))

    found = [
        np.degrees(float(closed_forms.mode_mix(1e-3, 7e10, 2e-3, 7e10, sign)))
        for sign in (1e-3, -1e-3)
    ]
    assert sorted(found) == pytest.approx(sorted([by_hand, 180.0 - by_hand]), abs=1e-3)
