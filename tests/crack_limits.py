"""Critical mismatch of butt joints: condensed crack planes against split finite elements.

`python -m tests.crack_limits [wall in mm ...]` prints, for walls of 0.5 to 16 mm, radii of 20 and
50 mm, three ratios of stiffness and either body contracting more, the mismatch at which the first
crack starts and at which one runs through: by `cofire.mechanics.crack_planes` over all paths, and
by scikit-fem for the path that was found to decide. Beside them the axial crack, and at the end
axial energies against three dimensions. Body and joint: 40 MPa (joint also in shear), 15 J/m².
"""

from __future__ import annotations

import sys
import time
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cofire.mechanics.crack_planes import (
    BESIDE,
    Bond,
    CrackPath,
    CrackPlane,
    Wall,
    crack_planes,
    plane_paths,
    tube,
)
from cofire.physics import fracture
from tests.crack_reference import Cracked, Tube, axial_energy, hoop_field, release_rate

Array = NDArray[np.float64]

YOUNG, NU, METAL_NU = 70e9, 0.2, 0.3
BODY = Bond(40e6, 15.0)
JOINT = Bond(40e6, 15.0, shear_strength=40e6, sensitivity=0.3)
WALLS, RADII, RATIOS = (0.5e-3, 2e-3, 6e-3, 16e-3), (0.02, 0.05), (0.5, 1.0, 3.0)
UNIT = 1e-3  # mismatch of the load state


CRESTS = (0.785, 1.25)
"""Where a ring crack at the peak of bending is tried, in decay lengths from the joint."""


def ring_heights(wall: Wall, joint: float, brittle: tuple[bool, bool]) -> Array:
    """Heights at which a joint and its neighbourhood are looked through, rising. [m]

    The joint; 0.1, 0.15 and 0.25 walls beside it; the peak of bending at about pi/4 decay lengths
    and 1.6 times that.     Parameters
    ----------
    wall : Wall
        The wall.
    joint : float
        Height, a band edge. [m]
    brittle : pair of bool
        Whether the body below and that above can crack.
    """
    thick = float(wall.at(np.array(joint))[1])
    found = [joint]
    for cracks, sign in zip(brittle, (-1.0, 1.0), strict=True):
        if cracks:
            decay = wall.decay(joint + sign * 1e-6 * thick)
            away = np.concatenate(
                [np.array(BESIDE) * thick, np.array(CRESTS) * max(decay, 0.6 * thick)]
            )
            found.extend(joint + sign * away)
    inside = [z for z in found if wall.edges[0] + 0.1 * thick < z < wall.edges[-1] - 0.1 * thick]
    return np.unique(inside)


def crack_paths(
    planes: list[CrackPlane],
    forces: list[Array],
    bonds: list[Bond | None],
    joints: Array,
    beyond: float = np.inf,
) -> list[CrackPath]:
    """Every path of the planes from both faces, for all load states.

    Parameters
    ----------
    planes : list of CrackPlane
        From `crack_planes`.
    forces : list of array
        Before cracking, of each plane, from its `forces` or `mismatch_forces`, (..., 2n). [N]
    bonds : list of Bond or None
        Of each plane; None where a metal cannot crack.
    joints, beyond
        As in `plane_paths`. [m], [-]
    """
    found = []
    for plane, force, bond in zip(planes, forces, bonds, strict=True):
        if bond is not None:
            found += plane_paths(plane, force, [bond], joints, beyond)[0]
    return found


@dataclass(frozen=True)
class Case:
    """A joint: metal below, ceramic above."""

    wall: float
    radius: float
    ratio: float
    metal_contracts: bool

    @property
    def strain(self) -> tuple[float, float]:
        """Free strains."""
        return (-UNIT, 0.0) if self.metal_contracts else (0.0, -UNIT)

    @property
    def body(self) -> Tube:
        """The wall for finite elements."""
        reach = 5.0 * np.sqrt(self.radius * self.wall)
        young = (self.ratio * YOUNG, YOUNG)
        return Tube(self.radius, self.wall, reach, young, (METAL_NU, NU), self.strain)


