"""Other joints of a metal and a ceramic than a level butt, by the solid: a trial.

    python -m tests.other_joints [--finer] [--only NAME] [vessel ...]

joins the two materials of shipped vessels with no mixing at the change, in the firing as given, by

- a butt, level through the wall: what the others are counted against;
- a scarf, a joint that leans through the wall, over 1, 2 and 3 decay lengths, either way;
- a lap, in which the inner half of the wall is one material and the outer half the other, over
  half of a decay length, one and two, either way;
- a collar, a metal ring of one or two roads round a ceramic wall that runs through, 5 mm and 10 mm
  high and as high as the metal zone;
- a skin, in which metal is one road of the wall over its zone, outside or inside, and the rest and
  all beyond is ceramic.

All are bonded wherever they touch, and all, the butt too, are judged by one reading of the marched
solid at its own points:

- cooling, later: Weibull's risk of the ceramic once sintered, over the volume that each point
  stands for, of stress as a mean along the wall over the length 2 K²/(π σ²) around it, 0.15 to 0.8
  mm, which a crack needs to start (`critical_length`; a tenth of a wall, taken at first, is as much
  as a collar is thick); and the same of stress at the points, as the rules of those names have it,
  to see what corners decide;
- brown, metal and ceramic: the largest principal strain (stress over modulus, and what a metal has
  yielded) before it has sintered, over `borne_strain`: of its mean over a tenth of a wall, along
  each line of points up the wall and within one body, as the rule has it;
- parting, cold: what all of the joint would release an area of it, and the most that it would an
  area as it opens from either of its free edges over a tenth of a wall to four walls: nodes split,
  elastic unloading as in `Parting`, but faces that press slide without friction and do not pass;
- opens: the share of the joint that is pulled when cold, over a tenth of a wall, and how hard.

Expected before it was run. A scarf helps where it is as long as the decay length. A lap does not:
over its length each half bears its share of the mismatch round the ring, so that more ceramic is
strained, and its joint is longer but not less loaded; of the two orders the one that presses the
ceramic is better. A collar of a metal that contracts more presses the ceramic under it, which is
pulled up the wall (bent) only beside its ends; a thin soft metal yields, so the ceramic bears the
force of one road and not of a wall: cooling falls by more than half, and the joint is pressed but
for its ends, which is to open only there. A skin outside does the same, one inside is pulled off.
Brown ware asks who shrinks first: a thin metal strains the thick ceramic less than a wall does,
and is itself strained by nearly the whole difference, so that brown moves from ceramic to metal.

Wrong if a lap of nought or a scarf of nought were not a butt, if equal materials had stress, if a
skin's stress away from its ends were not that of `nested_rings`, and that of a skin that grows thin
not E/(1 − ν) times the mismatch; if the butt's figures were not the rules' own, or the energy of a
butt that parts not `Parting`'s. `tests/mechanics/test_other_joints.py` holds it to those.
"""

from __future__ import annotations

import argparse
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, fields, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, csr_matrix
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import splu

from cofire.assessment.brown_rules import borne_strain
from cofire.assessment.check import check_vessel
from cofire.assessment.crack_rules import FAILURE_NO, TEST_BAR
from cofire.assessment.cracks import SINTERED
from cofire.assessment.later_rules import TEST_TIME, YEAR, later_exponent
from cofire.assessment.response import Response, as_solid, fire_vessel, times_for_solid
from cofire.assessment.rule import Flag
from cofire.assessment.strained import STRAINED_LENGTH, mean_along
from cofire.assessment.verdict import judge, worst_by_rule
from cofire.design.fired_size import decay_length, linear
from cofire.design.starting import started
from cofire.design.transition import Layout, as_vessel, given_layout, zones
from cofire.errors import CofireError
from cofire.materials.card import Card
from cofire.materials.pairs import joint_resistance
from cofire.mechanics.integrator import Record, march
from cofire.mechanics.solid import Solid
from cofire.mechanics.solid_elements import elements_of, solid_geometry
from cofire.mechanics.solid_firing import AS_FIRED
from cofire.mechanics.solid_mesh import _LAYER, USUAL_ACROSS, SolidMesh, _columns, mesh_solid
from cofire.numerics import Array, line_shape, one_thread
from cofire.physics.changeover import volume_for_share
from cofire.physics.history import History
from cofire.physics.slow_crack_growth import aged_factor
from cofire.physics.strength import bar_effective_volume, rupture_risk, unit_strength
from cofire.vessel import Vessel
from cofire.vessel_file import read_vessel
from tests.fired import CARDS, KILNS

