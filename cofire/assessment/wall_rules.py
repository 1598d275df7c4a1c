"""Flags of the wall itself: its lag on ramps, the strain of its metal, and its thickness."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from cofire.assessment.crack_rules import (
    EVER,
    FAILURE_CAUTION,
    body_strength,
    metal_holds,
    risk_at,
    share_at,
)
from cofire.assessment.cracks import SINTERED
from cofire.assessment.response import Response
from cofire.assessment.rule import (
    BLENDS,
    FIRING,
    LAYERS,
    NEIGHBOUR,
    SHAPE,
    STRESS,
    Flag,
    Rule,
    not_computed,
)
from cofire.assessment.strained import strained_along
from cofire.materials.card import Card
from cofire.numerics import Array
from cofire.physics.conduction import (
    diffusivity,
    ramp_lag,
    through_wall_stress,
    wall_places,
)
from cofire.physics.history import SINTERING
from cofire.physics.mixing import FLOW_THRESHOLD, ductility_factor
from cofire.physics.porosity import conductivity_at
from cofire.physics.strength import rupture_risk
from cofire.units import HOUR, celsius

LEVEL = 1.25
"""Walls of unlike thickness are judged at thicknesses this far apart, and between them along a
straight line: a fifth at most on the safe side, beside a thicker part that decides. [-]"""
ACROSS = 10
"""Places across a wall: a utilisation is within 0.2 % of what 64 give. [-]"""
OPENED = 3000.0 / HOUR
"""Cooling up to which a kiln that is opened may take its ware: estimate. [K/s]"""
RATES = np.geomspace(100.0 / HOUR, OPENED, 12)
"""Rates of cooling that are tried. [K/s]"""
DUCTILITY = 0.05
"""Strain to fracture of a sintered metal where its card gives none: estimate. [-]"""


@dataclass(frozen=True)
class _Lagging:
    """One material that can crack, and its walls; arrays along the M times of the firing.

    Attributes
    ----------
    card, ceramic
        Of the material, and what gives it its scatter of strength.
    depth, volume
        From the heated face to where heat no longer goes on, and what of the material stands so
        deep, shape (K,) each. [m], [m³]
    diffusivity
        Thermal. [m²/s]
    turns, strain
        Free strain by what it comes from, all but sintering, and together. [-]
    young, poisson, strength
        At the moment. [Pa], [-], [Pa]
    holds
        What metal that runs through holds, or None. [Pa]
    """

    card: Card
    ceramic: Card
    depth: Array
    volume: Array
    diffusivity: float
    turns: dict[str, Array]
    strain: Array
    young: Array
    poisson: float
    strength: Array
    holds: Array | None

    def worst(
        self, time: Array, nodes: slice | NDArray[np.intp] = EVER
    ) -> tuple[int, float, float]:
        """Which of L times is the worst, the risk of rupture [-] and the largest tension [Pa] then.

        Parameters
        ----------
        time : array
            When each node of the firing comes, shape (L,). [s]
        nodes : slice or array
            Those of its M nodes.
        """
        inside, share = wall_places(ACROSS)
        place, share = np.concatenate([[0.0, 1.0], inside]), np.concatenate([[0.0, 0.0], share])
        stress = np.stack(
            [
                through_wall_stress(
                    time, self.strain[nodes], self.young[nodes], self.poisson, depth,
                    self.diffusivity, place, share,
                )
                for depth in self.depth
            ],
            axis=1,
        )  # fmt: skip
        tension = stress.max(axis=(1, 2)).clip(min=0.0)
        unit, m = body_strength(self.ceramic, self.strength[nodes])
        # alike in both directions of the wall, so each volume counts twice
        volume = 2.0 * self.volume[:, None] * share

        def risk(at: NDArray[np.intp]) -> Array:
            acting = stress[at].reshape(at.size, -1, 1)
            found = rupture_risk(acting, volume.ravel(), unit[at, None], m)
            if self.holds is None:
                return found
            return np.minimum(found, risk_at(tension[at] / self.holds[nodes][at], m))

        # as if all of it bore its largest tension: only where that is more can be worse
        most = 2.0 * self.volume.sum() * (tension / unit) ** m
        near = np.flatnonzero(most >= risk(np.array([np.argmax(most)])))
        risks = risk(near)
        k = int(np.argmax(risks))
        return int(near[k]), float(risks[k]), float(tension[near[k]])

    def leading(self, time: Array, node: int) -> str:
        """What of the free strain sets faces and middle furthest apart at a node of the firing.

        Parameters
        ----------
        time : array
            Of all nodes, shape (M,). [s]
        node : int
            Which. [-]
        """
        (late,) = ramp_lag(float(self.depth.max()), self.diffusivity, [0.0])
        apart = {
            name: float(strain[node] - np.interp(time[node] - late, time, strain))
            for name, strain in self.turns.items()
        }
        whole = sum(apart.values())
        return max(apart, key=lambda name: apart[name] * whole)


def _lagging(response: Response) -> list[_Lagging]:
    """Each material of a vessel that cracks as its ceramic does, once."""
    h, fired = response.history, response.fired
    through = 1.0 if response.vessel.radius[0] == 0.0 else 0.5  # heated on one side, or both
    thin, thick = float(fired.wall.min()), float(fired.wall.max())
    levels = np.geomspace(
        thin, thick, 1 + int(np.ceil(np.log(thick / thin) / np.log(LEVEL) - 1e-9))
    )
    beside = np.array([np.interp(fired.wall, levels, one) for one in np.eye(levels.size)])
    volume = beside * fired.volume.reshape(fired.band.size, -1).sum(axis=1)
    of_band = np.asarray(response.material)[fired.band]
    found = []
    for row, card in response.materials:
        part = volume[:, of_band == row].sum(axis=1)
        if card.ceramic is None or not part.any():
            continue
        green, known = float(h.relative_density[row, 0]), card["thermal_conductivity"]
        turns = {name: own[row] for name, own in h.strain.items() if name != SINTERING}
        found.append(
            _Lagging(
                card=card,
                ceramic=card.ceramic,
                depth=through * levels[part > 0.0],
                volume=part[part > 0.0],
                diffusivity=float(
                    diffusivity(
                        conductivity_at(known.value.min(), known.at_density, green),
                        card["theoretical_density"].scalar * green,
                        card["specific_heat"].value.mean(),
                    )
                ),
                turns=turns,
                strain=np.sum([turns[name] for name in sorted(turns)], axis=0),
                young=h.young_modulus[row],
                poisson=float(h.poisson_ratio[row]),
                strength=h.strength[row],
                holds=metal_holds(card, h.relative_density[row], h.temperature),
            )
        )
    return found


def gradient_flags(response: Response) -> list[Flag]:
    """Chance that the wall cracks because its inside goes through the firing late.

    Judged is the sum of all strain that the inside has late: expansion, inversions, and what bound
    water leaves as it goes; faces are pulled on cooling and while water leaves, the middle on
    heating. Weibull's risk over that stress through the wall, in both directions of the plane, in
    all of a material's volume, by thickness; so a utilisation of 1 is the chance `FAILURE_NO`, as
    on cooling. As powder a body has the scatter and the flaws of the fired one, for lack of others.

    Elastic, one side heated where the vessel has a base, and with the diffusivity of the green body
    throughout: all on the safe side (a fired body may conduct a third better).

    The stress that zones set up in each other is not in it, nor is this one in the `cooling` rule.
    Both together use up no more than the sum of their utilisations at one moment (Minkowski), and
    what zones set up is worst when cold, where nothing is late: in solids that go through the
    firing late, of fritted body with 8 % silver above (walls of 3 to 10 mm, 100 to 600 °C/h, the
    thin one to 2000), `cooling` used up at most 2 % more.

    Returns
    -------
    list of Flag
        One a brittle material; figure and limit are the largest tension at the worst moment.
    """
    h = response.history
    found = []
    for body in _lagging(response):
        worst, risk, tension = body.worst(h.time)
        m = body.ceramic["weibull_modulus"].scalar
        used, most = float(share_at(risk, m)), tension / 1e6
        hot, lead = celsius(float(h.temperature[worst])), body.leading(h.time, worst)
        found.append(
            Flag(
                zone=body.card.name,
                utilisation=used,
                caution=float(share_at(-np.log1p(-FAILURE_CAUTION), m)),
                figure=most,
                limit=most / used if used > 0.0 else float("inf"),
                unit="MPa",
                note=f"tension across the wall from its own lag, most of it by {lead}",
                remedy=f"Go slower around {hot:.0f} °C.",
                time=float(h.time[worst]),
                temperature=float(h.temperature[worst]),
            )
        )
    return found


@dataclass(frozen=True)
class CoolingLimit:
    """Steady cooling at which the lag of a wall alone comes to its limit.

    Attributes
    ----------
    zone
        Material that comes to it first.
    rate
        Of the ware. [K/s]
    temperature
        At which the limit is reached. [K]
    """

    zone: str
    rate: float
    temperature: float


def cooling_limit(response: Response) -> CoolingLimit | None:
    """How fast a vessel may be cooled from its peak before its own lag is likely to crack it.

    Parameters
    ----------
    response : Response
        From `fire_vessel`.

    Returns
    -------
    CoolingLimit or None
        None where it bears as much as an opened kiln brings, `OPENED`.
    """
    ware = response.history.temperature
    hot = int(np.argmax(ware))
    low = np.minimum.accumulate(ware[hot:])
    nodes = hot + np.concatenate([[0], 1 + np.flatnonzero(np.diff(low) < 0.0)])
    fallen = ware[hot] - ware[nodes]
    found = None
    for body in _lagging(response):
        m = body.ceramic["weibull_modulus"].scalar
        worst = [body.worst(fallen / rate, nodes) for rate in RATES]
        used = np.maximum.accumulate(share_at(np.array([risk for _, risk, _ in worst]), m))
        if used[-1] < 1.0:
            continue
        rate = float(np.exp(np.interp(0.0, np.log(used.clip(min=1e-9)), np.log(RATES))))
        if found is None or rate < found.rate:
            at = nodes[worst[int(np.searchsorted(used, 1.0))][0]]
            found = CoolingLimit(body.card.name, rate, float(ware[at]))
    return found


def metal_flags(response: Response) -> list[Flag]:
    """Plastic strain of each zone whose metal yields after it has sintered, against its ductility.

    That is a metal, or a blend whose ceramic is no more than grains in it
    (`mixing.FLOW_THRESHOLD`): those leave it less ductile, see `mixing.ductility_factor`.

    The strain of any one moment less that at which it counted as sintered, as the mean over
    `STRAINED_LENGTH` along each line through the wall. Creep is left out: a metal hot enough to
    creep heals as it strains. The ductility is that of the cold metal, which is on the safe side
    while it is hot.

    Returns
    -------
    list of Flag
        One a band that yields.
    """
    shell = response.fired
    done = response.progress
    found = []
    for band, card in enumerate(response.cards):
        if card.metal_share < FLOW_THRESHOLD:
            continue
        metal = card.parts[0][0] if card.parts else card
        row = response.material[band]
        after = np.flatnonzero(done[row] >= SINTERED)
        if after.size == 0:
            found.append(
                not_computed(
                    card.name, "it does not sinter in this firing", "Fire hotter or hold longer."
                )
            )
            continue
        here = np.flatnonzero(shell.band == band)
        plastic = shell.plastic[:, here]
        grown = plastic[after] - plastic[after[0]]
        grown, here = strained_along(response, grown, here)
        size = np.abs(grown).max(axis=(2, 3))
        t, g = np.unravel_index(int(np.argmax(size)), size.shape)
        limit = metal.scalar("ductility", DUCTILITY) * float(ductility_factor(card.metal_share))
        found.append(
            Flag(
                zone=card.name,
                utilisation=float(size[t, g]) / limit,
                caution=0.3,
                figure=100 * float(size[t, g]),
                limit=100 * limit,
                unit="% plastic strain",
                note="plastic strain of the metal after sintering, mean over a tenth of the wall",
                time=float(shell.time[after[t]]),
                temperature=float(response.temperature[after[t]]),
                height=float(shell.height[here[g]]),
            )
        )
    return found


def shape_flags(response: Response) -> list[Flag]:
    """A wall too thick for its ring: the stress of all other flags is rough there.

    Returns
    -------
    list of Flag
        One that cannot pass, or none.
    """
    if not response.beyond_shell:
        return []
    return [not_computed("vessel", response.beyond_shell)]


RULES = (
    Rule(
        name="gradient",
        loses=True,
        harm="the wall cracks on a ramp or at an inversion",
        asks="Does the wall crack because its inside is late on a ramp or through an inversion?",
        find=gradient_flags,
        sees=frozenset({FIRING, BLENDS, LAYERS, SHAPE}),
        source="Weibull survival, strength of the body at that moment and scatter of the card",
        remedy="Go slower.",
        piece="shrinkage bar",
        sign="a crack, or a dull sound when struck",
    ),
    Rule(
        name="metal",
        loses=True,
        harm="the metal tears",
        asks="Is the sintered metal strained beyond its ductility?",
        find=metal_flags,
        sees=frozenset({FIRING, BLENDS, LAYERS, SHAPE, NEIGHBOUR, STRESS}),
        source="ductility of the sintered metal (card), less for grains in it (Nielsen 1966)",
        remedy="A closer pair or a graded joint; fire denser, porous metal tears early.",
        piece="joint ring",
    ),
    Rule(
        name="shell",
        loses=False,
        harm="the stress is only roughly known",
        asks="Is the wall thin enough to be worked out as a shell?",
        find=shape_flags,
        sees=frozenset({SHAPE}),
        source="",
        remedy="A thinner wall or a wider ring; or fire a ring of this wall and radius first.",
    ),
)
"""Rules of the wall itself."""
