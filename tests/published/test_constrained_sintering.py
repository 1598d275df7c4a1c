"""Bodies that shrink at different rates while bonded: camber rate and mismatch stress."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
import pytest

from cofire.mechanics.integrator import Control, march
from cofire.mechanics.law import SOLID
from cofire.mechanics.tile import fire_tile, layered_tile
from cofire.physics.porosity import viscous_poisson_ratio
from tests.histories import made_history

CLOSE = Control(relative_tolerance=1e-6, stress_tolerance=1.0)
RATE = 1e-5
TIME = np.linspace(0.0, 100.0, 11)


def shrinking(viscosity, poisson=0.25, rates=(-RATE, 0.0)):
    """Histories of bodies that shrink at steady rates, far stiffer than they are viscous."""
    return made_history(
        TIME,
        np.outer(rates, TIME),
        young_modulus=1e12,
        viscosity=viscosity,
        viscous_poisson_ratio=poisson,
    )


@pytest.mark.parametrize(
    ("thickness_ratio", "viscosity_ratio", "expected"),
    [
        (1.0, 1.0, 1.5),
        (1.0, 10.0, 0.995851),
        (1.0, 100.0, 0.210508),
        (0.5, 1.0, 1.333333),
        (0.5, 10.0, 1.428571),
        (0.1, 10.0, 1.284956),
        (2.0, 0.1, 1.428571),
    ],
)
def test_bilayers_camber_at_the_rate_of_cai_green_and_messing(
    thickness_ratio, viscosity_ratio, expected
):
    """(h1+h2) κ̇ = 6(m+1)²mn Δε̇ / [m⁴n² + 2mn(2m²+3m+2) + 1], m = h1/h2, n = η1/η2.

    P. Z. Cai, D. J. Green and G. L. Messing 1997, J. Am. Ceram. Soc. 80, 1929 and 1940 (formula
    from memory; it equals Timoshenko 1925 with viscosity for modulus).
    """
    layers = np.array([thickness_ratio, 1.0]) * 1e-3
    history = shrinking([viscosity_ratio * 1e9, 1e9])
    fired = fire_tile(layered_tile(layers, wide=False), history, control=CLOSE)
    rate = np.diff(fired.curvature)[-1] / np.diff(fired.time)[-1]
    assert rate * layers.sum() / RATE == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize(("ratio", "first", "second"), [(1.0, 19.05, -19.05), (0.2, 24.69, -4.94)])
def test_symmetric_laminates_carry_the_viscous_mismatch(ratio, first, second):
    """Same papers: σ1 = η1'Δε̇ / (1 + η1'h1/(η2'h2)), η' = η/(1−ν), in kPa."""
    history = shrinking([2e9, 5e9])
    tile = layered_tile([ratio * 1e-3 / 2, 1e-3, ratio * 1e-3 / 2], [0, 1, 0])
    stress = fire_tile(tile, history, control=CLOSE).stress[-1] / 1e3
    assert stress[[0, 2]] == pytest.approx(np.full((2, 5), first), abs=0.006)
    assert stress[1] == pytest.approx(np.full(5, second), abs=0.006)


@dataclass(frozen=True)
class FilmOnSubstrate:
    """A film that can only change its thickness."""

    state: object = SOLID
    material: np.ndarray = field(default_factory=lambda: np.zeros(1, dtype=np.intp))
    batch_axes: int = 0

    def start(self):
        """One thickness strain."""
        return np.zeros(1)

    def strains(self, unknowns):
        """None in the plane."""
        return np.stack([unknowns, 0.0 * unknowns, 0.0 * unknowns])

    def solver(self, tangent):
        """No stress across."""
        return lambda force: force / tangent[0, 0]

    def unbalanced(self, stress):
        """Against the stress across."""
        return -stress[0]


@pytest.mark.parametrize(
    ("density", "expected"),
    [(0.5, 0.55556), (0.6, 0.60388), (0.7, 0.66276), (0.8, 0.73842), (0.9, 0.84247)],
)
def test_a_film_on_a_rigid_substrate_densifies_slower_as_scherer_and_garino_say(density, expected):
    """Rate over that of a free film (1+ν_p)/[3(1−ν_p)], ν_p = ½√(ρ/(3−2ρ)) of Scherer 1979.

    G. W. Scherer and T. Garino 1985, J. Am. Ceram. Soc. 68, 216 (formula from memory).
    """
    history = shrinking(1e9, float(0.5 * np.sqrt(density / (3 - 2 * density))), (-RATE,))
    record = march(FilmOnSubstrate(), history, control=CLOSE)
    thinning = np.diff(record.strain[:, 0, 0])[-1] / np.diff(record.time)[-1]
    assert thinning / (-3 * RATE) == pytest.approx(expected, abs=1e-5)


@pytest.mark.parametrize(
    ("density", "expected"), [(0.6, 0.288675), (0.8, 0.377964), (0.9, 0.433013), (1.0, 0.5)]
)
def test_viscous_poisson_ratio_of_a_porous_body(density, expected):
    """½√(ρ/(3−2ρ)), G. W. Scherer 1979.

    As in R. K. Bordia and G. W. Scherer 1988, Acta Metall. 36, 2393 (from memory).
    """
    assert viscous_poisson_ratio(np.array([density]))[0] == pytest.approx(expected, abs=5e-7)