SHIPPED = ("silver_foot_vessel", "copper_foot_tumbler", "gold_foot_cup", "bronze_vase")
SCARFS, LAPS = (1.0, 2.0, 3.0), (0.5, 1.0, 2.0)
COLLARS = (5e-3, 10e-3)
FADES = 1.3
"""Height over which the rows are level again, in scarfs. [-]"""
PART_ACROSS = 6
"""Elements through each part of the wall that lies beside an interface. [-]"""
OPENED = (0.1, 0.5, 1.0, 4.0)
"""Lengths over which a joint is opened from its edge, over the wall. [-]"""
RULES = ("cooling", "later", "brown", "surface crack", "through crack")
SOFT, HARD = 1e-8, 1e3
"""Springs that hold a loose piece, and that keep faces apart, over the stiffest element. [-]"""
METAL, CERAMIC = 0, 1

Place = Callable[[Array, Array], NDArray[np.bool_]]


@dataclass(frozen=True)
class Form:
    """One way to join the zones.

    Attributes
    ----------
    name
        In a few words.
    steps
        Heights at which a material begins or ends somewhere, rising. [m]
    edges
        Places through the wall where one does, faces included: -1 inside, 1 outside, more in a
        collar. [-]
    metal
        Whether metal is at a height [m] and a place [-].
    there
        Whether anything is.
    lean
        How much higher the joint is outside than inside. [m]
    """

    name: str
    steps: tuple[float, ...]
    edges: tuple[float, ...]
    metal: Place
    there: Place = lambda z, _: np.ones(z.shape, dtype=bool)
    lean: float = 0.0


@dataclass(frozen=True, kw_only=True)
class Cut(SolidMesh):
    """A section of which some elements are not there.

    Attributes
    ----------
    kept
        Elements that are, shape (A C,).
    """

    kept: NDArray[np.bool_]

    @property
    def nodes(self) -> NDArray[np.intp]:  # type: ignore[override]
        """Numbers of the nine nodes of each element that is there. [-]"""
        return np.asarray(super().nodes[self.kept])


def forms(
    *, height: float, wall: float, decay: float, at: float, road: float, below: bool
) -> Iterator[Form]:
    """All of them, the butt first; lengths in m, `below` where the metal stands below."""

    def zone(z: Array, top: Array | float) -> NDArray[np.bool_]:
        """Whether a height lies in a metal zone that ends at another."""
        return np.asarray(z < top if below else z > top)

    whole, half = (-1.0, 1.0), (-1.0, 0.0, 1.0)
    yield Form("butt", (at,), whole, lambda z, _: zone(z, at))
    for decays in SCARFS:
        for side in (1.0, -1.0):
            word = "outside" if (side > 0.0) == below else "inside"
            yield Form(
                f"scarf {decays:g}, metal {word}", (at,), whole, lambda z, _: zone(z, at),
                lean=side * decays * decay,
            )  # fmt: skip
    for decays in LAPS:
        low, high = at - 0.5 * decays * decay, at + 0.5 * decays * decay
        far, near = (high, low) if below else (low, high)
        for side, word in ((1.0, "outside"), (-1.0, "inside")):
            yield Form(
                f"lap {decays:g}, metal {word}", (low, high), half,
                lambda z, x, far=far, near=near, side=side: zone(
                    z, np.where(side * x > 0.0, far, near)
                ),
            )  # fmt: skip
    own = at if below else height - at
    for tall in (*COLLARS, own):
        for roads in (1, 2):
            edge = tall if below else height - tall
            yield Form(
                f"collar {1e3 * tall:.3g} mm, {roads} road{'s' * (roads - 1)}", (edge,),
                (-1.0, 1.0, 1.0 + 2.0 * roads * road / wall), lambda _, x: x > 1.0,
                there=lambda z, x, edge=edge: (x < 1.0) | zone(z, edge),
            )  # fmt: skip
    if road < wall:
        for side, word in ((1.0, "outside"), (-1.0, "inside")):
            face = side * (1.0 - 2.0 * road / wall)
            yield Form(
                f"skin {word}", (at,), tuple(sorted((-1.0, face, 1.0))),
                lambda z, x, side=side, face=face: zone(z, at) & (side * (x - face) > 0.0),
            )  # fmt: skip


