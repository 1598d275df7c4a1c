"""Pastes as things to design: a body or a metal with a share of filler or frit, by rules.

A mixed card is a first figure that a bar of the paste must confirm: expansion by Levin's rule with
self-consistent moduli, one filler after the other; a filler's grains are dense and do not sinter,
so the paste shrinks less; a frit moves the maturing of its body towards its own, by its share. What
a filler does to strength and toughness is left at the base's, with a wider spread.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np

from cofire.design.candidates import Bench
from cofire.design.objective import SOUGHT, Outcome, draw, nominal, odds, of_one
from cofire.design.partner import Wanted
from cofire.design.space import Design, laid
from cofire.errors import CofireError, InputError
from cofire.materials.card import Card, Property, Uncertainty
from cofire.numerics import Array
from cofire.physics import mixing
from cofire.physics.blends import bulk_density, dense_moduli, heated_strain
from cofire.units import ROOM, celsius, kelvin
from cofire.vessel import Vessel
from cofire.workers import each

MOST = 0.4
"""Largest share of one filler: beyond it its grains touch and hold the paste open (near the 0.36 of
randomly packed touching grains; our estimate). [-]"""
HINDERED = 0.15
"""What a filler takes from the way to density, of its own share, beyond its volume: estimate; rigid
grains hold back what sinters round them (Scherer 1987, J. Am. Ceram. Soc. 70, 719, from memory).
[-]"""
COUNTS = 0.02
"""Share of the solids from which a filler's crystals count when they turn: below it the expansion
of the body moves by less than cards are sure of (of leucite by 0.4e-6/K). Estimate. [-]"""
BAR_TEMPERATURE = kelvin(400.0)
"""Expansions are told from 20 °C to here. [K]"""
EXPANSION_SPREAD = 0.07
"""Of an expansion by rule, standard uncertainty: estimate. [-]"""
STRENGTH_FACTOR = 1.5
"""By which strength and toughness by rule may be off, besides the base's own: estimate. [-]"""
FREE_SILICA = 0.1
"""Free silica from which a recipe says what its inversion may do: estimate. [-]"""
INVERTS = (
    "; its grains shrink at an inversion and may crack the body round them, which no figure here "
    "sees: use it finer than 10 µm, and wear a mask, its dust harms the lungs"
)
GRID = 20.0
"""Distance of the rows of a mixed table. [K]"""
SHARES = (0.15, 0.25, 0.4)
"""Shares that are tried. [-]"""
SOURCE = "{rule}, of {base} with {what}: verify with one bar"
INSIDE = 0.25
"""How far within the range of a wanted expansion a recipe aims, of the way to the ideal. [-]"""
TOGETHER = 5
"""Mixes a job. [-]"""
SHOWN = 3
"""Recipes that are asked for their chance. [-]"""
IN_METAL = (
    "fused silica powder", "beta-spodumene powder", "beta-eucryptite powder", "tungsten powder",
)  # fmt: skip
"""Fillers that lower a metal's expansion."""
FRITS = ("high-expansion frit", "nepheline syenite")
"""Those that melt into a body and move its maturing."""
TABLES = ("glass_viscosity", "body_viscosity", "sag_viscosity")


def recipe_name(base: str, added: Sequence[tuple[str, float]]) -> str:
    """Name of a mixed paste.

    Parameters
    ----------
    base : str
        Of the body or metal.
    added : sequence of (str, float)
        Fillers and their shares of the solid volume. [-]

    Returns
    -------
    str
        As a band may name it.
    """
    told = " and ".join(f"{100 * share:.3g} % {name}" for name, share in added)
    return f"{base} with {told}"


