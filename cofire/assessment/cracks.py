"""Which cracks a fired vessel's stress could start, and which would run through the wall.

Stress and energy together (`cofire.physics.fracture`): a load state is what the firing left on a
plane before it cracked, flow and yield included, and unloading is elastic with the moduli of the
cold wall. Looked at is each brittle zone once it has sintered: ring cracks square to the wall where
its tension along the meridian peaks, cracks along sharp joints, level as bands are laid, and ring
cracks beside them, and cracks in the meridian plane from the ends of the zone. Each is asked at
the moments when what pulls on it comes near its most. Blends in which metal runs through are left
out: metal bridges what opens there.

On a solid every plane is condensed (`cofire.mechanics.crack_planes`); on a shell, which knows no
traction on a joint, and where a wall lies nearly flat, ring cracks go by the strip with the
shell's restraint, and joints are not looked at. Not looked at by either: kinking, friction in the
energy, floors; of a wall on a floor half a wall of it is taken to stand held below the lowest
station, by which a deep crack close above the floor frees up to a quarter too little, a short one
what it should. A rod or disc is a solid whose inside is its axis: its level cracks are round, from
the rim or the axis, and what crosses its layers is `layer_cracks`', as are tiles and sleeves whole.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import chain, pairwise
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
from cofire.mechanics.crack_planes import (
    BESIDE,
    Bond,
    CrackPath,
    CrackPlane,
    Wall,
    crack_planes,
    plane_paths,
)
from cofire.mechanics.layer_firing import LayerFiring
from cofire.mechanics.meridian import STEEPEST_LEAN
from cofire.mechanics.solid_firing import SolidFiring
from cofire.mechanics.solid_reading import Lines, joint_traction
from cofire.mechanics.tile import Tile
from cofire.numerics import Array
from cofire.physics.fracture import (
    MODE_SENSITIVITY,
    CrackLimit,
    axial_limits,
    ring_limits,
    strength_use,
)
from cofire.physics.mixing import OVERLAPPING_SPHERES

SINTERED = 0.9
"""Share of its densification after which a zone counts as sintered. [-]"""
IDLE = 0.2
"""Share of the strength below which a tension is not followed: its crack could start at no less
than five times the load. [-]"""
APART = 0.5
"""A peak of tension has none larger within so many walls. [-]"""
SHARED = 0.25
"""Distance, in walls, up to which two ring cracks are held by the same stiffness. [-]"""
TURNED = 0.05
"""Difference of slant up to which they are. [rad]"""
NEAR_MOST = 0.8
"""Share of the most that pulls on a crack from which a moment is asked. [-]"""
MOMENTS = 6
"""Most moments that a crack is asked at, even over those near the most."""
SHARP = 0.15
"""Difference in metal share from which a step is a joint of its own; below it is a grade. [-]"""
OFF_STEP = 0.08
"""Nearer than this to a step, in walls, stress is the corner's and not the plane's. [-]"""
STEEPEST = np.radians(75.0)
"""Lean beyond which a wall is judged by the strip: its rows would have no height. [rad]"""
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
        self.total = fired.total  # a shell's is worked out each time
        self.bands = [k for k, card in enumerate(response.cards) if brittle(card)]
        rows = list(response.material)
        self.dense = response.progress[rows] >= SINTERED  # (bands, T)
        self.strength = response.at_times(response.history.strength)[rows]
        self.young = response.history.young_modulus[rows, -1]
        self.poisson = np.asarray(response.history.poisson_ratio)[rows]
        order = np.flatnonzero(~fired.lying)
        order = order[np.argsort(fired.height[order], kind="stable")]
        rises = np.diff(fired.height[order], prepend=-np.inf) > 1e-9
        self.order: NDArray[np.intp] = order[rises]
        self.height = fired.height[self.order]
        self.along = fired.arc_length[self.order]
        self.ring = fired.radius / np.cos(fired.slope)  # of curvature, whatever the lean
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
        if not self.dense[self.bands].any():
            return ()
        use = self._use()
        every = [*self._rings(use), *(self._across() if self.rod else self._axial())]
        return worst_cracks(every)

    def _use(self) -> Array:
        """Share of the strength that tension along the meridian uses at both faces, (T, K, 2)."""
        fired = self.fired
        faces = self.total[:, self.order][:, :, [0, -1], 0]
        found = np.zeros(faces.shape)
        band = fired.band[self.order]
        for k in self.bands:
            here = band == k
            share = np.maximum(faces[:, here], 0.0) / self.strength[k][:, None, None]
            found[:, here] = np.where(self.dense[k][:, None, None], share, 0.0)
        return found

    def _asked(self, use: Array, bands: list[int]) -> NDArray[np.intp]:
        """Moments at which the bands have sintered and what pulls comes near its most.

        `use` is a share of the strength, (T,); the most itself is among them.
        """
        able = np.flatnonzero(self.dense[bands].all(axis=0))
        if able.size == 0:
            return able
        most = able[np.argmax(use[able])]
        near = able[use[able] >= NEAR_MOST * use[most]]
        even = np.linspace(0, near.size - 1, min(MOMENTS, near.size)).round().astype(np.intp)
        return np.union1d(near[even], most)

    # ---- ring cracks and joints

    def _free(self) -> tuple[NDArray[np.bool_], Array]:
        """Stations off steps and ends, and what distances are counted in at each. [m]"""
        wall = self.fired.wall[self.order]
        if self.rod:
            wall = np.array([self._scale(int(k)) for k in self.fired.band[self.order]])
        steps = np.interp(self.steps, self.height, self.along)
        off = np.full(steps.size, OFF_STEP)
        if self.fired.structure == "solid":
            off[self._joints()] = BESIDE[-1]  # nearer to them planes are set anyway
        near = np.abs(self.along[:, None] - steps) <= off * wall[:, None]
        ends = np.minimum(self.along - self.along[0], self.along[-1] - self.along)
        return ~near.any(axis=1) & (ends > 0.05 * wall), wall

    def _places(self, use: Array) -> list[int]:
        """Stations where ring cracks are followed, at most three a band.

        Where tension at either face is largest, and where it is of those peaks that lie off the
        band's ends, such as a crest of bending.
        """
        faces = use.max(axis=0)
        free, wall = self._free()
        band = self.fired.band[self.order]
        chosen: set[int] = set()
        for k in self.bands:
            own = np.flatnonzero(free & (band == k) & (faces.max(axis=1) >= IDLE))
            if own.size == 0:
                continue
            most = faces[own].max(axis=1)
            near = np.abs(self.along[own, None] - self.along[own]) < APART * wall[own, None]
            peak = most >= np.where(near, most, 0.0).max(axis=1)
            inside = np.flatnonzero(peak & ~near[:, 0] & ~near[:, -1])
            worst = [
                n for f, n in enumerate(np.argmax(faces[own], axis=0)) if faces[own[n], f] >= IDLE
            ]
            chosen.update(own[[*worst, *inside[np.argsort(-most[inside])[:1]]]].tolist())
        return sorted(chosen)

    def _rings(self, use: Array) -> list[Crack]:
        places = self._places(use)
        if self.fired.structure == "solid":
            return self._planes(places, use)
        return self._strips(places, use) or self._idle(use)

    def _strips(self, places: list[int], use: Array) -> list[Crack]:
        """Ring cracks as of a long wall, alike all along."""
        found = []
        for k in places:
            g = int(self.order[k])
            band = int(self.fired.band[g])
            card = self.response.cards[band]
            moments = self._asked(use[:, k].max(axis=1), [band])
            stress = self.total[moments, g, :, 0]
            both = ring_limits(
                self.fired.through,
                stress,
                wall=float(self.fired.wall[g]),
                radius=float(self.ring[g]),
                young=float(self.young[band]),
                poisson=float(self.poisson[band]),
                strength=self.strength[band, moments],
                toughness=toughness_of(card),
            )
            for limit, face in zip(both, ("inside", "outside"), strict=True):
                found += _by_moment("ring", card.name, limit, stress, self.height[k], face, moments)
        return found

    def _idle(self, use: Array) -> list[Crack]:
        """What stress alone says where it is too low to be followed, off the steps' corners."""
        free, _ = self._free()
        most = np.where(free, use.max(axis=(0, 2)), 0.0)
        k = int(np.argmax(most))
        g = int(self.order[k])
        moment = int(np.argmax(use[:, k].max(axis=1)))
        tension = float(self.total[moment, g, :, 0].max())
        name = self.response.cards[int(self.fired.band[g])].name
        share = float(most[k])
        return [
            Crack(
                "ring", name, share, share, share, share, float(self.fired.wall[g]), tension,
                float(self.height[k]), "outside", moment,
            )
        ]  # fmt: skip

    def _joints(self) -> list[int]:
        """Steps that are joints of their own, with a brittle side: little is alike across them."""
        cards = self.response.cards
        low, high = self.height[0], self.height[-1]
        return [
            s
            for s, (one, other) in enumerate(pairwise(cards))
            if (abs(one.metal_share - other.metal_share) >= SHARP or _of_two_ceramics(one, other))
            and (brittle(one) or brittle(other))
            and low < self.steps[s] < high
        ]

    def _planes(self, places: list[int], use: Array) -> list[Crack]:
        """Condensed planes at the largest tensions, at sharp joints and beside them."""
        steep = [k for k in places if k not in self._rising]
        found = self._strips(steep, use)
        if self._rising.size < 4:
            return found or self._idle(use)
        joints = [float(self.steps[s]) for s in self._joints()]
        thick = float(self.fired.wall.max())
        if self.rod:
            thick = min(self._scale(k) for k in range(len(self.response.cards)))
        try:
            wall = self._wall
            low, high = wall.edges[0] + 0.1 * thick, wall.edges[-1] - 0.1 * thick
            condensed = [z for z in joints if low < z < high]
            for z in sorted(chain(*self._beside)):  # joints stay, others keep away from them
                if low < z < high and all(abs(z - o) > self._room for o in condensed):
                    condensed.append(z)
            rings = [float(self.height[k]) for k in places if k not in steep]
            rings = [z for z in rings if low < z < high]
            for z in rings:
                if self._like(z, condensed, joints) is None:
                    condensed.append(z)
            if not condensed:
                return found or self._idle(use)
            planes = dict(
                zip(sorted(condensed), crack_planes(wall, np.array(condensed)), strict=True)
            )
        except CofireError:  # a wall that no plane can cut
            return self._strips(places, use) or self._idle(use)
        for z in sorted({*condensed, *rings}):
            like = z if z in planes else self._like(z, condensed, joints)
            assert like is not None
            found += self._on_plane(z, planes[like], joints)
        return found or self._idle(use)

    @cached_property
    def _beside(self) -> list[list[float]]:
        """Heights of the ring cracks beside joints: nearest to farthest, of all brittle sides.

        The nearest is level, as the joint is. Of the others, square to the wall, it is the nearer
        end that is so far from the joint.
        """
        cards, fired = self.response.cards, self.fired
        ends = [float(self.height[0]), *self.steps.tolist(), float(self.height[-1])]
        found: list[list[float]] = [[] for _ in BESIDE]
        for s in self._joints():
            z = float(self.steps[s])
            thickness, lean = (
                float(np.interp(z, self.height, v[self.order])) for v in (fired.wall, fired.slope)
            )
            for sign, band in ((-1.0, s), (1.0, s + 1)):
                if not brittle(cards[band]):
                    continue
                unit = self._scale(band) if self.rod else thickness * float(np.cos(lean))
                room = 0.5 * (ends[band + 1] - ends[band])
                for n, away in enumerate(BESIDE):
                    drop = 0.5 * thickness * abs(float(np.sin(lean))) if n else 0.0
                    drop = min(drop, max(room - away * unit, 0.0))
                    found[n].append(z + sign * (away * unit + drop))
        return found

    def _like(self, height: float, condensed: list[float], joints: list[float]) -> float | None:
        """The nearest plane whose stiffness does for a ring crack at a height, if any."""
        others = np.array([z for z in condensed if z not in joints])
        apart = np.abs(others - height)
        slant = self._wall.cut(np.append(others, height))[0]
        reach = SHARED * float(self._wall.at(np.array(height))[1])
        near = (apart <= reach) & (np.abs(slant[:-1] - slant[-1]) <= TURNED)
        near |= apart <= self._room
        for joint in joints:
            near &= (others < joint) == (height < joint)
        found = np.flatnonzero(near)
        return float(others[found[np.argmin(apart[found])]]) if found.size else None

    def _on_plane(self, height: float, plane: CrackPlane, joints: list[float]) -> list[Crack]:
        """Both ways of one joint or ring crack, at the moments when it comes soonest."""
        bands = self._bands_at(height, joints)
        bond = self._bond(bands)
        if bond is None:
            return []
        place, normal, shear = self._tractions(height)
        use = strength_use(
            normal, shear, np.asarray(bond.strength)[:, None], bond.shear_strength
        ).max(axis=1)
        moments = self._asked(use, bands)
        sharp = np.array(joints)
        if moments.size > 1:
            force = plane.forces(place, normal[moments], shear[moments])
            (quick,) = plane_paths(plane, force, [_at(bond, moments)], sharp, beyond=0.0)
            soon = [np.argmin(x) for p in quick for x in (p.limit.start, p.limit.through)]
            moments = moments[np.unique(soon)]
        if moments.size == 0:
            return []
        force = plane.forces(place, normal[moments], shear[moments])
        own = _at(bond, moments)
        scales = []
        if len(bands) > 1:
            below, above = self.response.cards[bands[0]], self.response.cards[bands[1]]
            factor = float(joint_resistance(below, above).toughness_factor)
            scales = [factor, 1.0 / factor]
        bonds = [own, *(replace(own, toughness=own.toughness * scale) for scale in scales)]
        paths, *unsure = plane_paths(plane, force, bonds, sharp, CONTACT)
        found = []
        for n, path in enumerate(paths):
            zone, kind, face = self._named(path, bands)
            cracks = _by_moment(kind, zone, path.limit, normal[moments], height, face, moments)
            for k, crack in enumerate(cracks):
                both = [_share(other[n].limit.through[k]) for other in unsure] or [crack.through]
                found.append(replace(crack, low=min(both), high=max(both)))
        return found

    def _named(self, path: CrackPath, bands: list[int]) -> tuple[str, str, str]:
        """Zone, kind and face of a path."""
        zone = (
            joint_name(*(self.response.cards[k].name for k in bands))
            if len(bands) > 1
            else (self.response.cards[bands[0]].name)
        )
        inner = path.face == "inner"
        if self.rod:
            kind = "round" if path.kind == "ring" else path.kind
            return zone, kind, "axis" if inner else "rim"
        return zone, path.kind, "inside" if inner else "outside"

    def _bands_at(self, height: float, joints: list[float]) -> list[int]:
        """Both bands of a joint, or the one that a ring crack is in."""
        if height in joints:
            s = int(np.argmin(np.abs(self.steps - height)))
            return [s, s + 1]
        return [int(np.searchsorted(self.steps, height))]

    def _bond(self, bands: list[int]) -> Bond | None:
        """What a plane in a band or between two resists with at all times; None if not brittle."""
        cards = self.response.cards
        sides = [k for k in bands if brittle(cards[k])]
        if not sides:
            return None
        strength = self.strength[sides].min(axis=0)
        if len(bands) == 1:
            return Bond(strength, toughness_of(cards[sides[0]]))
        resistance = joint_resistance(cards[bands[0]], cards[bands[1]])
        return Bond(
            strength=strength,
            toughness=resistance.toughness,
            shear_strength=resistance.shear_strength,
            sensitivity=MODE_SENSITIVITY,
        )

    @property
    def _room(self) -> float:
        """Least distance of two planes; of a rod no less than `crack_planes` allows. [m]"""
        return (0.012 if self.rod else 0.03) * float(self.fired.wall.max())

    @cached_property
    def _rising(self) -> NDArray[np.intp]:
        """Stations, in order, that are not too flat for planes."""
        return np.flatnonzero(np.abs(self.fired.slope[self.order]) < STEEPEST)

    @cached_property
    def _wall(self) -> Wall:
        fired = self._solid
        order, height = self.order[self._rising], self.height[self._rising]
        low, high = float(height[0]), float(height[-1])
        inner = [z for z in self.steps if low < z < high]
        first = int(fired.band[order[0]])
        rows = range(first, first + len(inner) + 1)
        vessel = self.response.vessel
        low = min(max(float(vessel.height.min()), low - 0.5 * float(fired.wall.max())), low)
        edges = np.array([low, *inner, float(vessel.height.max())])
        level = [*(float(self.steps[s]) for s in self._joints()), *self._beside[0]]
        level += [
            float(z) for z, g in ((edges[0], order[0]), (edges[-1], order[-1]))
            if abs(fired.slope[g]) <= STEEPEST_LEAN
        ]  # fmt: skip
        return Wall(
            height,
            fired.radius[order],
            fired.wall[order],
            edges,
            self.young[list(rows)],
            self.poisson[list(rows)],
            held=bool(fired.lying.any()),
            level=np.array(level),
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

    def _tractions(self, height: float) -> tuple[Array, Array, Array]:
        """Places across a plane, and what acts square to it and along it at all times.

        Places from -1 to 1, (P,) [-], stresses (T, P) [Pa]. On a joint by the forces that one side
        has on the other: beside it, on a free face, there is no shear, which at the edge of the
        joint is largest. Elsewhere by what each line of points has where the plane crosses it, read
        along it.
        """
        fired = self._solid
        steps = np.abs(self.steps - height)
        if steps.size and steps.min() < 1e-9:
            step = int(np.argmin(steps))
            force = fired.parting.forces[step]
            place, traction = joint_traction(fired.parting.body, step, force)
            return place, traction[..., 1], traction[..., 0]
        middle = float(self._wall.at(np.array(height))[0])
        slant = float(self._wall.cut(np.array(height))[0])
        reach = 2.0 * float(fired.wall.max()) / np.cos(slant)
        lines, order = self._lines, self.order
        order = order[np.abs(self.along - np.interp(height, self.height, self.along)) < reach]
        out, up, s, c = (
            v.reshape(-1, v.shape[-1])[order]
            for v in (
                lines.radius - middle, lines.height - height, lines.along_r, lines.along_z
            )
        )  # fmt: skip
        sine, cosine = np.sin(slant), np.cos(slant)
        beyond, across = out * sine + up * cosine, out * cosine - up * sine
        place = np.empty(beyond.shape[1])
        share = np.zeros(beyond.shape)
        for p in range(place.size):
            rising = np.argsort(beyond[:, p], kind="stable")
            known = beyond[rising, p]
            k = int(np.clip(np.searchsorted(known, 0.0), 1, known.size - 1))
            on = float(np.clip(known[k - 1] / (known[k - 1] - known[k]), 0.0, 1.0))
            share[rising[k - 1], p], share[rising[k], p] = 1.0 - on, on
            place[p] = share[:, p] @ across[:, p]
        used = share.any(axis=1)
        share, order = share[used], order[used]
        turn_s, turn_c = s[used] * cosine - c[used] * sine, c[used] * cosine + s[used] * sine
        along, through, shear = (fired.tensor[:, n, order] for n in (0, 2, 3))
        normal = along * turn_c**2 + through * turn_s**2 - 2.0 * shear * turn_s * turn_c
        slide = (along - through) * turn_s * turn_c + shear * (turn_c**2 - turn_s**2)
        normal, slide = ((v * share).sum(axis=1) for v in (normal, slide))
        return 2.0 * (place - place[0]) / (place[-1] - place[0]) - 1.0, normal, slide

    # ---- cracks in the meridian plane

    def _across(self) -> list[Crack]:
        """Across the layers of a rod or disc, by the hoop stress beside its axis."""
        fired, cards = self.fired, self.response.cards
        band = fired.band[self.order]
        ends = np.concatenate([self.height[:1], self.steps, self.height[-1:]])
        radius = float(fired.wall[self.order].max())
        found = []
        for k in self.bands:
            here = self.order[band == k]
            thick = float(ends[k + 1] - ends[k])
            if here.size < 3 or thick > 2.0 * radius:
                continue  # a tall layer bends nowhere: its cracks are round
            z = np.concatenate([[ends[k]], fired.height[here], [ends[k + 1]]])
            bare = [s for s, face in ((1.0, 0), (-1.0, len(cards) - 1)) if k == face]
            rising = np.concatenate([[True], np.diff(z) > 1e-12])
            pull = self.total[:, here, 1, 1]
            for moment in self._asked(pull.max(axis=1) / self.strength[k], [k]).tolist():
                body = bodies_of(self.response, moment)[k]
                hoop = pull[moment]
                stress = np.concatenate([hoop[:1], hoop, hoop[-1:]])
                for limit in across_layer(
                    k, z[rising], stress[rising], thick, body, bare, float(ends[-1] - ends[0])
                ):
                    found.append(
                        Crack(
                            limit.kind, cards[k].name, limit.surface, limit.through, limit.through,
                            limit.through, limit.depth, limit.tension, float(z[0]), "axis", moment,
                        )
                    )  # fmt: skip
        return found

    def _axial(self) -> list[Crack]:
        """From each end of every run of brittle bands of one ceramic into it."""
        found: list[Crack] = []
        band = self.fired.band[self.order]
        cards = self.response.cards
        start = 0
        while start < band.size:
            stop = start
            own = _body(cards[band[start]])
            while stop < band.size and _body(cards[band[stop]]) == own:
                stop += 1
            if own is not None:
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
        wall, radius = float(fired.wall[g]), float(self.ring[g])
        run = self.order[start:stop] if step == 1 else self.order[start:stop][::-1]
        y = np.abs(fired.arc_length[run] - fired.arc_length[g])
        reach = min(float(y[-1]), 1.5 * float(np.sqrt(radius * wall)))
        grid = np.linspace(0.0, reach, 24)
        other = 0.0
        if 0 <= beyond < self.order.size:
            ratio = self.young[int(fired.band[self.order[beyond]])] / self.young[band]
            other = float(self.young[band] * np.clip(ratio, 1.0 / LIKE, LIKE))
        near = run[: int(np.searchsorted(y, reach)) + 1]
        hoop = self.total[..., 1]
        use = hoop[:, near].max(axis=(1, 2)) / self.strength[band]
        moments = self._asked(use, [band])
        moments = moments[use[moments] >= IDLE]
        if moments.size == 0:
            return []
        read = np.stack([np.interp(grid, y, one) for one in np.eye(y.size)], axis=-1)
        field = read @ hoop[moments][:, run]
        limits = axial_limits(
            grid,
            fired.through,
            field,
            wall=wall,
            radius=radius,
            young=float(self.young[band]),
            poisson=float(self.poisson[band]),
            strength=self.strength[band, moments],
            toughness=toughness_of(card),
            beyond=other,
        )
        none = np.zeros(moments.size)
        whole = CrackLimit(limits.start, none, none + wall, limits.through)
        return _by_moment(
            "axial", card.name, whole, field.max(axis=1), fired.height[g], "end", moments
        )


def _of_two_ceramics(one: Card, other: Card) -> bool:
    """Whether both have a ceramic in them, and not the same."""
    first, second = one.ceramic, other.ceramic
    return first is not None and second is not None and first.name != second.name


def _body(card: Card) -> str | None:
    """Ceramic of a brittle zone; None of what metal runs through."""
    ceramic = card.ceramic
    return ceramic.name if ceramic is not None and brittle(card) else None


def _at(bond: Bond, moments: NDArray[np.intp]) -> Bond:
    """A bond, known at all times, at some of them."""
    return replace(bond, strength=np.asarray(bond.strength)[moments])


def _share(factor: Array) -> float:
    """Share of the load: one over its factor, nothing where it never comes. [-]"""
    value = float(np.min(factor))
    return 1.0 / value if np.isfinite(value) and value > 0.0 else 0.0


def _by_moment(
    kind: str,
    zone: str,
    limit: CrackLimit,
    stress: Array,
    height: float,
    face: str,
    moments: NDArray[np.intp],
) -> list[Crack]:
    """A crack for each of some moments, from its limits and what pulls on its path then."""
    found = []
    for k, moment in enumerate(moments.tolist()):
        through = _share(limit.through[k])
        found.append(
            Crack(
                kind, zone, _share(limit.start[k]), through, through, through,
                float(limit.arrest_length[k]), float(stress[k].max()), float(height), face, moment,
            )
        )  # fmt: skip
    return found
