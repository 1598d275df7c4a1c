"""A wall of revolution that bears its own weight, upright or leaning.

With s along the meridian, θ its lean from upright (outwards positive) and W(s) the weight above,

    N_φ = −W/(2π r cosθ)          up the wall, from the forces that are upright
    N_θ = −d(W tanθ/2π)/ds        round the ring, from those that are level

are the forces of a membrane. A ring that strains by ε_θ moves out by u = r ε_θ, and what the
membrane alone would make jump, at a foot, a rim, a corner or a joint, bends the wall over its decay
length. So u is that of a beam on an elastic foundation, by virtual work for all δu

    ∫ [N_θ δu + r D u″ δu″/cos²θ] ds = ∫ (W tanθ/2π) δu′ ds,      N_θ = E h u/r + ν N_φ,

whose right side holds the thrust at the foot, the hoop pull of a lean and the bend of a curved
meridian. The height lost is ∫ (−ε_φ + sinθ u′) ds/cosθ. J. W. Geckeler's approximation, in S. P.
Timoshenko and S. Woinowsky-Krieger 1959, Theory of Plates and Shells, 2nd ed., ch. 16 (from
memory); the weak form is ours. A viscous wall is the same with rates for strains and ν = 1/2.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy.linalg import solveh_banded

if TYPE_CHECKING:
    from cofire.numerics import Array

VISCOUS = 0.5
"""Poisson's ratio of what flows and keeps its volume. [-]"""
STIFFEST = 1e-4
"""Compliance over the largest below which a level counts as rigid for its neighbours. [-]"""


@dataclass(frozen=True)
class Standing:
    """Stress of a wall under its own weight, and the height that each level loses.

    Attributes
    ----------
    stress
        Up the wall and round the ring, mean over the wall, shape (2, G). [Pa]
    drop
        Height lost over height, of each level, shape (G,). [-]
    """

    stress: Array
    drop: Array


def stand(
    arc_length: Array,
    length: Array,
    radius: Array,
    slope: Array,
    wall: Array,
    weight: Array,
    compliance: Array,
    *,
    held: bool,
    poisson_ratio: float = VISCOUS,
) -> Standing:
    """Stress and sag of a wall that stands flat on its foot.

    True for walls within 45° of upright whose ring has a radius of some five walls or more, for
    small strains: against solids of revolution the height lost is within 5 %, and where a wall that
    narrows from a foot that slides leans by more than 20°, up to 14 % on the safe side.

    Parameters
    ----------
    arc_length, length
        Of G levels from the foot up, and how much of the meridian each stands for, (G,). [m]
    radius, slope, wall
        There; slope from upright, outward leaning positive, (G,). [m], [rad], [m]
    weight
        That stands above each level's middle, (G,). [N]
    compliance
        Strain over stress, not negative, not zero everywhere, (G,). [1/Pa]
    held
        Whether something keeps the foot's radius, as a floor does; else it slides without friction.
    poisson_ratio
        ν; with none, stress is what weight and lean alone ask for. [-]
    """
    cosine, tangent = np.cos(slope), np.tan(slope)
    young = 1.0 / np.maximum(compliance, STIFFEST * compliance.max())
    up = -weight / (2.0 * np.pi * radius * wall * cosine)
    apart = np.diff(arc_length)
    reach = np.concatenate([[0.5 * apart[0]], 0.5 * (apart[1:] + apart[:-1])])
    # second differences at each level but the last; at the foot its mirror image stands for the
    # shelf that keeps it flat
    rate = np.zeros((3, reach.size))
    rate[0, 1:], rate[2] = 1.0 / (apart[:-1] * reach[1:]), 1.0 / (apart * reach)
    rate[1] = -(rate[0] + rate[2])
    bending = (radius * young * wall**3)[:-1] / (12.0 * (1.0 - poisson_ratio**2) * cosine[:-1] ** 2)
    rate_cost = bending * reach
    banded = np.zeros((3, radius.size))
    banded[2] = young * wall / radius * length
    for one in range(3):
        for other in range(one, 3):
            term = (rate_cost * rate[one] * rate[other])[1:]
            banded[2 - (other - one), other : other + term.size] += term
    foot = rate_cost[0] * rate[2, 0] ** 2
    banded[2, :2] += foot
    banded[1, 1] -= foot
    thrust = weight * tangent / (2.0 * np.pi)
    between = 0.5 * (thrust[1:] + thrust[:-1])
    load = -poisson_ratio * up * wall * length
    load[1:] += between
    load[:-1] -= between
    if held:
        banded[2, 0], banded[1, 1], banded[0, 2], load[0] = 1.0, 0.0, 0.0, 0.0
    out = solveh_banded(banded, load)
    round_ring = young * out / radius + poisson_ratio * up
    strain = compliance * (up - poisson_ratio * round_ring)
    drop = -strain / cosine**2 + tangent / cosine * np.gradient(out, arc_length)
    return Standing(np.stack([up, round_ring]), np.asarray(drop))