def mixed_card(base: Card, added: Sequence[tuple[Card, float]]) -> Card:
    """The card of a body or metal with fillers, by volume of solids.

    Parameters
    ----------
    base : Card
        A metal or a ceramic, no blend.
    added : sequence of (Card, float)
        Fillers, or other ceramics, and their shares of the solid volume, at most `MOST` each and
        60 % together. [-]

    Returns
    -------
    Card
        Of the base's kind; its expansion is an estimate of 7 %.

    Raises
    ------
    InputError
        A blend as base, or shares out of bounds.
    """
    if base.parts or base.kind not in ("metal", "ceramic"):
        raise InputError(f"{base.name}: a recipe starts from one metal or one body, not a blend")
    total = sum(share for _, share in added)
    for card, share in added:
        if not 0.0 < share <= MOST or total > 0.6:
            raise InputError(
                f"{base.name} with {100 * share:.3g} % {card.name}: allowed: above 0 to "
                f"{100 * MOST:g} % of one filler and 60 % of all"
            )
    name = recipe_name(base.name, [(card.name, share) for card, share in added])
    found, volume = base, 1.0 - total
    for card, share in added:
        volume += share
        found = _with_one(found, card, share / volume)
    properties = {k: replace(p, owner=name) for k, p in found.properties.items()}
    return replace(
        found,
        name=name,
        properties=properties,
        summary=f"by rule: {name}; a first figure until a bar is measured",
        origin=f"recipe from {base.origin or base.name}",
    )


def _with_one(base: Card, filler: Card, x: float) -> Card:
    """The base with one filler, x of the solid volume of both."""
    tables = [c[k] for c in (base, filler) for k in ("thermal_expansion", "young_modulus")]
    ends = [t.reach[1] for t in tables if t.temperature is not None and not t.single]
    own_end = base["thermal_expansion"].reach[1]
    top = own_end if np.isfinite(own_end) else min(ends, default=kelvin(1000.0))
    rows = np.unique(np.append(np.arange(ROOM, top, GRID), top))
    moduli = [dense_moduli(c, rows) for c in (filler, base)]
    bulk, shear = mixing.elastic_moduli(x, *moduli)
    strains = [heated_strain(c, rows) for c in (filler, base)]
    strain = mixing.free_strain(x, strains[0], strains[1], moduli[0][0], moduli[1][0], bulk)
    young = mixing.young_modulus(bulk, shear)
    poisson = float(mixing.poisson_ratio(bulk, shear)[0])
    told = f"{100 * x:.3g} % {filler.name}"
    melts = _melts(base, filler)

    def table(key: str, values: Array, at: Array, rule: str, spread: float) -> Property:
        count = values.size
        source = SOURCE.format(rule=rule, base=base.name, what=told)
        return Property(
            key, base.name, at, values, (Uncertainty("%", spread),) * count, (source,) * count,
            ("derived",) * count,
        )  # fmt: skip

    def number(key: str, value: float) -> Property:
        old = base[key]
        source = SOURCE.format(rule="by volume", base=base.name, what=told)
        return replace(
            old, value=np.array([value]), source=(source,), basis=("derived",),
            uncertainty=old.uncertainty[:1],
        )  # fmt: skip

    warm = rows[1:]
    properties = dict(base.properties)
    properties["thermal_expansion"] = table(
        "thermal_expansion", np.expm1(strain[1:]) / (warm - ROOM), warm, "Levin", EXPANSION_SPREAD
    )
    properties["young_modulus"] = table("young_modulus", young, rows, "self-consistent", 0.1)
    properties["poisson_ratio"] = number("poisson_ratio", poisson)
    densities = [c["theoretical_density"].scalar for c in (filler, base)]
    properties["theoretical_density"] = number(
        "theoretical_density", float(mixing.density(x, *densities))
    )
    for key in ("green_density", "fired_density", "full_density", "least_density"):
        if key in base:
            own = base[key].scalar
            if key in ("fired_density", "full_density"):
                green = base["green_density"].scalar
                own -= HINDERED * x * (own - green) if not melts else 0.0
            value = float(bulk_density(1.0 - x, own, 1.0)) if not melts else own
            properties[key] = number(key, min(value, 0.995))
    for key in ("free_quartz", "cristobalite"):
        share = (1.0 - x) * base.scalar(key, 0.0) + x * filler.scalar(key, 0.0)
        if share > 0.0:
            source = key if key in base else None
            old = base[key] if source else filler[key]
            properties[key] = replace(old, owner=base.name, value=np.array([share]))
    some = (base,) if x < COUNTS else (base, filler)
    lasting = [c["stable_time"] for c in some if "stable_time" in c]
    if lasting:  # a filler's crystals stand in the base's glass
        shortest = min(lasting, key=lambda p: float(p.value.min()))
        properties["stable_time"] = replace(shortest, owner=base.name)
    if "crystal_fraction" in base and not melts:
        crystals = (1.0 - x) * base["crystal_fraction"].scalar + x
        properties["crystal_fraction"] = number("crystal_fraction", min(crystals, 0.62))
    for key in ("strength", "fracture_toughness"):
        if key in base:
            old = base[key]
            wider = tuple(_wider(u) for u in old.uncertainty)
            properties[key] = replace(old, uncertainty=wider)
    changes = tuple(
        replace(c, step=(1.0 - x) * c.step, expansion_change=(1.0 - x) * c.expansion_change)
        for c in base.transformations
    )
    mixed = replace(base, properties=properties, transformations=changes)
    return _softened(mixed, filler, x) if melts else mixed