def condensed(case: Case) -> tuple[list[CrackPlane], list[CrackPath]]:
    """All paths of a joint."""
    body = case.body
    edges = np.array([-body.reach, 0.0, body.reach])
    wall = tube(body.radius, body.wall, edges, np.array(body.young), np.array(body.poisson))
    planes = crack_planes(wall, ring_heights(wall, 0.0, (False, True)))
    forces = [plane.mismatch_forces(np.array(case.strain)) for plane in planes]
    bonds: list[Bond | None] = [JOINT if plane.height == 0.0 else BODY for plane in planes]
    return planes, crack_paths(planes, forces, bonds, edges[1:-1])


def bond_of(path: CrackPath) -> Bond:
    return JOINT if path.kind == "joint" else BODY


SHARES = (0.35, 0.6, 0.8, 1.0, 1.25, 1.6)
"""Lengths that are solved, over that expected."""


def start_by_elements(case: Case, path: CrackPath, shares: tuple[float, ...] = SHARES) -> float:
    """Mismatch at which the first crack starts on a path, by split finite elements. [1e-3]"""
    bond, expected = bond_of(path), float(path.limit.start_length)
    share = np.array(shares)
    length = share[share * expected < 0.92 * path.wall] * expected
    cracks = [Cracked(case.body, path.height, path.face, float(one)) for one in length]
    freed = np.array([one.energy() for one in cracks])
    sign = 1.0 if path.face == "inner" else -1.0
    fine = np.concatenate([[0.0], np.geomspace(0.02, 1.0, 12) * length[-1]])
    normal, shear = cracks[-1].stress(sign * (2.0 * fine / path.wall - 1.0))
    use = fracture.use_along(fine, normal, shear, bond.strength, bond.shear_strength)
    place = np.concatenate([[0.0], length])
    use = np.interp(place, fine, use)
    phase = [one.phase(0.01 * path.wall) for one in cracks]
    toughness = fracture.mode_mix_toughness(bond.toughness, phase, bond.sensitivity)
    mouth = case.radius - sign * 0.5 * case.wall
    area = np.abs((mouth + sign * place) ** 2 - mouth**2) / 2.0
    needed = np.concatenate([[0.0], np.cumsum(toughness * np.diff(area))])
    found = fracture.coupled_criterion(place, use, np.concatenate([[0.0], freed]), needed)
    return float(found.start)


def through_by_elements(case: Case, path: CrackPath, plane: CrackPlane, start: float) -> float:
    """Mismatch at which that crack has run through, by split finite elements. [1e-3]"""
    bond = bond_of(path)
    found = plane.growth(plane.mismatch_forces(np.array(case.strain)), path.face)
    middle = 0.5 * (found.length[1:] + found.length[:-1])
    rate = np.diff(found.energy) / np.diff(found.area)
    rate /= fracture.mode_mix_toughness(bond.toughness, found.phase[1:], bond.sensitivity)
    first, last = float(path.limit.start_length), fracture.THROUGH * path.wall
    ahead = (middle > first) & (middle < last)
    depth = np.array([0.15, 0.3, 0.45, 0.6, 0.75, 0.88]) * path.wall
    depth = depth[depth > 1.05 * first]
    if ahead.any():
        depth = np.append(depth, middle[ahead][np.argmin(rate[ahead])])
    needs = start
    for one in depth:
        freed = release_rate(case.body, path.height, path.face, float(one))
        phase = 0.0
        if bond.sensitivity < 1.0:
            phase = Cracked(case.body, path.height, path.face, float(one)).phase(0.01 * path.wall)
        tough = fracture.mode_mix_toughness(bond.toughness, phase, bond.sensitivity)
        needs = max(needs, float(np.sqrt(tough / max(freed, 1e-12))))
    return needs