def meshed(form: Form, vessel: Vessel, finer: bool = False) -> tuple[SolidMesh, NDArray[np.intp]]:
    """Section of a form, and material of each of its elements, shape (E,)."""
    level = mesh_solid(
        vessel.radius, vessel.height, vessel.wall, form.steps, across=USUAL_ACROSS,
        corners=vessel.corners or None,
    )  # fmt: skip
    place = through(form.edges)
    middle = level.place.size // 2
    own = line_shape(place).T  # a line between two rows is straight or bowed, a parabola
    mesh = replace(
        level, place=place, support=(level.support[0], place.size - 1),
        radius=level.radius[:, [0, middle, -1]] @ own,
        height=level.height[:, [0, middle, -1]] @ own,
    )  # fmt: skip
    mesh = mesh.finer() if finer else mesh
    z = np.repeat(mesh.height[1::2, mesh.place.size // 2], mesh.across)
    x = np.tile(mesh.place[1::2], mesh.rows)
    kept = form.there(z, x)
    material = np.where(form.metal(z, x), METAL, CERAMIC)[kept]
    if form.lean:
        mesh = leaning(mesh, form.lean)
    if not kept.all():
        known = {f.name: getattr(mesh, f.name) for f in fields(SolidMesh)}
        mesh = Cut(**known, kept=kept)
    return mesh, material


def through(edges: tuple[float, ...]) -> Array:
    """Places of the columns, thinnest on both sides of every edge, as thin as at a check's face."""
    found = [np.array([edges[0]])]
    parts = len(edges) - 1
    count = USUAL_ACROSS if parts == 1 else PART_ACROSS
    for low, high in pairwise(edges):
        breadth = 0.5 * (high - low)
        layer = min(_LAYER / USUAL_ACROSS / breadth, 0.5 / count)
        found.append(low + breadth * (1.0 + _columns(count, layer))[1:])
    return np.concatenate(found)


def leaning(mesh: SolidMesh, length: float) -> SolidMesh:
    """The mesh with its one joint a length higher outside than inside. [m]"""
    middle = mesh.place.size // 2
    row = int(mesh.step_row[0])
    lean = length / float(mesh.radius[row, -1] - mesh.radius[row, 0])
    level = mesh.height[:, [middle]]
    away = np.clip(np.abs(level - level[row]) / (FADES * abs(length) + 1e-9), 0.0, 1.0)
    share = 0.5 * (1.0 + np.cos(np.pi * away))
    return replace(
        mesh, height=mesh.height + lean * (mesh.radius - mesh.radius[:, [middle]]) * share
    )


def body_of(mesh: SolidMesh, material: NDArray[np.intp]) -> Solid:
    """The vessel, ready for `march`; nodes of no element are held."""
    numbers = mesh.nodes
    held = np.ones((mesh.radius.size, 2), dtype=bool)
    held[np.unique(numbers)] = False
    held[mesh.support[0] * mesh.place.size + mesh.support[1], 1] = True
    elements = replace(elements_of(mesh, merged=False), nodes=numbers)
    return Solid(
        mesh=mesh,
        elements=elements,
        material=np.repeat(material[:, None], 9, axis=1),
        load=np.zeros(held.shape),
        held=held,
        geometry=solid_geometry(elements),
    )


# ----------------------------------------------------------------------------------------------
# Reading one marched solid


def principals(tensor: Array) -> Array:
    """Principal values of radial, hoop, axial, shear along the first axis, (..., 3). [any]"""
    one, hoop, two, shear = tensor
    middle, reach = 0.5 * (one + two), np.hypot(0.5 * (one - two), shear)
    return np.stack([middle + reach, hoop, middle - reach], axis=-1)


def means(body: Solid, length: float) -> csr_matrix:
    """From values at the points to their means over a length, shape (2 E·9, E·9).

    Those that begin at each point and those that end there, along each line of points up the wall
    and within one body, as a rule reads strain.
    """
    mesh, size = body.mesh, body.material.size
    shape = mesh.rows, mesh.across, 3, 3
    full = np.full((mesh.rows * mesh.across, 9), -1)
    kept = mesh.kept if isinstance(mesh, Cut) else np.ones(len(full), dtype=bool)
    full[kept] = np.arange(size).reshape(-1, 9)
    lines = full.reshape(shape).transpose(1, 3, 0, 2).reshape(3 * mesh.across, 3 * mesh.rows)
    material = np.append(body.material.ravel(), -1)
    radius, height = body.geometry.radius.ravel(), body.geometry.height.ravel()
    blocks = []
    for line in lines:
        kind = material[line]
        breaks = np.flatnonzero(np.diff(kind)) + 1
        for run in np.split(line, breaks):
            if run[0] < 0:
                continue
            steps = np.hypot(np.diff(radius[run]), np.diff(height[run]))
            place = np.concatenate([[0.0], np.cumsum(steps)])
            share = mean_along(np.eye(run.size), place, length)
            point, window = np.nonzero(share)
            first = run[window % run.size] + np.where(window < run.size, 0, size)
            blocks.append((share[point, window], first, run[point]))
    value, row, column = (np.concatenate(part) for part in zip(*blocks, strict=True))
    return csr_matrix((value, (row, column)), shape=(2 * size, size))


def critical_length(ceramic: Card) -> float:
    """Length over which stress must be high on the mean for a crack to start, 2 K²/(π σ²). [m]

    The line method of critical distances (D. Taylor 2007, The Theory of Critical Distances, from
    memory): stress that falls off faster breaks nothing, however high it is at a point.
    """
    share = ceramic["fracture_toughness"].scalar / ceramic["strength"].scalar
    return float(2.0 / np.pi * share**2)


@dataclass(frozen=True)
class Judged:
    """What one form uses up of each limit, and what its joint would release.

    Attributes
    ----------
    cooling, later
        Of Weibull's limits, by means of stress. [-]
    at_points, later_at_points
        The same of the stress at the points, as the rules have it. [-]
    brown_ceramic, brown_metal
        Of the strain that each bears before it has sintered. [-]
    whole, edge
        Released an area if all of the joint parts, and at most as it opens from an edge. [J/m²]
    pulled
        Share of the joint that is in tension when cold. [-]
    pull
        Largest tension on it, mean over a tenth of a wall. [Pa]
    early
        Least and largest mean of it over all of the joint until both have sintered. [Pa]
    metal
        Volume of the metal. [m³]
    """

    cooling: float
    later: float
    at_points: float
    later_at_points: float
    brown_ceramic: float
    brown_metal: float
    whole: float
    edge: float
    pulled: float
    pull: float
    early: tuple[float, float]
    metal: float

    @property
    def worst(self) -> float:
        """Largest of the rules of stress. [-]"""
        return max(self.cooling, self.later, self.brown_ceramic, self.brown_metal)


def judged(
    body: Solid, record: Record, history: History, cards: tuple[Card, Card], wall: float
) -> Judged:
    """One marched solid read; cards, history and materials are metal and ceramic."""
    time, size = record.time, body.material.size

    def at_times(rows: Array, k: int) -> Array:
        return np.interp(time, history.time, rows[k])

    def averaged(tensor: Array, length: float) -> Array:
        """Means of (4, T, E·9), twice as many."""
        found = means(body, length) @ tensor.reshape(-1, size).T
        return np.asarray(found.T).reshape(4, time.size, 2 * size)

    stress = np.moveaxis(record.stress, 1, 0).reshape(4, time.size, size)
    around = averaged(stress, 0.5 * critical_length(cards[CERAMIC]))
    around = 0.5 * (around[:, :, :size] + around[:, :, size:])
    beside = averaged(stress, STRAINED_LENGTH * wall)
    material, volume = body.material.ravel(), body.geometry.weight.ravel()
    card = cards[CERAMIC]
    m = card["weibull_modulus"].scalar
    limit = -np.log1p(-FAILURE_NO)
    strength = at_times(history.strength, CERAMIC)
    unit = unit_strength(
        strength * np.log(2.0) ** (-1.0 / m), m, bar_effective_volume(TEST_BAR, m, 0.5)
    )
    done = at_times(history.progress, CERAMIC) >= SINTERED
    own = material == CERAMIC
    n, threshold, _ = later_exponent(card)
    aged = float(aged_factor(YEAR, TEST_TIME, n, threshold))
    used = []
    for tensor in (around, stress):
        risk = rupture_risk(principals(tensor[:, :, own]), volume[own], unit[:, None], m)
        share = np.where(done, (risk / limit) ** (1.0 / m), 0.0)
        used.append((float(share.max()), float(share[-1]) * aged))
    brown = []
    plastic = np.moveaxis(record.inelastic[:, -1], 1, 0).reshape(4, time.size, size).copy()
    plastic[3] *= 0.5
    yielded = averaged(plastic, STRAINED_LENGTH * wall)
    for k, one in enumerate(cards):
        young = at_times(history.young_modulus, k)
        here = np.tile(material == k, 2)
        strain = beside[:, :, here] / young[:, None]
        if k == METAL:
            strain = strain + yielded[:, :, here]
        borne = borne_strain(
            one, at_times(history.relative_density, k), at_times(history.strength, k), young
        )
        share = np.maximum(principals(strain).max(axis=(1, 2)), 0.0) / borne
        share = np.where(at_times(history.progress, k) < SINTERED, share, 0.0)
        brown.append(float(share.max()))
    joint = Interface.of(body)
    moduli = history.young_modulus[:, -1], np.asarray(history.poisson_ratio, dtype=float)
    whole, edge = joint.energies(record.stress[-1], *moduli, wall)
    pulls = joint.pulls(record.stress, STRAINED_LENGTH * wall)
    pull = pulls[-1]
    raw = np.min([at_times(history.progress, k) for k in (METAL, CERAMIC)], axis=0) < SINTERED
    even = (pulls[raw] @ joint.area) / joint.area.sum()
    return Judged(
        *used[0], *used[1], brown[CERAMIC], brown[METAL], whole, edge,
        pulled=float((joint.area * (pull > 0.0)).sum() / joint.area.sum()),
        pull=float(pull.max()),
        early=(float(even.min()), float(even.max())),
        metal=float(volume[material == METAL].sum()),
    )  # fmt: skip


@dataclass(frozen=True)
class Interface:
    """The edges of elements between metal and ceramic, in order from one free edge to the other.

    Attributes
    ----------
    body
        The vessel.
    line
        Its nodes in order, corners and middles, shape (2K + 1,). [-]
    sides
        Element of metal and of ceramic at each edge, shape (K, 2). [-]
    length, area
        Of each edge, shape (K,). [m], [m²]
    normal
        Of each edge, from metal to ceramic, radial and axial, shape (K, 2). [-]
    """

    body: Solid
    line: NDArray[np.intp]
    sides: NDArray[np.intp]
    length: Array
    area: Array
    normal: Array

    @classmethod
    def of(cls, body: Solid) -> Interface:
        """That of a vessel with one joint."""
        numbers = body.mesh.nodes
        owner: dict[tuple[int, int, int], int] = {}
        edges = []
        for element, nodes in enumerate(numbers):
            for a, b, c in ((0, 1, 2), (6, 7, 8), (0, 3, 6), (2, 5, 8)):
                key = int(nodes[a]), int(nodes[b]), int(nodes[c])
                other = owner.setdefault(key, element)
                pair = sorted((other, element), key=lambda e: int(body.material[e, 0]))
                if body.material[other, 0] != body.material[element, 0]:
                    edges.append((key, pair))
        ends = np.bincount([e for key, _ in edges for e in (key[0], key[2])])
        free = np.flatnonzero(ends == 1)
        assert free.size == 2, "the joint is no single line"
        at, left = int(free[0]), list(edges)
        line, sides = [at], []
        while left:
            k = next(i for i, (key, _) in enumerate(left) if at in (key[0], key[2]))
            (a, b, c), pair = left.pop(k)
            at = c if at == a else a
            line += [b, at]
            sides.append(pair)
        order = np.array(line)
        r, z = body.mesh.radius.ravel()[order], body.mesh.height.ravel()[order]
        along = np.stack([r[2::2] - r[:-2:2], z[2::2] - z[:-2:2]], axis=1)
        length, pair = np.hypot(*along.T), np.array(sides)
        normal = np.stack([along[:, 1], -along[:, 0]], axis=1) / length[:, None]
        across = [
            np.diff(v[:, 4][pair], axis=1)[:, 0]
            for v in (body.geometry.radius, body.geometry.height)
        ]
        normal *= np.sign((np.stack(across, axis=1) * normal).sum(axis=1))[:, None]
        return cls(body, order, pair, length, 2.0 * np.pi * r[1::2] * length, normal)

    def pulls(self, stress: Array, window: float) -> Array:
        """Tension across each edge, mean over a length of the joint around it, (..., K). [Pa]

        Stress is radial, hoop, axial, shear at the points, shape (..., 4, E, 9).

        Of each edge the mean of the points of both elements that are nearest to it.
        """
        r, z = self.body.mesh.radius.ravel()[self.line], self.body.mesh.height.ravel()[self.line]
        geometry, sides = self.body.geometry, self.sides[:, :, None]
        (n_r, n_z), (r, z) = self.normal.T[:, :, None, None], (v[1::2, None, None] for v in (r, z))
        away = (geometry.radius[self.sides] - r) * n_r + (geometry.height[self.sides] - z) * n_z
        near = np.argsort(np.abs(away), axis=2)[:, :, :3]
        rr, _, zz, rz = np.moveaxis(stress, -3, 0)[..., sides, near]
        own = (rr * n_r**2 + zz * n_z**2 + 2.0 * rz * n_r * n_z).mean(axis=(-2, -1))
        middle = np.cumsum(self.length) - 0.5 * self.length
        share = (np.abs(middle[:, None] - middle) <= 0.5 * window) * self.length
        return np.asarray(own @ (share / share.sum(axis=1, keepdims=True)).T)

    @one_thread
    def energies(
        self, stress: Array, young: Array, poisson: Array, wall: float, contacts: int = 15
    ) -> tuple[float, float]:
        """Released an area by all of the joint, and at most from either free edge. [J/m²]

        `contacts` is how often it is asked anew where the faces press; at none they pass.
        """
        tangent = self.body.elastic_tangent(young, poisson)
        stiffness = self.body.element_stiffness(tangent)
        force = -self.body.element_forces(stress)
        still, _ = _moved(stiffness, force, self.body.mesh.nodes)  # what is out of balance
        force = force - np.einsum("eij,ej->ei", stiffness, still)
        count = self.length.size
        gone = np.cumsum(self.length), np.cumsum(self.length[::-1])
        cases = {(0, count)}
        for length in OPENED:
            first, last = (int((g <= length * wall * (1.0 + 1e-9)).sum()) for g in gone)
            cases |= {(0, max(first, 1)), (count - max(last, 1), count)}
        found = {}
        for first, last in cases:
            moved = self._open(stiffness, force, first, last, contacts)
            found[first, last] = 0.5 * float((force * moved).sum() / self.area[first:last].sum())
        return found[0, count], max(found.values())

    def _open(self, stiffness: Array, force: Array, first: int, last: int, contacts: int) -> Array:
        """Displacements with some edges open whose faces slide freely and do not pass, (E, 18)."""
        start = 0 if first == 0 else 2 * first + 1
        end = self.line.size if last == self.length.size else 2 * last
        numbers = self.body.mesh.nodes.copy()
        new = np.arange(self.body.held.shape[0])
        old = self.line[start:end]
        new[old] = new.size + np.arange(end - start)
        own = self.body.material[:, 0] == METAL
        numbers[own] = new[numbers[own]]
        outer = np.repeat(self.normal, 2, axis=0)
        outer = np.concatenate([outer[:1], outer]) + np.concatenate([outer, outer[-1:]])
        outer = (outer / np.hypot(*outer.T)[:, None])[start:end]
        pressed = np.zeros(old.size, dtype=bool)
        for _ in range(contacts + 1):
            moved, at = _moved(
                stiffness, force, numbers, (new[old][pressed], old[pressed], outer[pressed])
            )
            overlaps = ((at(old) - at(new[old])) * outer).sum(axis=1) < 0.0
            if (overlaps == pressed).all():
                break
            pressed = overlaps
        return moved


def _moved(
    stiffness: Array,
    force: Array,
    numbers: NDArray[np.intp],
    pressed: tuple[NDArray[np.intp], NDArray[np.intp], Array] | None = None,
) -> tuple[Array, Callable[[NDArray[np.intp]], Array]]:
    """Elastic displacements under forces at the nodes of each element, (E, 18), and of any node.

    One piece is held axially, and every other that hangs together by a spring too soft to count.
    `pressed` are nodes of both faces that keep their distance along a normal. [m]
    """
    used, own = np.unique(numbers, return_inverse=True)
    own = own.reshape(numbers.shape)
    freedom = (2 * own[:, :, None] + np.arange(2)).reshape(len(own), 18)
    size = 2 * used.size
    links = coo_matrix(
        (np.ones(own.size), (np.repeat(np.arange(len(own)), 9), own.ravel())),
        shape=(len(own), used.size),
    ).tocsr()
    pieces, label = connected_components(links.T @ links, directed=False)
    held = np.array([2 * int(np.flatnonzero(label == p)[0]) + 1 for p in range(pieces)])
    row, column = np.repeat(freedom, 18, axis=1), np.tile(freedom, (1, 18))
    matrix = coo_matrix((stiffness.ravel(), (row.ravel(), column.ravel())), shape=(size, size))
    hard = float(stiffness.max())
    spring = np.full(pieces, SOFT * hard)
    spring[0] = hard
    matrix = matrix.tocsc() + coo_matrix((spring, (held, held)), shape=(size, size)).tocsc()
    if pressed is not None and pressed[0].size:
        metal, ceramic, normal = pressed
        at = np.concatenate([np.searchsorted(used, nodes) for nodes in (metal, ceramic)])
        count = metal.size
        gap = coo_matrix(
            (
                np.concatenate([-normal, normal]).ravel(),
                (np.tile(np.repeat(np.arange(count), 2), 2),
                 (2 * at[:, None] + np.arange(2)).ravel()),
            ),
            shape=(count, size),
        ).tocsc()  # fmt: skip
        matrix = matrix + (HARD * hard) * (gap.T @ gap)
    moved = splu(matrix).solve(np.bincount(freedom.ravel(), force.ravel(), size))

    def at_nodes(nodes: NDArray[np.intp]) -> Array:
        return np.asarray(moved.reshape(-1, 2)[np.searchsorted(used, nodes)])

    return np.asarray(moved[freedom]), at_nodes


# ----------------------------------------------------------------------------------------------
# The shipped vessels


def shipped(name: str) -> Vessel:
    """A vessel of the examples."""
    return read_vessel(Path(__file__).parents[1] / "examples" / f"{name}.toml", KILNS)


def of_rules(flags: Sequence[Flag]) -> str:
    """What the rules of stress say, in a few words."""
    worst = worst_by_rule(flags)
    return ", ".join(
        f"{rule} {worst[rule].utilisation:.3g} ({worst[rule].zone})" for rule in RULES
        if rule in worst
    )  # fmt: skip


def butt_of(name: str) -> Response:
    """A shipped vessel joined edge to edge without mixing, fired as a shell."""
    vessel = started(shipped(name), CARDS)
    metal, ceramic, below = zones(vessel, CARDS)
    at = given_layout(vessel, CARDS).middle
    vessel = replace(vessel, printer=replace(vessel.printer, given=False))
    return fire_vessel(
        as_vessel(vessel, metal.name, ceramic.name, below, Layout((), 0.0, at)), CARDS
    )


def forms_of(vessel: Vessel) -> tuple[list[Form], float]:
    """All forms of a vessel that is joined edge to edge, and its wall at the joint. [m]"""
    metal, _, below = zones(vessel, CARDS)
    at = given_layout(vessel, CARDS).middle
    wall = float(np.interp(at, vessel.height, vessel.wall))
    found = forms(
        height=float(vessel.height[-1]), wall=wall, decay=decay_length(vessel, at), at=at,
        road=vessel.printer.nozzle * linear(metal), below=below,
    )  # fmt: skip
    return list(found), wall


@one_thread
def fired(form: Form, shell: Response, wall: float, finer: bool = False) -> Judged:
    """One form in the firing of a butt, judged."""
    pair = sorted(zip(shell.cards, shell.material, strict=True), key=lambda p: p[0].kind != "metal")
    (metal, first), (ceramic, second) = pair
    history = shell.history.rows([first, second])
    times, borne = times_for_solid(shell)
    later = times > history.time[0]
    control = replace(AS_FIRED, times=tuple(times[later]), borne=tuple(borne[later]))
    body = body_of(*meshed(form, shell.vessel, finer))
    record = march(body, history, control=control, brief=True)
    return judged(body, record, history, (metal, ceramic), wall)


def told(one: Judged, butt: Judged) -> str:
    """Figures of one form, and each over the butt's."""
    pairs = [
        ("cooling", one.cooling, butt.cooling),
        ("later", one.later, butt.later),
        ("later at points", one.later_at_points, butt.later_at_points),
        ("brown ceramic", one.brown_ceramic, butt.brown_ceramic),
        ("brown metal", one.brown_metal, butt.brown_metal),
        ("parting J/m²", one.whole, butt.whole),
        ("from an edge", one.edge, butt.edge),
    ]
    shares = "  ".join(f"{word} {own:.3g} ({own / base:.2f})" for word, own, base in pairs)
    return (
        f"{shares}  worst {one.worst:.3g} ({one.worst / butt.worst:.2f})  "
        f"pulled {100 * one.pulled:.0f} % by up to {one.pull / 1e6:.0f} MPa, "
        f"before it sinters {one.early[0] / 1e3:.0f} to {one.early[1] / 1e3:.0f} kPa in the mean"
    )


def main() -> None:
    """Print a line a form."""
    parser = argparse.ArgumentParser()
    parser.add_argument("names", nargs="*", default=SHIPPED)
    parser.add_argument("--finer", action="store_true", help="every element cut in four")
    parser.add_argument("--only", action="append", help="a form's name, or how it begins")
    asked = parser.parse_args()
    for name in asked.names:
        shell = butt_of(name)
        vessel, printer = shell.vessel, shell.vessel.printer
        metal, ceramic, _ = zones(vessel, CARDS)
        some, wall = forms_of(vessel)
        lost = float(volume_for_share(0.95, printer.dead_volume, printer.tanks))
        grams = [1e3 * lost * dry(card) for card in (metal, ceramic)]
        print(
            f"{name}: {metal.name} | {ceramic.name}, wall {1e3 * wall:.2f} mm, decay length "
            f"{1e3 * decay_length(vessel, given_layout(vessel, CARDS).middle):.1f} mm, joint "
            f"{joint_resistance(metal, ceramic).toughness:.3g} J/m²; a change of paste passes "
            f"{1e6 * lost:.1f} ml until 95 % is new, {grams[0]:.1f} g of metal to "
            f"{grams[1]:.1f} g of ceramic"
        )
        print("  butt by the rules: " + of_rules(judge(as_solid(shell)).flags))
        given = check_vessel(started(shipped(name), CARDS), CARDS)
        print("  as its file joins it: " + of_rules(given.verdict.flags), flush=True)
        butt = None
        for form in some:
            if butt and asked.only and not form.name.startswith(tuple(asked.only)):
                continue
            try:
                one = fired(form, shell, wall, asked.finer)
            except CofireError as error:
                print(f"  {form.name}: {error}")
                continue
            butt = butt or one
            mass = 1e3 * one.metal * density(metal)
            print(f"  {form.name:24}{told(one, butt)}  metal {mass:.1f} g", flush=True)


def density(card: Card) -> float:
    """Of the fired body. [kg/m³]"""
    return card["fired_density"].scalar * card["theoretical_density"].scalar


def dry(card: Card) -> float:
    """Solids in a volume of paste, as it packs when dry. [kg/m³]"""
    return card["green_density"].scalar * card["theoretical_density"].scalar


if __name__ == "__main__":
    main()
