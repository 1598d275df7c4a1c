"""Which cracks layers of a tile, a disc or nested rings could start: stress and energy together.

Expected, before the first run
------------------------------
* A layer parts from an edge only if its steady-state energy exceeds the joint's toughness at its
  mode mix (Suo & Hutchinson 1990): below that no flaw grows, whatever the stress at the edge. A
  thin layer therefore bears more mismatch, as one over the root of its thickness.
* A contracted layer on the face tears open or cracks across; one in compression slides, and faces
  that press spend more.
* A buried layer in tension tunnels (Ho & Suo 1993), one in compression cracks at its bare edge
  (Ho et al. 1995) and that crack stops a layer deep: a surface crack, never through.
* A crack that slides along a joint turns into the side that is pressed, where that is brittle and
  less tough than the sliding joint. In the thinner side it soon comes out at the bare face, a chip
  at the edge: a surface crack. In the thicker one it runs on beneath the joint: through.
* A ring pressed on by its neighbour does not come off it.

A load state is what the firing left; unloading is elastic, with cold moduli. Left out: friction,
kinks at the ends of rings, the difference of stiffness in kinks and in cracks across a layer.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from cofire.mechanics.law import PLATE
from cofire.mechanics.tile import Tile
from cofire.physics.fracture import (
    MODE_SENSITIVITY,
    THROUGH,
    CrackLimit,
    coupled_criterion,
    crack_lengths,
    edge_crack_operator,
    freed_energy,
    inner_crack_operator,
    kink_gain,
    mode_mix_toughness,
    use_along,
)
from cofire.physics.interface import layer_phase

if TYPE_CHECKING:
    from cofire.mechanics.layer_firing import LayerFiring
    from cofire.mechanics.sleeve import Sleeve
    from cofire.numerics import Array

TUNNEL = 0.25 * np.pi
"""Z of a tunnel through a buried layer, G = Z stress² h/E' (Ho & Suo 1993, J. Appl. Mech. 60, 890,
from memory; even moduli). [-]"""
COMPRESSED_EDGE = 0.34
"""Largest Z of a crack at the bare edge of a compressed layer between others (Ho, Hilzinger,
Blattner & Suo 1995, J. Am. Ceram. Soc. 78, 2353, from memory). [-]"""


@dataclass(frozen=True)
class LayerLimit:
    """One crack's loads.

    Attributes
    ----------
    kind
        "peel" along a joint, "across" a layer from its bare face, "tunnel" through a buried layer,
        "edge" of a compressed layer, "split" of a ring.
    layer
        Layer, or the lower or inner one of a joint.
    surface, through
        Share of the load at which it starts, and at which it runs on. [-]
    tension
        Largest on its path; of a joint the shear that hands the layer's force over. [Pa]
    depth
        How deep it goes. [m]
    """

    kind: str
    layer: int
    surface: float
    through: float
    tension: float
    depth: float


@dataclass(frozen=True)
class Body:
    """What a layer is made of, when it is cold.

    Attributes
    ----------
    young, poisson
        [Pa], [-]
    strength
        Infinite where it is no brittle body. [Pa]
    toughness
        Likewise. [J/m²]
    """

    young: float
    poisson: float
    strength: float = np.inf
    toughness: float = np.inf

    @property
    def plane(self) -> float:
        """E/(1 - nu²). [Pa]"""
        return self.young / (1.0 - self.poisson**2)

    @property
    def brittle(self) -> bool:
        """Whether it can crack."""
        return bool(np.isfinite(self.strength))


@dataclass(frozen=True)
class Joint:
    """What two layers hold together by.

    Attributes
    ----------
    toughness
        For opening. [J/m²]
    shear_strength
        [Pa]
    """

    toughness: float
    shear_strength: float


def peel(
    height: Array, share: Array, stress: Array, modulus: Array, below: int, *, bends: bool = True
) -> tuple[float, float, float]:
    """Energy freed by a long crack above a layer, its phase, and the force it unloads.

    What the layers above carry ahead of the crack does work on both parts as they unload, each as
    a composite beam: for two elastic layers equal to the closed form, and true of yielded ones.
    The phase takes each part as one layer of its mean modulus.

    Parameters
    ----------
    height, share, stress : array
        Of the points, shape (N, P) each. [m], [m], [Pa]
    modulus : array
        In the plane, of each layer, shape (N,). [Pa]
    below : int
        Layer under the joint.
    bends : bool
        Whether parts bend when they are free.

    Returns
    -------
    tuple of float
        [J/m²], [rad], [N/m]
    """
    weight = modulus[:, None] * share
    parts = []
    for own, sign in ((slice(0, below + 1), 1.0), (slice(below + 1, None), -1.0)):
        y, w, load = height[own], weight[own], stress[own] * share[own]
        bottom, top = float(y.min()), float(y.max())
        middle = float((w * y).sum() / w.sum())
        bend = float((w * (y - middle) ** 2).sum())
        force, moment = float(load.sum()), float((load * (y - middle)).sum())
        energy = 0.5 * force**2 / float(w.sum()) + (0.5 * moment**2 / bend if bends else 0.0)
        parts.append((energy, force, sign * moment, top - bottom, float(w.sum()), middle))
    (e1, _, _, t1, k1, _), (e2, n2, m2, t2, k2, _) = parts
    phase = float(layer_phase(t2, k2 / t2, t1, k1 / t1, n2, m2 if bends else 0.0))
    return e1 + e2, phase, n2


def tile_limits(
    tile: Tile, stress: Array, bodies: list[Body], joints: list[Joint]
) -> list[LayerLimit]:
    """Every crack of a tile in one load state.

    Parameters
    ----------
    tile : Tile
        One, no batch.
    stress : array
        In the plane, shape (N, P). [Pa]
    bodies : list of Body
        Of the layers.
    joints : list of Joint
        Between them; one fewer.
    """
    wide = tile.state is PLATE
    modulus = np.array([b.plane if wide else b.young for b in bodies])
    load = stress * tile.share
    moment = float((load * (tile.height - 0.5 * tile.height.max())).sum())
    size = float((np.abs(load) * tile.thickness.sum()).sum())
    bends = tile.free_to_bend or abs(moment) < 1e-3 * size
    found = []
    for k, joint in enumerate(joints):
        if not (bodies[k].brittle or bodies[k + 1].brittle):
            continue
        energy, phase, force = peel(tile.height, tile.share, stress, modulus, k, bends=bends)
        under, over = (float(t.sum()) for t in np.split(tile.thickness, [k + 1]))
        shear = abs(force) / min(under, over)
        needed = float(mode_mix_toughness(joint.toughness, phase, MODE_SENSITIVITY))
        pressed, own, other = (
            (bodies[k + 1], over, under) if force < 0.0 else (bodies[k], under, over)
        )
        turned = min(needed, pressed.toughness / float(kink_gain(phase)))
        start, through = (
            float(min(shear / joint.shear_strength, np.sqrt(max(energy, 0.0) / g)))
            for g in (turned, needed if own < other else turned)
        )
        found.append(LayerLimit("peel", k, start, through, shear, 0.0))
    for k, body in enumerate(bodies):
        if not body.brittle:
            continue
        bare = [side for side, face in ((1.0, 0), (-1.0, len(bodies) - 1)) if k == face]
        found += across_layer(
            k, tile.height[k], stress[k], float(tile.share[k].sum()), body, bare,
            float(tile.thickness.sum()) if bends else np.inf,
        )  # fmt: skip
    return found


def across_layer(
    layer: int, height: Array, stress: Array, thick: float, body: Body, bare: list[float],
    whole: float,
) -> list[LayerLimit]:  # fmt: skip
    """Cracks across one brittle layer: from both faces where it is bare on a side, else a tunnel.

    A buried layer in compression is asked for cracks at its bare edge instead.

    Parameters
    ----------
    layer : int
        Which.
    height, stress : array
        Through it, rising, both faces included, shape (P,). [m], [Pa]
    thick : float
        [m]
    body : Body
        Of what.
    bare : list of float
        1 where its lower face is bare, -1 where its upper one is.
    whole : float
        Of all layers, infinite where they are held flat. [m]
    """
    found = []
    for side in (1.0, -1.0) if bare else ():
        x, field = (height - height[0], stress) if side > 0.0 else (
            (height[-1] - height)[::-1], stress[::-1])  # fmt: skip
        path = 0.98 * thick if whole < 1.02 * thick else thick
        limit, tension = strip_limit(
            x, field, path, max(whole, 1.001 * thick), body, held=side not in bare
        )
        found.append(_read("across", layer, limit, tension))
    if bare:
        return found
    mean = float(np.trapezoid(stress, height) / (height[-1] - height[0]))
    energy = mean**2 * thick / body.plane
    z = TUNNEL if mean > 0.0 else COMPRESSED_EDGE
    used = min(abs(mean) / body.strength, np.sqrt(z * energy / body.toughness))
    if mean > 0.0:
        return [LayerLimit("tunnel", layer, used, used, mean, thick)]
    return [LayerLimit("edge", layer, used, 0.0, -mean, thick)]


def strip_limit(
    depth: Array, stress: Array, path: float, whole: float, body: Body, *, held: bool
) -> tuple[CrackLimit, float]:
    """Load factors of a crack from one side of a layer into it, and the largest tension.

    Parameters
    ----------
    depth, stress : array
        From that side, rising from 0, shape (P,). [m], [Pa]
    path : float
        How far it can go. [m]
    whole : float
        Thickness of the strip in which it grows. [m]
    body : Body
        Of what.
    held : bool
        Whether its mouth is bonded to something else: then it opens as one inside a body.
    """
    a, K = _intensity(depth, stress, path, whole, held=held)
    use = use_along(a, np.interp(a, depth, stress), 0.0, body.strength)
    energy = freed_energy(a, K, body.plane)
    return coupled_criterion(a, use, energy, body.toughness * a, through=0.999), float(
        np.max(stress)
    )


def _intensity(
    depth: Array, stress: Array, path: float, whole: float, *, held: bool
) -> tuple[Array, Array]:
    """Depths from 0, and stress intensity at each, shape (..., depths). [m], [Pa m^0.5]"""
    a = crack_lengths(path / THROUGH)
    operator = inner_crack_operator(a[1:], depth) if held else (
        edge_crack_operator(a[1:], depth, whole))  # fmt: skip
    K = np.asarray(stress, np.float64) @ operator.T
    return a, np.concatenate([np.zeros_like(K[..., :1]), K], axis=-1)


def _near_tip(length: Array, depth: Array) -> Array:
    """As `inner_crack_operator`, for the tip at depth 0 of cracks from there, (N, P). [m^0.5]"""
    rows = []
    for a in length:
        u = np.linspace(0.0, a, 40)
        read = np.stack([np.interp(a - u, depth, one) for one in np.eye(depth.size)], axis=-1)
        rows.append(inner_crack_operator(np.array([a]), u)[0] @ read)
    return np.array(rows)


def spread(fired: LayerFiring, layer: int, body: Body) -> Array:
    """Share of its own toughness that the longest flaw across a layer could find, (T,). [-]

    The root of the largest energy release rate of a straight crack of any depth from either side,
    over the toughness. Below one no flaw spreads, however large and however likely: a layer thinner
    than critical does not crack (Hutchinson & Suo 1992; Hillman, Suo & Lange 1996), whatever its
    volume would say. By this alone thin coats bear what bars of their body do not.

    Parameters
    ----------
    fired : LayerFiring
        Fired.
    layer : int
        Which; brittle.
    body : Body
        Of what.
    """
    stress, layers = fired.own.stress, fired.layers
    if isinstance(layers, Tile):
        place, fields = layers.height[layer], [stress[:, layer]]
        whole = float(layers.thickness.sum()) if layers.free_to_bend else np.inf
    else:
        place, fields = layers.radius[layer], [stress[:, c, layer] for c in (1, 2)]
        whole = np.inf
    thick, last = float(place[-1] - place[0]), layers.material.shape[0] - 1
    path = 0.98 * thick if whole < 1.02 * thick or last == 0 else thick
    most = np.zeros(fired.time.size)
    for field in fields:
        for bare, x, seen in (
            (layer == 0, place - place[0], field),
            (layer == last, (place[-1] - place)[::-1], field[:, ::-1]),
        ):
            a, K = _intensity(x, seen, path, max(whole, 1.001 * thick), held=not bare)
            top = K.max(axis=-1)
            if not bare:
                top = np.maximum(top, (seen @ _near_tip(a[1:], x).T).max(axis=-1))
            most = np.maximum(most, np.maximum(top, 0.0) ** 2 / body.plane)
    return np.sqrt(most / body.toughness)


def sleeve_limits(
    sleeve: Sleeve, stress: Array, bodies: list[Body], joints: list[Joint]
) -> list[LayerLimit]:
    """Every crack of nested rings in one load state.

    A joint whose radial stress pulls opens from an end, where the thinner side hands its axial
    force over within its own thickness, if what both sides free as they unload can pay for it
    (steady state, the phase of flat layers). Pressed shut it stays shut. A brittle ring splits by
    hoop, or parts by axial tension, from either of its faces.

    Parameters
    ----------
    sleeve : Sleeve
        One, no batch, long.
    stress : array
        Radial, hoop, axial, shape (3, N, P). [Pa]
    bodies : list of Body
        Of the rings.
    joints : list of Joint
        Between them; one fewer.
    """
    found = [end_limit(sleeve, stress, bodies, k, joint) for k, joint in enumerate(joints)]
    last = len(bodies) - 1
    for k, body in enumerate(bodies):
        if not body.brittle:
            continue
        radius = sleeve.radius[k]
        wide = float(radius[-1] - radius[0])
        for component in (1, 2):
            field = stress[component, k]
            for inner in (True, False):
                held = k > 0 if inner else k < last
                if inner and radius[0] <= 0.0:
                    continue  # a core has no inner face
                x = radius - radius[0] if inner else (radius[-1] - radius)[::-1]
                seen = field if inner else field[::-1]
                path = wide if held else 0.98 * wide
                limit, tension = strip_limit(x, seen, path, 1.001 * wide, body, held=held)
                found.append(_read("split", k, limit, tension))
    return found


def end_limit(
    sleeve: Sleeve, stress: Array, bodies: list[Body], below: int, joint: Joint
) -> LayerLimit:
    """The crack between two rings from an end, see `sleeve_limits`.

    Parameters
    ----------
    sleeve : Sleeve
        One, no batch, long.
    stress : array
        Radial, hoop, axial, shape (3, N, P). [Pa]
    bodies : list of Body
        Of the rings.
    below : int
        The inner one.
    joint : Joint
        What they hold together by.
    """
    k = below
    strength = min(bodies[k].strength, bodies[k + 1].strength)
    pull = float(0.5 * (stress[0, k, -1] + stress[0, k + 1, 0]))
    if not np.isfinite(strength) or pull <= 0.0:
        return LayerLimit("peel", k, 0.0, 0.0, 0.0, 0.0)
    young, nu = (np.array([getattr(b, n) for b in bodies])[:, None] for n in ("young", "poisson"))
    inside, outside = slice(0, k + 1), slice(k + 1, None)
    face = float(sleeve.radius[k, -1])
    t1, t2 = face - float(sleeve.radius[0, 0]), float(sleeve.radius[-1, -1]) - face
    force = float((stress[2, outside] * sleeve.share[outside]).sum()) / face
    moduli = [
        float((young[own] * sleeve.share[own]).sum() / sleeve.share[own].sum())
        for own in (outside, inside)
    ]
    phase = float(layer_phase(t2, moduli[0], t1, moduli[1], force, 0.0))
    shear = abs(force) / min(t1, t2)
    needed = float(mode_mix_toughness(joint.toughness, phase, MODE_SENSITIVITY))
    by_stress = np.hypot(pull / strength, shear / joint.shear_strength)
    freed = sum(
        unloading(sleeve, own, young, nu, pull, sign * force)
        for own, sign in ((inside, -1.0), (outside, 1.0))
    )
    used = float(min(by_stress, np.sqrt(freed / needed)))
    return LayerLimit("peel", k, used, used, max(pull, shear), 0.0)


def unloading(
    sleeve: Sleeve, own: slice, young: Array, poisson: Array, pull: float, force: float
) -> float:
    """Energy that some rings free when what their neighbours did to them ends, elastic. [J/m²]

    Per area of the face between them; of two elastic rings both together are all that is stored.

    Parameters
    ----------
    sleeve : Sleeve
        All rings.
    own : slice
        The innermost or the outermost of them.
    young, poisson : array
        Of all, shape (N, 1). [Pa], [-]
    pull : float
        Radial stress on the face. [Pa]
    force : float
        Axial, over 2 pi and the radius of the face. [N/m]
    """
    part = replace(
        sleeve,
        material=sleeve.material[own],
        radius=sleeve.radius[own],
        stretch=sleeve.stretch[own],
        share=sleeve.share[own],
    )
    inner = own.start == 0
    face = float(part.radius[-1, -1] if inner else part.radius[0, 0])
    E, nu = (np.broadcast_to(v[own], part.radius.shape) for v in (young, poisson))
    lam, mu = E * nu / ((1.0 + nu) * (1.0 - 2.0 * nu)), E / (2.0 * (1.0 + nu))
    tangent = lam + 2.0 * mu * np.eye(3)[:, :, None, None]
    load = np.zeros(part.start().shape)
    load[-2 if inner else 0] = pull * face if inner else -pull * face
    load[-1] = force * face
    return float(0.5 * load @ part.solver(tangent)(load) / face)


def _read(kind: str, layer: int, limit: CrackLimit, tension: float) -> LayerLimit:
    start, through = (
        1.0 / float(f) if np.isfinite(f) and f > 0.0 else 0.0 for f in (limit.start, limit.through)
    )
    return LayerLimit(kind, layer, start, through, tension, float(limit.arrest_length))