def _melts(base: Card, filler: Card) -> bool:
    """Whether a filler is a frit that matures below the body it is mixed into."""
    if filler.name not in FRITS or base.fired_at is None or filler.fired_at is None:
        return False
    return filler.fired_at.peak < base.fired_at.peak


def _wider(u: Uncertainty) -> Uncertainty:
    """An uncertainty with the factor of a rule in it."""
    if u.form == "factor":
        spread = np.hypot(np.log(u.size), np.log(STRENGTH_FACTOR))
        return Uncertainty("factor", float(np.exp(spread)))
    if u.form == "%":
        return Uncertainty("%", float(np.hypot(u.size, STRENGTH_FACTOR - 1.0)))
    return u


def _softened(card: Card, frit: Card, x: float) -> Card:
    """The body maturing cooler by the frit's share of the way to the frit's own maturing."""
    if card.fired_at is None or frit.fired_at is None:
        return card
    shift = x * (frit.fired_at.peak - card.fired_at.peak)
    properties = dict(card.properties)
    for key in TABLES:
        table = card.properties.get(key)
        if table is not None and table.temperature is not None:
            properties[key] = replace(table, temperature=table.temperature + shift)
    for key in ("firing_ceiling", "reduced_ceiling"):
        if key in card:
            properties[key] = replace(card[key], value=card[key].value + shift)
    fired_at = replace(card.fired_at, peak=card.fired_at.peak + shift)
    return replace(card, properties=properties, fired_at=fired_at)


def mean_expansion(card: Card, temperature: float = BAR_TEMPERATURE) -> float:
    """Mean expansion from 20 °C, inversions in it. [1/K]

    Parameters
    ----------
    card : Card
        One material.
    temperature : float
        Up to here. [K]
    """
    strain = float(heated_strain(card, np.array([temperature]))[0])
    return float(np.expm1(strain)) / (temperature - ROOM)


@dataclass(frozen=True)
class Recipe:
    """A paste to mix, and what it does to a vessel.

    Attributes
    ----------
    base, filler, share
        What is mixed with how much of what, of the solid volume. [-]
    before, after
        Mean expansion from 20 to 400 °C without and with it. [1/K]
    shrinkage
        Linear firing shrinkage with it over that without. [-]
    vessel
        With the paste in place of the base.
    card
        Of the paste, by rule.
    outcome
        Of the vessel, in the firing it has.
    without
        Of the vessel with the base as it is, over as many draws: of the same points, but where the
        filler brings a property that the base lacks.
    """

    base: str
    filler: str
    share: float
    before: float
    after: float
    shrinkage: float
    vessel: Vessel
    card: Card
    outcome: Outcome
    without: Outcome

    @property
    def gain(self) -> float:
        """Of the chance that the pot is kept. [-]"""
        return self.outcome.chance - self.without.chance

    @property
    def text(self) -> str:
        """What to mix and how to verify it."""
        spread = EXPANSION_SPREAD * self.after
        return (
            f"{100 * self.share:.3g} % {self.filler} in your {self.base} (of the solid volume): "
            f"{1e6 * self.after:.3g} ± {1e6 * spread:.1g}e-6/K by rule instead of "
            f"{1e6 * self.before:.3g}, and {self.shrinkage:.2g} of its firing shrinkage; verify "
            "with one expansion bar and one shrinkage bar before you print"
            + (INVERTS if self.inverts else "")
        )

    @property
    def inverts(self) -> bool:
        """Whether the filler brings an inversion of silica into the paste."""
        shares = [self.card.scalar(key, 0.0) for key in ("free_quartz", "cristobalite")]
        return sum(shares) > FREE_SILICA and self.filler.split()[0] in ("quartz", "cristobalite")


