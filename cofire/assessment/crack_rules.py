"""Rules of cracks: in a zone while it sinters and cools, and at the joints between bands."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np

from cofire.assessment.cracks import SINTERED, Crack, brittle, cracks, spreads
from cofire.assessment.fired_metal import strength_at
from cofire.assessment.response import Response, band_tensions
from cofire.assessment.rule import (
    BLENDS,
    CAUTION,
    FIRING,
    LAYERS,
    NEIGHBOUR,
    PER_CENT_CRACK,
    SHAPE,
    STRESS,
    Flag,
    Rule,
    joint_name,
    not_computed,
)
from cofire.materials.card import Card
from cofire.materials.pairs import joint_resistance
from cofire.mechanics.layer_firing import LayerFiring
from cofire.numerics import Array
from cofire.physics.mixing import bridging_share
from cofire.physics.strength import bar_effective_volume, rupture_risk, unit_strength

# ----------------------------------------------------------------------------------------------
# Flags of a zone that cracks: in tension while half sintered, and on the way to cold

FAILURE_CAUTION, FAILURE_NO = 0.01, 0.10
"""Probability of a crack on cooling that is a caution, and a no: our choice for a firing that
cannot be repeated. [-]"""
TEST_BAR = 3e-3 * 4e-3 * 40e-3
"""Volume between the supports of the bar a card's strength is taken to come from: 3 × 4 × 40 mm
in quarter-point bending (size B of ASTM C1161). [m³]"""


ON_FLOOR = 1e-6
"""Nearer than this to the top of a floor a joint lies on it. [m]"""
EVER = slice(None)
"""All times of a firing."""
COLD = slice(-1, None)
"""The last of them."""


def principal_stresses(response: Response, band: int, when: slice = EVER) -> Array:
    """Principal stresses that flaws of a band see, shape (T, G, P, 3), a shell's two alone. [Pa]

    A solid knows what acts across its wall: in a disc or beside a joint that is no less than the
    other two, and a shell's two directions would leave it out. In its sharp corners flaws see a
    mean (`SolidFiring.over_flaws`).

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    band : int
        From the lowest.
    when : slice
        Of its times.
    """
    here = response.fired.band == band
    tensor = getattr(response.fired, "over_flaws", None)
    if tensor is None:
        return response.total[when][:, here]
    one, hoop, two, shear = np.moveaxis(tensor[when][:, :, here], 1, 0)
    middle, reach = 0.5 * (one + two), np.hypot(0.5 * (one - two), shear)
    return np.stack([middle + reach, hoop, middle - reach], axis=-1)


def failure_risks(response: Response) -> tuple[Array, list[int]]:
    """Weibull risk of rupture of each brittle band at each time, once it has sintered.

    Principle of independent action over volume flaws, two-parameter, with the strength of the
    moment (porosity); local fields of the steps included. No slow crack growth. In a thin layer at
    most what energy allows: the limit where a flaw could just spread. In a blend that metal runs
    through at most what that metal does not hold: the limit where it could just not, see `bridged`.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    tuple
        Risks, shape (K, T) [-], and the K bands they belong to.
    """
    shell = response.fired
    done = response.progress
    strength = response.at_times(response.history.strength)
    risks, bands = [], []
    for band, card in enumerate(response.cards):
        ceramic = card.ceramic
        if ceramic is None:
            continue
        row = response.material[band]
        unit, m = body_strength(ceramic, strength[row])
        stress = principal_stresses(response, band)
        volume = shell.volume[shell.band == band].ravel()
        acting = stress.reshape(shell.time.size, volume.size, -1)
        risk = rupture_risk(acting, volume, unit[:, None], m)
        for bound in (spreads(response, band), bridged(response, band)):
            if bound is not None:  # the flaw may be there, and not find the energy to spread
                risk = np.minimum(risk, risk_at(bound, m))
        risks.append(np.where(done[row] >= SINTERED, risk, 0.0))
        bands.append(band)
    return np.array(risks).reshape(len(bands), shell.time.size), bands


def body_strength(ceramic: Card, median: Array | float) -> tuple[Array, float]:
    """Characteristic strength of 1 m³ of a body in uniform tension, and its Weibull modulus.

    Parameters
    ----------
    ceramic : Card
        That gives the scatter.
    median : array
        Strength of test bars (`TEST_BAR`) of the body as it is at the moment, any shape. [Pa]

    Returns
    -------
    tuple
        Same shape [Pa m^(3/m)], and m [-].
    """
    m = ceramic["weibull_modulus"].scalar
    bar = bar_effective_volume(TEST_BAR, m, 0.5)
    return unit_strength(np.asarray(median) * np.log(2.0) ** (-1.0 / m), m, bar), m


def risk_at(share: float | Array, modulus: float | Array) -> Array:
    """Weibull risk of rupture at a share of the load whose probability is `FAILURE_NO`. [-]

    Parameters
    ----------
    share : array
        Load over that one, any shape. [-]
    modulus : float
        Of Weibull. [-]
    """
    with np.errstate(divide="ignore"):
        return risk_at_log(np.log(share), modulus)


def risk_at_log(log_share: float | Array, modulus: float | Array) -> Array:
    """The same from the logarithm of the share. [-]

    Parameters
    ----------
    log_share : array
        Any shape. [-]
    modulus : float
        Of Weibull. [-]
    """
    return np.asarray(-np.log1p(-FAILURE_NO) * np.exp(modulus * log_share), np.float64)


def share_at(risk: float | Array, modulus: float | Array) -> Array:
    """Share of the load whose probability is `FAILURE_NO`, from a risk of rupture. [-]

    The utilisation of every rule that reckons by Weibull: the risk grows with its m-th power.

    Parameters
    ----------
    risk : array
        Of rupture, any shape. [-]
    modulus : float
        Of Weibull. [-]

    Examples
    --------
    >>> round(float(share_at(risk_at(0.8, 9.0), 9.0)), 6)
    0.8
    """
    return np.asarray((np.asarray(risk) / -np.log1p(-FAILURE_NO)) ** (1.0 / np.asarray(modulus)))


def modulus_of(caution: float | Array) -> Array:
    """Weibull modulus behind a flag of such a probability, from where its caution begins. [-]

    Parameters
    ----------
    caution : array_like
        Share of the load of `FAILURE_NO` whose probability is `FAILURE_CAUTION`, any shape. [-]
    """
    apart = np.log(np.clip(caution, 0.05, 0.99))
    return np.asarray(np.log(np.log1p(-FAILURE_CAUTION) / np.log1p(-FAILURE_NO)) / apart)


def metal_holds(card: Card, dense: Array, temperature: Array) -> Array | None:
    """Tension that the metal of a blend holds across a crack in its ceramic, (T,). [Pa]

    Parameters
    ----------
    card : Card
        Of the blend.
    dense : array
        Its relative density, shape (T,). [-]
    temperature : array
        Shape (T,). [K]

    Returns
    -------
    array or None
        None where no metal runs through, or its card has no tensile strength.
    """
    share = float(bridging_share(card.metal_share))
    if not card.parts or share == 0.0:
        return None
    metal = card.parts[0][0]
    holds = strength_at(metal, "tensile_strength", dense)
    if holds is None:
        return None
    soft = metal["yield_stress"].at(temperature, extend=True) / metal["yield_stress"].scalar
    return np.asarray(share * holds * soft, np.float64)


def bridged(response: Response, band: int, when: slice = EVER) -> Array | None:
    """Largest tension of a blend over what its metal holds across a crack, (T,). [-]

    Its ceramic may crack; where the metal that runs through carries what pulled there, the wall
    does not part (`mixing.bridging_share`). The metal pulls with its tensile strength at the
    density of the blend, and softens with heat as its yield stress does. It grows no crack by
    itself in humid air. Beside a step the largest mean over a tenth of a wall pulls: at its edge a
    point says how fine the mesh is.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.
    band : int
        From the lowest.
    when : slice
        Of its times.

    Returns
    -------
    array or None
        None where no metal runs through, or its card has no tensile strength.
    """
    row = response.material[band]
    dense = response.at_times(response.history.relative_density[row : row + 1])[0, when]
    holds = metal_holds(response.cards[band], dense, response.temperature[when])
    if holds is None:
        return None
    if isinstance(response.fired, LayerFiring):  # its layers have no edge beside which to look
        pull = principal_stresses(response, band, when).max(axis=(1, 2, 3))
    else:
        pull = band_tensions(response, band)[when]
    return np.asarray(pull.clip(min=0.0) / holds, np.float64)


def cooling_flags(response: Response) -> list[Flag]:
    """Probability that a brittle band cracks at its worst moment, and any of them.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        One a brittle band, and one for all together where there are several.
    """
    risks, bands = failure_risks(response)
    shell = response.fired
    found = []
    rows = [(risks[k], response.cards[b].name, b) for k, b in enumerate(bands)]
    if len(rows) > 1:
        rows.append((risks.sum(axis=0), "all brittle bands", -1))
    for risk, zone, band in rows:
        worst = int(np.argmax(risk))
        height = None
        if band >= 0:
            here = np.flatnonzero(shell.band == band)
            tension = response.total[worst, here].max(axis=(1, 2))
            height = float(shell.height[here[np.argmax(tension)]])
        ceramic = response.cards[band if band >= 0 else bands[0]].ceramic
        assert ceramic is not None
        m = ceramic["weibull_modulus"].scalar
        found.append(
            Flag(
                zone=zone,
                utilisation=float(share_at(risk[worst], m)),
                caution=float(share_at(-np.log1p(-FAILURE_CAUTION), m)),
                figure=100.0 * float(-np.expm1(-risk[worst])),
                limit=100.0 * FAILURE_NO,
                unit=PER_CENT_CRACK,
                note="probability of a crack at the worst moment",
                time=float(shell.time[worst]),
                temperature=float(response.temperature[worst]),
                height=height,
            )
        )
    return found


# ----------------------------------------------------------------------------------------------
# Flags of the joints between bands: stress to start a crack, and energy to drive it

CRACK_CAUTION = 0.7
"""Share of the load at which a crack comes from which it is a caution: our choice, some twice the
spread of the strength of a body with m = 9. [-]"""


def surface_crack_flags(response: Response) -> list[Flag]:
    """Cracks that start at a face of a brittle zone or joint, whether or not they stop.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        The worst of each zone and joint; figure and limit are the largest tension on its path.
    """
    return _crack_flags(response, through=False)


def through_crack_flags(response: Response) -> list[Flag]:
    """Cracks that run through the wall.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    list of Flag
        The worst of each zone and joint; figure and limit are the largest tension on its path.
    """
    return [
        *_crack_flags(response, through=True),
        *_not_searched(response),
        *_within_floor(response),
    ]


def _within_floor(response: Response) -> list[Flag]:
    """A flag where a floor is two layers: stress is of a floor that is all of the lowest band.

    Layers that differ bow a disc as they bow a tile, and neither shell nor solid has that.
    """
    vessel = response.vessel
    if not response.fired.lying.any():
        return []
    floor = float(vessel.wall[0])
    joints = np.flatnonzero(vessel.steps < vessel.height[0] + floor - ON_FLOOR)
    return [
        replace(
            not_computed(
                joint_name(response.cards[k].name, response.cards[k + 1].name),
                f"this joint lies within the floor, {1e3 * floor:.3g} mm thick, which then bows as "
                "a tile of two layers does",
                "Move the joint to the top of the floor or above it, smear and all.",
            ),
            height=float(vessel.steps[k]),
        )
        for k in joints[:1]
    ]


def _not_searched(response: Response) -> list[Flag]:
    """A flag for each blend in which metal runs through, which says that no crack was looked for.

    Metal bridges what opens in it, and how a crack grows then nobody has measured. Whether the
    metal holds at all is asked where its chance of parting is, see `bridged`.
    """
    rows = {
        card.name: row
        for card, row in zip(response.cards, response.material, strict=True)
        if card.ceramic is not None and not brittle(card)
    }
    return [
        Flag(
            zone=name,
            utilisation=0.0,
            caution=CRACK_CAUTION,
            figure=0.0,
            limit=float(response.history.strength[row, -1]) / 1e6,
            unit="MPa",
            note="not searched for cracks: metal runs through this blend and bridges what opens",
        )
        for name, row in rows.items()
    ]


def _crack_flags(response: Response, *, through: bool) -> list[Flag]:
    worst: dict[str, Crack] = {}
    for crack in cracks(response):
        value = crack.through if through else crack.surface
        old = worst.get(crack.zone)
        if old is None or value > (old.through if through else old.surface):
            worst[crack.zone] = crack
    return [_crack_flag(response, crack, through) for crack in worst.values()]


SOURCE = "stress and energy together (Leguillon 2002), strength and toughness of the cards"
"""Of the limits of both rules of single cracks."""
WAYS = {
    "ring": "a crack round the ring, from the {face}",
    "joint": "a crack along the joint, from the {face}",
    "axial": "a crack up the wall, from the end of the zone",
    "round": "a crack across the rod, from the {face}",
    "peel": "a crack along the joint, from its {face}",
    "across": "a crack across the layer",
    "tunnel": "a crack that tunnels through the buried layer",
    "edge": "a crack in the bare edge of the pressed layer",
    "split": "a crack that splits the ring",
}
"""How each kind of crack is told."""


def _crack_flag(response: Response, crack: Crack, through: bool) -> Flag:
    used = crack.through if through else crack.surface
    way = WAYS[crack.kind].format(face=crack.face)
    if not through and 0.0 < crack.through < crack.surface and crack.kind != "axial":
        way += f"; it stops {1e3 * crack.depth:.2g} mm deep"
    tension = crack.tension / 1e6
    unsure = through and crack.high > crack.low
    source = ""
    if crack.kind in ("joint", "peel"):
        source = f"{SOURCE}; {_told_resistance(response, crack.zone)}"
    return Flag(
        zone=crack.zone,
        utilisation=used,
        caution=CRACK_CAUTION,
        figure=tension,
        limit=tension / used if used > 0.0 else float("inf"),
        unit="MPa",
        note=way,
        source=source,
        time=float(response.fired.time[crack.moment]),
        temperature=float(response.temperature[crack.moment]),
        height=crack.height,
        low=crack.low if unsure else None,
        high=crack.high if unsure else None,
    )


def _told_resistance(response: Response, zone: str) -> str:
    """Toughness that a joint was given, how sure it is, and whether a user says so."""
    joint = next(
        (one, other)
        for one, other in pairwise(response.cards)
        if joint_name(one.name, other.name) == zone
    )
    found = joint_resistance(*joint)
    own = f"; of your own table, {found.own}" if found.own else ""
    return f"joint {found.toughness:.3g} J/m² within a factor {found.toughness_factor:.2g}{own}"


_WEIGHED = frozenset({FIRING, BLENDS, LAYERS, SHAPE, NEIGHBOUR, STRESS})

COOLING = Rule(
    name="cooling",
    loses=True,
    harm="it cracks while it cools",
    asks="How probably does a brittle band crack on the way to cold?",
    find=cooling_flags,
    sees=_WEIGHED,
    source="Weibull survival, strength and scatter of the card",
    remedy="Grade the joint over more height, cool slower through the set point, or choose "
    "a closer pair.",
    piece="expansion bar",
    probable=True,
)
SURFACE_CRACK = Rule(
    name="surface crack",
    loses=False,
    harm="a shallow crack opens: it leaks, takes dye, holds food",
    asks="Would a crack start at a face?",
    find=surface_crack_flags,
    sees=_WEIGHED,
    source=SOURCE,
    remedy="Grade the joint over more height, or choose a closer pair; a thinner wall bears more.",
    piece="joint ring",
    shows=True,
    hardest=CAUTION,
)
THROUGH_CRACK = Rule(
    name="through crack",
    loses=True,
    harm="a crack runs through the wall",
    asks="Would a crack run through the wall?",
    find=through_crack_flags,
    sees=_WEIGHED,
    source=SOURCE,
    remedy="Grade the joint over more height, or choose a closer pair; a thinner wall bears more.",
    piece="joint ring",
)

RULES = (COOLING, SURFACE_CRACK, THROUGH_CRACK)
"""Rules of cracks, in a zone and at a joint."""
