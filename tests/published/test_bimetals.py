"""Bent strips, films on substrates and laminates against the classic closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from cofire.mechanics.tile import fire_tile, layered_tile
from tests.histories import jumps


def fired(layers, strains, young, poisson=0.3, **options):
    """Faces of each layer (bottom, top) and curvature after an elastic change."""
    history = jumps([0.0, 1.0], strains, young_modulus=young, poisson_ratio=poisson)
    tile = layered_tile(layers, **options)
    answer = fire_tile(tile, history)
    return answer.stress[-1][..., [0, -1]], answer.curvature[-1]


def timoshenko_curvature(first, second, young_first, young_second, mismatch):
    """S. Timoshenko 1925, J. Opt. Soc. Am. & Rev. Sci. Instrum. 11, 233, equation 4.

    Curvature of a narrow strip whose second layer expands more by the mismatch.
    """
    m, n, h = first / second, young_first / young_second, first + second
    return (
        6 * mismatch * (1 + m) ** 2 / (h * (3 * (1 + m) ** 2 + (1 + m * n) * (m**2 + 1 / (m * n))))
    )


@pytest.mark.parametrize("ratio", [0.1, 0.5, 1.0, 3.0])
@pytest.mark.parametrize("stiffer", [0.2, 1.0, 7.0])
def test_strips_bend_as_timoshenko_1925(ratio, stiffer):
    first, second = ratio * 1e-3, 1e-3
    _, curvature = fired([first, second], [0.0, 1e-3], [stiffer * 1e11, 1e11], wide=False)
    expected = timoshenko_curvature(first, second, stiffer * 1e11, 1e11, 1e-3)
    assert curvature == pytest.approx(expected, rel=1e-8)


@pytest.mark.parametrize("ratio", [0.1, 1.0, 3.0])
def test_plates_bend_as_strips_with_biaxial_moduli(ratio):
    """Same equation with E/(1−ν) for E: equal curvature in both directions."""
    first, second = ratio * 1e-3, 1e-3
    _, curvature = fired([first, second], [0.0, 1e-3], [2e11, 1e11], [0.34, 0.2])
    expected = timoshenko_curvature(first, second, 2e11 / 0.66, 1e11 / 0.8, 1e-3)
    assert curvature == pytest.approx(expected, rel=1e-8)


def test_copper_on_nickel_iron_heated_by_100_kelvin():
    """A cantilever 0.1 m long of 1 mm copper on 1 mm of low-expansion nickel iron, a stock example.

    Tip deflection 7.0488 mm by Timoshenko 1925 (κL²/2); stresses by force and moment balance.
    """
    stress, curvature = fired([1e-3, 1e-3], [1.2e-6 * 100, 20e-6 * 100], [130e9, 137e9], wide=False)
    assert curvature == pytest.approx(1.40976, abs=5e-6)
    assert curvature * 0.1**2 / 2 == pytest.approx(7.0488e-3, abs=5e-8)
    assert stress / 1e6 == pytest.approx(np.array([[-60.27, 123.00], [-127.94, 65.20]]), abs=0.005)


def test_equal_moduli_and_thickness_give_a_quarter_and_a_half():
    """Timoshenko 1925: σ_free = EΔε/4, σ_interface = EΔε/2, κ = 3Δε/(2h)."""
    stress, curvature = fired([0.05, 0.05], [1e-3, 2e-3], 200e9, 0.0, wide=False)
    assert curvature == pytest.approx(0.0150, rel=1e-9)
    assert stress / 1e6 == pytest.approx(np.array([[-50.0, 100.0], [-100.0, 50.0]]))


def test_aluminium_on_steel_heated_by_200_kelvin():
    """Half a metre of each, 10 m long; Timoshenko 1925 gives a tip deflection of 0.153425 m."""
    _, curvature = fired([0.5, 0.5], [2.4e-3, 4.6e-3], [200e9, 70e9], wide=False)
    assert curvature == pytest.approx(3.06849e-3, abs=5e-9)
    assert curvature * 100 / 2 == pytest.approx(0.153425, abs=5e-7)


@pytest.mark.parametrize(("modulus_ratio", "expected"), [(1.0, 1.5), (2.0, 1.4545), (0.5, 1.4545)])
def test_the_ratio_of_moduli_hardly_matters(modulus_ratio, expected):
    """κh/Δε = 24/(14 + n + 1/n) at equal thickness, after Timoshenko 1925 (remark from memory)."""
    _, curvature = fired([1e-3, 1e-3], [0.0, 1e-3], [modulus_ratio * 1e11, 1e11], wide=False)
    assert curvature * 2e-3 / 1e-3 == pytest.approx(expected, abs=5e-5)


@pytest.mark.parametrize(
    ("film", "modulus_ratio", "expected"),
    [
        (0.01, 1.0, 0.970590),
        (0.05, 1.0, 0.863838),
        (0.1, 1.0, 0.751315),
        (0.2, 1.0, 0.578704),
        (0.5, 1.0, 0.296296),
        (0.1, 0.25, 0.985658),
        (0.1, 0.5, 0.892839),
        (0.1, 2.0, 0.570421),
        (0.1, 4.0, 0.384938),
    ],
)
def test_films_depart_from_stoney_as_freund_and_suresh_say(film, modulus_ratio, expected):
    """κ/κ_Stoney = (1+h)/(1+4hm+6h²m+4h³m+h⁴m²), h and m ratios of thickness and modulus.

    G. G. Stoney 1909, Proc. R. Soc. A 82, 172; exact form of L. B. Freund and S. Suresh, Thin Film
    Materials, 2003, chapter 2 (from memory).
    """
    _, curvature = fired([1e-3, film * 1e-3], [0.0, 1e-3], [1e11, modulus_ratio * 1e11], 0.25)
    stoney = 6.0 * modulus_ratio * film * 1e-3 / 1e-3
    assert curvature / stoney == pytest.approx(expected, abs=5e-7)


METAL, BLEND, CERAMIC = (120e9, 0.34, 17e-6), (90e9, 0.27, 12e-6), (60e9, 0.20, 6.5e-6)


def hsueh(layers, thickness, change):
    """C.-H. Hsueh 2002, J. Appl. Phys. 91, 9652 (from memory): mean strain, bending axis, 1/r."""
    stiffness = np.array([E / (1 - nu) for E, nu, _ in layers])
    free = np.array([a * change for _, _, a in layers])
    t = np.array(thickness)
    top = np.cumsum(t)
    bottom = top - t
    mean = (stiffness * t * free).sum() / (stiffness * t).sum()
    axis = (stiffness * (top**2 - bottom**2)).sum() / (2 * (stiffness * t).sum())
    moment = -3 * (stiffness * t * (mean - free) * (2 * bottom + t)).sum()
    bend = 6 * bottom**2 + 6 * bottom * t + 2 * t**2 - 3 * axis * (2 * bottom + t)
    return mean, axis, moment / (stiffness * t * bend).sum()


@pytest.mark.parametrize(
    ("layers", "thickness", "curvature", "stress"),
    [
        (
            (METAL, BLEND, CERAMIC),
            (2e-3, 1e-3, 2e-3),
            1.414391,
            [[-213.24, 301.08], [-91.73, 82.64], [-147.73, 64.43]],
        ),
        ((METAL, CERAMIC), (2.5e-3, 2.5e-3), 1.436858, [[-249.68, 403.44], [-211.58, 57.83]]),
    ],
)
def test_multilayers_bend_as_hsueh_2002(layers, thickness, curvature, stress):
    """Cooled by 480 K; stress and curvature computed from the closed form."""
    young, poisson, expansion = (np.array(column) for column in zip(*layers, strict=True))
    found, bent = fired(thickness, -480 * expansion, young, poisson)
    mean, axis, closed = hsueh(layers, thickness, -480.0)
    assert bent == pytest.approx(closed, rel=1e-8)
    assert bent == pytest.approx(curvature, abs=5e-7)
    assert found / 1e6 == pytest.approx(np.array(stress), abs=0.005)
    heights = np.stack([np.cumsum(thickness) - thickness, np.cumsum(thickness)], axis=1)
    strain = mean + (heights - axis) * closed
    expected = (young / (1 - poisson))[:, None] * (strain + 480 * expansion[:, None])
    assert found == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("share", [0.1, 0.5, 0.8])
def test_symmetric_laminates_stay_flat_and_balance(share):
    """σ1 = E1'E2' t2 Δε / (E1't1 + E2't2), σ1 t1 + σ2 t2 = 0.

    A. V. Virkar, J. L. Huang and R. A. Cutler 1987, J. Am. Ceram. Soc. 70, 164 (from memory).
    """
    outer, inner = share * 1e-3, (1 - share) * 1e-3
    stress, curvature = fired(
        [outer / 2, inner, outer / 2], [0.0, 1e-3], [3e11, 2e11], [0.22, 0.3], material=[0, 1, 0]
    )
    first, second = 3e11 / 0.78, 2e11 / 0.7
    expected = first * second * inner * 1e-3 / (first * outer + second * inner)
    assert curvature == pytest.approx(0.0, abs=1e-9)
    assert stress[[0, 2]] == pytest.approx(np.full((2, 2), expected))
    assert stress[1] * inner == pytest.approx(-stress[0] * outer, rel=1e-10)


@pytest.mark.parametrize("change", [71.75, 150.0, 480.0])
def test_yield_of_the_metal_caps_the_ceramic(change):
    """Metal/ceramic/metal, half the thickness each: 71.75 K to yield, then 40 MPa.

    Derived by force balance: elastic to Δε = σ_y(1/E_m' + 1/E_c'), then
    σ_c = −σ_y t_m/t_c whatever the temperature.
    """
    history = jumps(
        [0.0, 1.0],
        np.array([-17e-6, -6.5e-6]) * change,
        young_modulus=[120e9, 60e9],
        poisson_ratio=[0.34, 0.20],
        yield_stress=[40e6, np.inf],
    )
    stress = fire_tile(layered_tile([1e-3, 2e-3, 1e-3], [0, 1, 0]), history).stress[-1]
    assert stress[1] == pytest.approx(np.full(5, -40e6), rel=1e-4)
    assert stress[[0, 2]] == pytest.approx(np.full((2, 5), 40e6), rel=1e-4)


def test_without_yield_the_same_ceramic_would_carry_268_mpa():
    """The closed form of the symmetric laminate at 480 K: 267.6 MPa."""
    stress, _ = fired(
        [1e-3, 2e-3, 1e-3],
        np.array([-17e-6, -6.5e-6]) * 480.0,
        [120e9, 60e9],
        [0.34, 0.20],
        material=[0, 1, 0],
    )
    assert stress[1] / 1e6 == pytest.approx([-267.6, -267.6], abs=0.05)