def propose_recipes(
    vessel: Vessel,
    bench: Bench,
    design: Design,
    fillers: Mapping[str, Card],
    *,
    shares: Sequence[float] = SHARES,
    samples: int = 16,
) -> list[Recipe]:
    """Fillers in the body and in the metal, each in the vessel as designed: what they reach.

    Every filler and share is fired with the cards as they stand; the best few are asked for their
    chance, and so is the design without them, over as many draws. The firing stays: where a frit
    makes the body mature cooler, plan again with the paste.

    Parameters
    ----------
    vessel : Vessel
        With the firing.
    bench : Bench
        With the cards as they stand.
    design : Design
        The layout to keep.
    fillers : mapping
        By name, from `load_fillers`.
    shares : sequence of float
        That are tried, of the solid volume. [-]
    samples : int
        Over which chances are asked. [-]

    Returns
    -------
    list of Recipe
        Best first; none where no mix can be fired, or not the design itself.
    """
    metal, ceramic, below = bench.zones(vessel)
    some = list(_pairs(metal, ceramic, fillers, shares))
    jobs = [(bench, vessel, design, some[k : k + TOGETHER]) for k in range(0, len(some), TOGETHER)]
    tries = [one for found in each(_tried, jobs, bench.executor) for one in found]
    tries.sort(key=lambda t: t[0].cost)
    plain = laid(vessel, metal.name, ceramic.name, below, design)
    (without,) = odds(bench, draw(bench, plain, samples, SOUGHT), [plain], nominal(bench, [plain]))
    if without is None:
        return []
    best: dict[tuple[str, str], Recipe] = {}
    for outcome, base, filler, share, card, one in tries:
        if (base.name, filler.name) in best or len(best) >= SHOWN:
            continue
        other = Bench(
            {**bench.cards, card.name: card}, True, bench.fineness, bench.ratios,
            executor=bench.executor,
        )  # fmt: skip
        (asked,) = odds(other, draw(other, one, samples, SOUGHT), [one], [outcome])
        assert asked is not None
        best[base.name, filler.name] = Recipe(
            base.name, filler.name, share, mean_expansion(base), mean_expansion(card),
            _shrinkage(card) / max(_shrinkage(base), 1e-9), one, card, asked, without,
        )  # fmt: skip
    return sorted(best.values(), key=lambda r: round(r.outcome.cost, 2))


Tried = tuple[Outcome, Card, Card, float, Card, Vessel]


def _tried(
    job: tuple[Bench, Vessel, Design, Sequence[tuple[Card, Card, float]]],
) -> list[Tried]:
    """Some mixes in the vessel with the cards as they stand, without those that cannot be fired."""
    bench, vessel, design, some = job
    metal, ceramic, below = bench.zones(vessel)
    found: list[Tried] = []
    for base, filler, share in some:
        try:
            card = mixed_card(base, [(filler, share)])
            other = Bench({**bench.cards, card.name: card}, True, bench.fineness, bench.ratios)
            own = (card.name, ceramic.name) if base.name == metal.name else (metal.name, card.name)
            one = laid(vessel, *own, below, design)
            outcome = of_one(other, one)
        except CofireError:
            continue
        if outcome is not None:
            found.append((outcome, base, filler, share, card, one))
    return found


def share_for(
    base: Card, filler: Card, expansion: float, temperature: float = BAR_TEMPERATURE
) -> float | None:
    """Share of a filler that brings the mean expansion from 20 °C to a wanted figure.

    Parameters
    ----------
    base, filler : Card
        What is mixed.
    expansion : float
        Wanted. [1/K]
    temperature : float
        Up to here; by default 400 °C. [K]

    Returns
    -------
    float or None
        Of the solid volume, to a hundredth [-]; None where no share up to `MOST` reaches it.
    """

    def off(share: float) -> float:
        return mean_expansion(mixed_card(base, [(filler, share)]), temperature) - expansion

    low, high = 0.01, MOST
    at = off(low), off(high)
    if at[0] * at[1] > 0.0:
        return None
    while high - low > 0.005:
        middle = 0.5 * (low + high)
        if off(middle) * at[0] > 0.0:
            low = middle
        else:
            high = middle
    return round(0.5 * (low + high), 2)


