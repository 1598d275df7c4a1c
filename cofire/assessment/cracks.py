"""Which cracks a fired vessel's stress could start, and which would run through the wall.

Stress and energy together (`cofire.physics.fracture`): a load state is what the firing left on a
plane before it cracked, flow and yield included, and unloading is elastic with the moduli of the
cold wall. Looked at is each brittle zone once it has sintered: ring cracks where its tension along
the meridian peaks, cracks along sharp joints and beside them, and cracks in the meridian plane
from the ends of the zone. Blends in which metal runs through are left out: metal bridges what
opens there.

On a solid every plane is condensed (`cofire.mechanics.crack_planes`); on a shell, which knows no
traction on a joint, ring cracks go by the strip with the shell's restraint, and joints are not
looked at. Not looked at by either: kinking, friction in the energy, floors; of a wall on a floor
half a wall of it is taken to stand held below the lowest station, by which a deep crack close above
the floor frees up to a quarter too little, a short one what it should. A rod or disc is a
solid whose inside is its axis: its level cracks are round, from the rim or the axis, and what
crosses its layers is `layer_cracks`', as are tiles and sleeves whole.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from operator import attrgetter

import numpy as np
from numpy.typing import NDArray

from cofire.assessment.layer_cracks import (
    Body,
    Joint,
    across_layer,
    sleeve_limits,
    spread,
    tile_limits,
)
from cofire.assessment.response import Response
from cofire.assessment.rule import joint_name
from cofire.errors import CofireError
from cofire.materials.card import Card
from cofire.materials.pairs import joint_resistance
from cofire.mechanics.crack_planes import BESIDE, Bond, CrackPath, Wall, crack_planes, plane_paths
from cofire.mechanics.layer_firing import LayerFiring
from cofire.mechanics.solid_firing import SolidFiring
from cofire.mechanics.solid_reading import Lines, joint_traction
from cofire.mechanics.tile import Tile
from cofire.numerics import Array
from cofire.physics.fracture import MODE_SENSITIVITY, CrackLimit, axial_limits, ring_limits
from cofire.physics.mixing import OVERLAPPING_SPHERES

SINTERED = 0.9
"""Share of its densification after which a zone counts as sintered. [-]"""
IDLE = 0.2
"""Share of the strength below which a tension is not followed: its crack could start at no less
than five times the load. [-]"""
PLANES = 4
"""Most places of a vessel at which ring cracks are followed; the largest tensions. [-]"""
APART = 0.25
"""Least distance between them, in walls. [-]"""
SHARP = 0.15
"""Difference in metal share from which a step is a joint of its own; below it is a grade. [-]"""
OFF_STEP = 0.08
"""Nearer than this to a step, in walls, stress is the corner's and not the plane's. [-]"""
STEEPEST = np.radians(45.0)
"""Lean beyond which a wall has no level planes. [rad]"""
CONTACT = 3.0
"""Load factor up to which faces that press are worked out. [-]"""
LIKE = 3.0
"""Ratio of moduli up to which the body beyond a joint counts for an axial crack. [-]"""


@dataclass(frozen=True)
class Crack:
    """One crack that stress and energy allow.

    Attributes
    ----------
    kind
        "ring", "joint" or "axial" of a wall; "round" of a rod; those of `LayerLimit` of layers.
    zone
        Material, or both of a joint.
    surface, through
        Share of the load at which it starts at a face, and at which it has run through. [-]
    low, high
        Between which `through` lies for the uncertainty of the joint's toughness; equal where a
        body's own counts. [-]
    depth
        How deep the first one goes; the wall where it runs through. [m]
    tension
        Largest on its path. [Pa]
    height
        [m]
    face
        "inside", "outside" or "end"; "axis" or "rim" of a rod; "edge" of layers.
    moment
        Index of the time.
    """

    kind: str
    zone: str
    surface: float
    through: float
    low: float
    high: float
    depth: float
    tension: float
    height: float
    face: str
    moment: int


def cracks(response: Response) -> list[Crack]:
    """Worst cracks of each kind in each brittle zone and joint, see `worst_cracks`.

    Parameters
    ----------
    response : Response
        From `fire_vessel` or `as_solid`.

    Returns
    -------
    list of Crack
        Worked out once a response.
    """
    known = response.memo.get("cracks")
    if not isinstance(known, tuple):
        fired: object = response.fired
        known = (
            _of_layers(response, fired)
            if isinstance(fired, LayerFiring)
            else _Search(response).found()
        )
        response.memo["cracks"] = known
    return list(known)


def brittle(card: Card) -> bool:
    """Whether a zone cracks as its ceramic does: no metal runs through it.

    Parameters
    ----------
    card : Card
        Of the zone.
    """
    return card.ceramic is not None and card.metal_share < OVERLAPPING_SPHERES


def toughness_of(card: Card) -> float:
    """Energy to crack a brittle zone, that of its ceramic, K²/E. [J/m²]

    Parameters
    ----------
    card : Card
        With a ceramic in it.
    """
    ceramic = card.ceramic
    assert ceramic is not None
    return ceramic["fracture_toughness"].scalar ** 2 / float(ceramic["young_modulus"].value[0])


def bodies_of(response: Response, moment: int) -> list[Body]:
    """What each band is made of for a crack at one time, by its cold moduli.

    Parameters
    ----------
    response : Response
        Fired.
    moment : int
        Index of the time.
    """
    history = response.history
    strength = response.at_times(history.strength)
    found = []
    for card, row in zip(response.cards, response.material, strict=True):
        elastic = float(history.young_modulus[row, -1]), float(history.poisson_ratio[row])
        if not brittle(card) or response.progress[row, moment] < SINTERED:
            found.append(Body(*elastic))
            continue
        found.append(Body(*elastic, float(strength[row, moment]), toughness_of(card)))
    return found


def spreads(response: Response, band: int) -> Array | None:
    """Share of its toughness that any flaw across a layer could find, (T,); None of a wall. [-]

    A wall is thick enough that this bounds nothing.

    Parameters
    ----------
    response : Response
        Fired.
    band : int
        Brittle, from the lowest.
    """
    fired: object = response.fired
    card = response.cards[band]
    if not isinstance(fired, LayerFiring) or card.ceramic is None:
        return None
    row, history = response.material[band], response.history
    elastic = float(history.young_modulus[row, -1]), float(history.poisson_ratio[row])
    return spread(fired, band, Body(*elastic, toughness=toughness_of(card)))


def _of_layers(response: Response, fired: LayerFiring) -> tuple[Crack, ...]:
    """The worst cracks of each kind in each layer and joint of a tile or sleeve."""
    cards = response.cards
    if not any(brittle(card) for card in cards):
        return ()
    resistance = [joint_resistance(one, other) for one, other in pairwise(cards)]
    joints = [Joint(r.toughness, r.shear_strength) for r in resistance]
    own = np.isin(fired.band, [k for k, card in enumerate(cards) if brittle(card)])
    inside = fired.total[:, own].reshape(fired.time.size, -1)
    moments = {fired.time.size - 1, int(np.argmax(inside.max(1))), int(np.argmin(inside.min(1)))}
    found: list[Crack] = []
    for moment in sorted(moments):
        bodies = bodies_of(response, moment)
        stress = fired.own.stress[moment]
        layers = fired.layers
        limits = (
            tile_limits(layers, stress, bodies, joints)
            if isinstance(layers, Tile)
            else sleeve_limits(layers, stress, bodies, joints)
        )
        for limit in limits:
            name, unsure = cards[limit.layer].name, 1.0
            if limit.kind == "peel":
                name = joint_name(name, cards[limit.layer + 1].name)
                unsure = float(np.sqrt(resistance[limit.layer].toughness_factor))
            found.append(
                Crack(
                    limit.kind, name, limit.surface, limit.through, limit.through / unsure,
                    limit.through * unsure, limit.depth, limit.tension, 0.0, "edge", moment,
                )
            )  # fmt: skip
    return worst_cracks(found)


def worst_cracks(found: Iterable[Crack]) -> tuple[Crack, ...]:
    """Of each kind in each zone the crack that starts first, and the one that runs through first.

    Parameters
    ----------
    found : iterable of Crack
        In any order.

    Returns
    -------
    tuple of Crack
        One of a kind and zone where the same crack does both.
    """
    alike: dict[tuple[str, str], list[Crack]] = {}
    for crack in found:
        alike.setdefault((crack.kind, crack.zone), []).append(crack)
    worst = []
    for group in alike.values():
        first, through = (max(group, key=attrgetter(name)) for name in ("surface", "through"))
        worst += [first] if first is through else [first, through]
    return tuple(worst)


class _Search:
    """One response looked through."""

    def __init__(self, response: Response) -> None:
        self.response, self.fired = response, response.fired
        fired = self.fired
        self.bands = [k for k, card in enumerate(response.cards) if brittle(card)]
        rows = list(response.material)
        self.dense = response.progress[rows] >= SINTERED  # (bands, T)
        self.strength = response.at_times(response.history.strength)[rows]
        self.young = response.history.young_modulus[rows, -1]
        self.poisson = np.asarray(response.history.poisson_ratio)[rows]
        upright = ~fired.lying & (np.abs(fired.slope) < STEEPEST)
        order = np.flatnonzero(upright)
        order = order[np.argsort(fired.height[order], kind="stable")]
        rises = np.diff(fired.height[order], prepend=-np.inf) > 1e-9
        self.order: NDArray[np.intp] = order[rises]
        self.height = fired.height[self.order]
        self.steps = np.asarray(fired.step_height)
        wall, lean = fired.wall[self.order], np.cos(fired.slope[self.order])
        self.rod = bool(np.all(wall >= (2.0 - 1e-9) * fired.radius[self.order] * lean))

    def _scale(self, band: int) -> float:
        """What places beside a joint are counted in: the wall, of a rod at most its layer. [m]"""
        fired = self.fired
        here = fired.band[self.order] == band
        wall = float(fired.wall[self.order][here].max())
        ends = np.concatenate([self.height[:1], self.steps, self.height[-1:]])
        return min(wall, float(ends[band + 1] - ends[band])) if self.rod else wall

    def found(self) -> tuple[Crack, ...]:
        """Those of `worst_cracks`."""
        if not self.bands or self.order.size < 4:
            return ()
        use = self._use()
        self.moments = self._moments(use)
        if not self.moments:
            return ()
        every = [*self._rings(use), *(self._across() if self.rod else self._axial())]
        return worst_cracks(every)

    def _use(self) -> Array:
        """Share of the strength that tension along the meridian uses at a face, (T, K), ordered."""
        fired = self.fired
        faces = fired.total[:, self.order][:, :, [0, -1], 0].max(axis=2)
        found = np.zeros(faces.shape)
        band = fired.band[self.order]
        for k in self.bands:
            here = band == k
            share = np.maximum(faces[:, here], 0.0) / self.strength[k][:, None]
            found[:, here] = np.where(self.dense[k][:, None], share, 0.0)
        return found

    def _moments(self, use: Array) -> list[int]:
        """Load states: cold, and the worst moments of ring and hoop tension of the whole."""
        last = self.fired.time.size - 1
        alive = np.flatnonzero(np.any(self.dense[self.bands], axis=0))
        if alive.size == 0:
            return []
        found = {int(np.argmax(use.max(axis=1)))}
        if self.dense[self.bands, last].any():
            found.add(last)
        hoop = self.fired.total[:, self.order][..., 1].mean(axis=2)
        band = self.fired.band[self.order]
        inside = np.isin(band, self.bands)
        pulled = np.where(
            self.dense[band[inside]].T, hoop[:, inside] / self.strength[band[inside]].T, 0.0
        )
        if pulled.size:
            found.add(int(np.argmax(pulled.max(axis=1))))
        return sorted(m for m in found if m in set(alive.tolist()))

    # ---- ring cracks and joints

    def _free(self) -> tuple[NDArray[np.bool_], Array]:
        """Stations off steps and ends, and what distances are counted in at each. [m]"""
        wall = self.fired.wall[self.order]
        if self.rod:
            wall = np.array([self._scale(int(k)) for k in self.fired.band[self.order]])
        near = np.abs(self.height[:, None] - self.steps).min(axis=1, initial=np.inf)
        ends = np.minimum(self.height - self.height[0], self.height[-1] - self.height)
        return (near > OFF_STEP * wall) & (ends > 0.05 * wall), wall

    def _places(self, use: Array) -> list[int]:
        """Stations, in order, where ring cracks are followed: the largest tensions, apart."""
        most = use[self.moments].max(axis=0)
        free, wall = self._free()
        chosen: list[int] = []
        for k in np.argsort(-np.where(free, most, 0.0), kind="stable"):
            if len(chosen) == PLANES or not free[k] or most[k] < IDLE:
                break
            if all(abs(self.height[k] - self.height[c]) > APART * wall[k] for c in chosen):
                chosen.append(int(k))
        return chosen

    def _rings(self, use: Array) -> list[Crack]:
        places = self._places(use)
        if self.fired.structure == "solid":
            return self._planes(places, use)
        found = []
        for k in places:
            g = int(self.order[k])
            band = int(self.fired.band[g])
            card = self.response.cards[band]
            for moment in self.moments:
                if not self.dense[band, moment]:
                    continue
                stress = self.fired.total[moment, g, :, 0]
                inner, outer = ring_limits(
                    self.fired.through,
                    stress,
                    wall=float(self.fired.wall[g]),
                    radius=float(self.fired.radius[g]),
                    young=float(self.young[band]),
                    poisson=float(self.poisson[band]),
                    strength=float(self.strength[band, moment]),
                    toughness=toughness_of(card),
                )
                for limit, face in ((inner, "inside"), (outer, "outside")):
                    found.append(
                        _crack("ring", card.name, limit, stress.max(), self.height[k], face, moment)
                    )
        return found or self._idle(use)

    def _idle(self, use: Array) -> list[Crack]:
        """What stress alone says where it is too low to be followed, off the steps' corners."""
        free, _ = self._free()
        most = np.where(free, use[self.moments].max(axis=0), 0.0)
        k = int(np.argmax(most))
        g = int(self.order[k])
        moment = self.moments[int(np.argmax(use[self.moments, k]))]
        tension = float(self.fired.total[moment, g, :, 0].max())
        name = self.response.cards[int(self.fired.band[g])].name
        share = float(most[k])
        return [
            Crack(
                "ring", name, share, share, share, share, float(self.fired.wall[g]), tension,
                float(self.height[k]), "outside", moment,
            )
        ]  # fmt: skip

    def _joints(self) -> list[int]:
        """Steps that are joints of their own, with a brittle side and both sides upright."""
        cards = self.response.cards
        low, high = self.height[0], self.height[-1]
        return [
            s
            for s, (one, other) in enumerate(pairwise(cards))
            if abs(one.metal_share - other.metal_share) >= SHARP
            and (brittle(one) or brittle(other))
            and low < self.steps[s] < high
        ]

    def _planes(self, places: list[int], use: Array) -> list[Crack]:
        """Condensed planes at the largest tensions, at sharp joints and beside them."""
        joints = self._joints()
        heights = [float(self.height[k]) for k in places]
        for s in joints:
            z = float(self.steps[s])
            wall = float(np.interp(z, self.height, self.fired.wall[self.order]))
            sides = (self.response.cards[s], self.response.cards[s + 1])
            heights.append(z)
            for sign, card, band in zip((-1.0, 1.0), sides, (s, s + 1), strict=True):
                if self.rod:
                    wall = self._scale(band)
                heights += [z + sign * d * wall for d in BESIDE if brittle(card)]
        if not heights:
            return self._idle(use)
        solid_wall = self._wall()
        thick = float(self.fired.wall.max())
        room = 0.03 * thick
        if self.rod:
            room = 0.012 * thick  # no nearer than `crack_planes` allows
            thick = min(self._scale(k) for k in range(len(self.response.cards)))
        inside = [
            z for z in sorted(set(heights))
            if solid_wall.edges[0] + 0.1 * thick < z < solid_wall.edges[-1] - 0.1 * thick
        ]  # fmt: skip
        level: list[float] = []
        exact = {float(self.steps[s]) for s in joints}
        for z in inside:  # joints stay, others keep away from them and from each other
            if z in exact or all(abs(z - o) > room for o in (*level, *exact)):
                level.append(z)
        if not level:
            return self._idle(use)
        try:
            planes = crack_planes(solid_wall, np.array(level))
        except CofireError:  # a wall that no level plane can cut
            return self._idle(use)
        found: list[Crack] = []
        sharp = np.array(sorted(exact))
        for moment in self.moments:
            bonds = [self._bond(plane.height, moment, exact) for plane in planes]
            forces = [plane.forces(*self._tractions(plane.height, moment)) for plane in planes]
            for plane, force, bond in zip(planes, forces, bonds, strict=True):
                if bond is None:
                    continue
                normal, _ = plane.stress(force)
                resistance = self._resistance(plane.height, exact)
                scales = [] if resistance is None else [resistance, 1.0 / resistance]
                others = [replace(bond, toughness=bond.toughness * scale) for scale in scales]
                own, *unsure = plane_paths(plane, force, [bond, *others], sharp, CONTACT)
                cracks = [self._of_path(path, float(normal.max()), moment) for path in own]
                if unsure:
                    shares = [[_share(path.limit.through) for path in paths] for paths in unsure]
                    cracks = [
                        replace(crack, low=min(both), high=max(both))
                        for crack, both in zip(cracks, zip(*shares, strict=True), strict=True)
                    ]
                found += cracks
        return found or self._idle(use)

    def _of_path(self, path: CrackPath, tension: float, moment: int) -> Crack:
        cards = self.response.cards
        band = int(np.searchsorted(self.steps, path.height))
        zone = cards[band].name
        if path.kind == "joint":
            s = int(np.argmin(np.abs(self.steps - path.height)))
            zone = joint_name(cards[s].name, cards[s + 1].name)
        face = "inside" if path.face == "inner" else "outside"
        kind = path.kind
        if self.rod:
            face = "axis" if path.face == "inner" else "rim"
            kind = "round" if kind == "ring" else kind
        return _crack(kind, zone, path.limit, tension, path.height, face, moment)

    def _bond(self, height: float, moment: int, joints: set[float]) -> Bond | None:
        """What a plane resists with, or None where it cannot crack or has not sintered."""
        cards = self.response.cards
        if height in joints:
            s = int(np.argmin(np.abs(self.steps - height)))
            sides = [k for k in (s, s + 1) if brittle(cards[k])]
            if not self.dense[[s, s + 1], moment].all():
                return None
            resistance = joint_resistance(cards[s], cards[s + 1])
            return Bond(
                strength=float(min(self.strength[k, moment] for k in sides)),
                toughness=resistance.toughness,
                shear_strength=resistance.shear_strength,
                sensitivity=MODE_SENSITIVITY,
            )
        band = int(np.searchsorted(self.steps, height))
        if not brittle(cards[band]) or not self.dense[band, moment]:
            return None
        return Bond(float(self.strength[band, moment]), toughness_of(cards[band]))

    def _resistance(self, height: float, joints: set[float]) -> float | None:
        """Factor by which a joint's toughness is uncertain; None for a body's own plane."""
        if height not in joints:
            return None
        s = int(np.argmin(np.abs(self.steps - height)))
        below, above = self.response.cards[s : s + 2]
        return float(joint_resistance(below, above).toughness_factor)

    def _wall(self) -> Wall:
        fired = self._solid
        low, high = float(self.height[0]), float(self.height[-1])
        ends = [z for z in self.steps if low < z < high]
        first = int(fired.band[self.order[0]])
        rows = range(first, first + len(ends) + 1)
        vessel = self.response.vessel
        low = max(float(vessel.height.min()), low - 0.5 * float(fired.wall.max()))
        inner, outer = (self._face(face) for face in (0, -1))
        return Wall(
            self.height,
            0.5 * (outer + inner),
            outer - inner,
            np.array([min(low, self.height[0]), *ends, float(vessel.height.max())]),
            self.young[list(rows)],
            self.poisson[list(rows)],
            held=bool(fired.lying.any()),
        )

    @property
    def _solid(self) -> SolidFiring:
        """What was fired, where it was a solid."""
        fired: object = self.fired
        assert isinstance(fired, SolidFiring)
        return fired

    @cached_property
    def _lines(self) -> Lines:
        """Lines of points along the wall, at whose stations stress is known."""
        return Lines.of(self._solid.mesh, sliding=False)

    def _face(self, line: int) -> Array:
        """Radius of a face at the heights of the stations: level, whatever the wall's lean. [m]"""
        radius, height = (
            v.reshape(-1, v.shape[-1])[self.order, line]
            for v in (self._lines.radius, self._lines.height)
        )
        rising = np.argsort(height, kind="stable")
        return np.asarray(np.interp(self.height, height[rising], radius[rising]))

    def _tractions(self, height: float, moment: int) -> tuple[Array, Array, Array]:
        """Places across a level plane, from -1 to 1, and zz and rz there. [-], [Pa], [Pa]

        On a joint by the forces that one side has on the other: beside it, on a free face, there is
        no shear, which at the edge of the joint is largest. Elsewhere by what each line of points
        has at this height, read along it.
        """
        fired = self._solid
        steps = np.abs(self.steps - height)
        if steps.size and steps.min() < 1e-9:
            step = int(np.argmin(steps))
            force = fired.parting.forces[step][moment]
            place, traction = joint_traction(fired.parting.body, step, force)
            return place, traction[:, 1], traction[:, 0]
        lines, order = self._lines, self.order
        radius, at, s, c = (
            v.reshape(-1, v.shape[-1])[order]
            for v in (lines.radius, lines.height, lines.along_r, lines.along_z)
        )
        along, across, shear = (fired.tensor[moment, k][order] for k in (0, 2, 3))  # (K, P)
        zz = along * c * c + across * s * s - 2.0 * shear * s * c
        rz = (along - across) * s * c + shear * (c * c - s * s)
        found = np.empty((3, at.shape[1]))
        for p in range(at.shape[1]):
            rising = np.argsort(at[:, p], kind="stable")
            for n, field in enumerate((radius, zz, rz)):
                found[n, p] = np.interp(height, at[rising, p], field[rising, p])
        r = found[0]
        return 2.0 * (r - r[0]) / (r[-1] - r[0]) - 1.0, found[1], found[2]

    # ---- cracks in the meridian plane

    def _across(self) -> list[Crack]:
        """Across the layers of a rod or disc, by the hoop stress beside its axis."""
        fired, cards = self.fired, self.response.cards
        band = fired.band[self.order]
        ends = np.concatenate([self.height[:1], self.steps, self.height[-1:]])
        radius = float(fired.wall[self.order].max())
        found = []
        for moment in self.moments:
            bodies = bodies_of(self.response, moment)
            for k in self.bands:
                here = self.order[band == k]
                thick = float(ends[k + 1] - ends[k])
                if not bodies[k].brittle or here.size < 3 or thick > 2.0 * radius:
                    continue  # a tall layer bends nowhere: its cracks are round
                z = np.concatenate([[ends[k]], fired.height[here], [ends[k + 1]]])
                hoop = fired.total[moment, here, 1, 1]
                stress = np.concatenate([hoop[:1], hoop, hoop[-1:]])
                bare = [s for s, face in ((1.0, 0), (-1.0, len(cards) - 1)) if k == face]
                rising = np.concatenate([[True], np.diff(z) > 1e-12])
                for limit in across_layer(
                    k, z[rising], stress[rising], thick, bodies[k], bare, float(ends[-1] - ends[0])
                ):
                    found.append(
                        Crack(
                            limit.kind, cards[k].name, limit.surface, limit.through, limit.through,
                            limit.through, limit.depth, limit.tension, float(z[0]), "axis", moment,
                        )
                    )  # fmt: skip
        return found

    def _axial(self) -> list[Crack]:
        """From each end of every run of brittle bands into it."""
        found: list[Crack] = []
        band = self.fired.band[self.order]
        cards = self.response.cards
        start = 0
        while start < band.size:
            stop = start
            own = brittle(cards[band[start]])
            while stop < band.size and brittle(cards[band[stop]]) == own:
                stop += 1
            if own:
                for edge, step, beyond in (
                    (start, 1, start - 1), (stop - 1, -1, stop),
                ):  # fmt: skip
                    found += self._from_edge(edge, step, beyond, start, stop)
            start = stop
        return found

    def _from_edge(self, edge: int, step: int, beyond: int, start: int, stop: int) -> list[Crack]:
        fired = self.fired
        if not 0 <= beyond < self.order.size and step == 1 and fired.lying.any():
            return []  # a floor holds this end
        g = int(self.order[edge])
        band = int(fired.band[g])
        card = self.response.cards[band]
        wall, radius = float(fired.wall[g]), float(fired.radius[g])
        run = self.order[start:stop] if step == 1 else self.order[start:stop][::-1]
        y = np.abs(fired.height[run] - fired.height[g])
        reach = min(float(y[-1]), 1.5 * float(np.sqrt(radius * wall)))
        if run.size < 3 or reach < wall:
            return []
        grid = np.linspace(0.0, reach, 24)
        other = 0.0
        if 0 <= beyond < self.order.size:
            ratio = self.young[int(fired.band[self.order[beyond]])] / self.young[band]
            other = float(self.young[band] * np.clip(ratio, 1.0 / LIKE, LIKE))
        found = []
        for moment in self.moments:
            if not self.dense[band, moment]:
                continue
            hoop = fired.total[moment, run, :, 1]
            field = np.stack([np.interp(grid, y, hoop[:, p]) for p in range(hoop.shape[1])], axis=1)
            if field.max() < IDLE * self.strength[band, moment]:
                continue
            limits = axial_limits(
                grid,
                fired.through,
                field,
                wall=wall,
                radius=radius,
                young=float(self.young[band]),
                poisson=float(self.poisson[band]),
                strength=float(self.strength[band, moment]),
                toughness=toughness_of(card),
                beyond=other,
            )
            whole = CrackLimit(limits.start, np.asarray(0.0), np.asarray(wall), limits.through)
            found.append(
                _crack("axial", card.name, whole, field.max(), fired.height[g], "end", moment)
            )
        return found


def _share(factor: Array) -> float:
    """Share of the load: one over its factor, nothing where it never comes. [-]"""
    value = float(np.min(factor))
    return 1.0 / value if np.isfinite(value) and value > 0.0 else 0.0


def _crack(
    kind: str, zone: str, limit: CrackLimit, tension: float, height: float, face: str, moment: int
) -> Crack:  # fmt: skip
    through = _share(limit.through)
    return Crack(
        kind, zone, _share(limit.start), through, through, through,
        float(np.max(limit.arrest_length)), float(tension), float(height), face, moment,
    )  # fmt: skip