def axial(case: Case) -> fracture.AxialLimits:
    """Axial cracks from the joint into the ceramic."""
    height = np.concatenate([[0.0], np.geomspace(0.01, 1.0, 40)])
    height *= 1.5 * np.sqrt(case.radius * case.wall)
    across = np.linspace(-1.0, 1.0, 21)
    return fracture.axial_limits(
        height,
        across,
        hoop_field(case.body, height, across),
        wall=case.wall,
        radius=case.radius,
        young=YOUNG,
        poisson=NU,
        strength=BODY.strength,
        toughness=BODY.toughness,
        beyond=case.ratio * YOUNG,
    )


def told(path: CrackPath) -> str:
    return f"{path.kind:5s} {path.face} z/h {path.height / path.wall:4.2f}"


def compare(case: Case) -> tuple[float, float]:
    """One row; condensed over finite elements, first and through. [-]"""
    began = time.perf_counter()
    planes, paths = condensed(case)
    took = time.perf_counter() - began
    by_height = {plane.height: plane for plane in planes}
    first = min(paths, key=lambda one: float(one.limit.start))
    last = min(paths, key=lambda one: float(one.limit.through))
    start = start_by_elements(case, first)
    again = start if last is first else start_by_elements(case, last)
    through = through_by_elements(case, last, by_height[last.height], again)
    ratios = float(first.limit.start) / start, float(last.limit.through) / through
    meridian = axial(case)
    stop = float(first.limit.arrest_length) / case.wall
    who = "metal " if case.metal_contracts else "ceram."
    print(
        f"{1e3 * case.wall:5.1f} {1e3 * case.radius:3.0f} {case.ratio:4.1f} {who}"
        f" | {float(first.limit.start):6.3f} {start:6.3f} {ratios[0]:5.3f} {told(first)}"
        f" l/h {float(first.limit.start_length) / case.wall:5.3f} stops {stop:4.2f}"
        f" | {float(last.limit.through):6.3f} {through:6.3f} {ratios[1]:5.3f} {told(last)}"
        f" | axial {float(meridian.start):6.3f} {float(meridian.through):6.3f} | {took:4.1f} s",
        flush=True,
    )
    return ratios


def axial_table() -> None:
    """Energy of axial cracks by the closed form over that of three dimensions."""
    print("axial crack from the joint: wall, radius [mm], metal/ceramic, length/sqrt(R h), ratio")
    for wall, radius in ((2e-3, 0.05), (6e-3, 0.02)):
        for ratio in RATIOS:
            for share in (0.3, 1.0):
                length, foot = share * np.sqrt(radius * wall), 4.0 * np.sqrt(radius * wall)
                bands = [(foot, ratio * YOUNG, METAL_NU, 0.0), (2 * foot, YOUNG, NU, -UNIT)]
                freed, z, hoop = axial_energy(radius, wall, bands, (foot, foot + length))
                y = fracture.crack_lengths(length / fracture.THROUGH)
                found = fracture.axial_crack_energy(
                    y,
                    np.interp(foot + y, z[z > foot], hoop[z > foot]),
                    wall=wall,
                    radius=radius,
                    young=YOUNG,
                    beyond=ratio * YOUNG,
                )[-1]
                print(
                    f"{1e3 * wall:4.1f} {1e3 * radius:3.0f} {ratio:4.1f} {share:4.1f}"
                    f" {found / freed:6.3f}",
                    flush=True,
                )


if __name__ == "__main__":
    chosen = [1e-3 * float(one) for one in sys.argv[1:]] or list(WALLS)
    print("wall, radius [mm], metal/ceramic stiffness, who contracts more | first crack [1e-3]:")
    print("condensed, elements, ratio, path | runs through: same | axial first, through")
    worst = []
    for h in chosen:
        for R in RADII:
            for stiffness in RATIOS:
                for metal in (True, False):
                    worst.extend(compare(Case(h, R, stiffness, metal)))
    print(f"condensed over elements: {min(worst):.3f} to {max(worst):.3f}")
    axial_table()