def recipes_for(
    base: Card,
    expansion: float,
    fillers: Mapping[str, Card],
    temperature: float = BAR_TEMPERATURE,
) -> list[tuple[str, float, float]]:
    """Mixes of a body or metal that come to a wanted expansion, or as near as a filler takes it.

    Parameters
    ----------
    base : Card
        The user's body or metal.
    expansion : float
        Mean from 20 °C that is wanted. [1/K]
    fillers : mapping
        By name, from `load_fillers`.
    temperature : float
        Up to which expansions are meant; by default 400 °C. [K]

    Returns
    -------
    list of (str, float, float)
        Filler, share of the solid volume [-] and expansion [1/K]; what the user owns first, then
        the nearest, then the least share. Fillers that lead away from the figure are left out.
    """
    before = mean_expansion(base, temperature)
    found = []
    for filler in fillers.values():
        if (base.kind == "metal") != (filler.name in IN_METAL) and filler.name not in IN_METAL:
            continue
        if base.kind == "ceramic" and filler.kind == "metal":
            continue
        share = share_for(base, filler, expansion, temperature) or MOST
        reached = mean_expansion(mixed_card(base, [(filler, share)]), temperature)
        if abs(reached - expansion) < abs(before - expansion):
            found.append((filler.name, share, reached))
    return sorted(found, key=lambda f: (round(abs(f[2] - expansion), 7), f[1]))


def wanted_recipes(wanted: Wanted, fillers: Mapping[str, Card]) -> list[str]:
    """What to mix into the partner that a vessel has, so that its expansion suits the zone.

    Parameters
    ----------
    wanted : Wanted
        From `wanted_partner`.
    fillers : mapping
        By name, from `load_fillers`.

    Returns
    -------
    list of str
        A few recipes in a maker's words; none where the partner is within the range already, or no
        filler leads towards it.
    """
    r = next(one for one in wanted.ranges if one.name == "expansion")
    base, upto = wanted.template, wanted.stored_from
    apart = r.apart(mean_expansion(base, upto))
    if apart == 0.0:
        return []
    edge = r.low if apart < 0.0 else r.high
    aim = edge + INSIDE * (r.ideal - edge)
    found = recipes_for(base, aim, fillers, upto)[:SHOWN]
    return [recipe_text(base.name, *one, upto) for one in found]


def recipe_text(
    base: str, filler: str, share: float, reached: float, temperature: float = BAR_TEMPERATURE
) -> str:
    """A recipe in a maker's words.

    Parameters
    ----------
    base, filler : str
        What is mixed.
    share : float
        Of the solid volume. [-]
    reached : float
        Expansion by rule. [1/K]
    temperature : float
        Up to which it is meant; by default 400 °C. [K]

    Returns
    -------
    str
        Without a full stop.
    """
    return (
        f"{100 * share:.0f} % {filler} in your {base} (of the solid volume), "
        f"{1e6 * reached:.1f} ± {1e6 * EXPANSION_SPREAD * reached:.1f}e-6/K by rule "
        f"from 20 to {celsius(temperature):.0f} °C; verify with one expansion bar"
    )


def _pairs(
    metal: Card, ceramic: Card, fillers: Mapping[str, Card], shares: Sequence[float]
) -> Iterator[tuple[Card, Card, float]]:
    for filler, share in product(fillers.values(), shares):
        if filler.name in IN_METAL:
            yield metal, filler, share
        if filler.kind == "ceramic":
            yield ceramic, filler, share


def _shrinkage(card: Card) -> float:
    """Linear, from green to fired. [-]"""
    ratio = card["green_density"].scalar / card["fired_density"].scalar
    return 1.0 - float(ratio ** (1.0 / 3.0))
