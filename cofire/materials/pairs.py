"""What holds between two materials, or one and the gas: first liquids, and how well joints hold.

Numbers, sources and uncertainties stand in `material_tables/pairs.toml`. A metal is looked up by
its base, the first of its card's elements, a ceramic by its families (`families`), so that a
user's own cards are covered. What the table does not know it does not guess: pairs of metals in
neither of its lists are named in `FirstLiquid.unknown`.

A liquid is that of the pair at equilibrium. It says where melting can begin, not how much melts;
alloying elements other than the base are looked at only where an entry names them.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources.abc import Traversable
from itertools import combinations_with_replacement, product
from pathlib import Path
from typing import Any

import numpy as np

from cofire.errors import InputError, UnknownName
from cofire.files import Fields, first_of, read_toml, show
from cofire.materials.card import Card, Uncertainty, pure_cards
from cofire.materials.card_file import listed_sources, read_sources, read_uncertainty
from cofire.materials.catalogue import bundled_tables
from cofire.materials.properties import BASES, ELEMENTS, GASES
from cofire.units import celsius, kelvin

MELTS, HARMS, MARKS = SEVERITIES = ("melts", "harms", "marks")
FAMILIES = ("metal", "ceramic", "glass-bonded", "oxide", "silica")
FREE_SILICA = ("free_quartz", "cristobalite")
TOUGHNESS_RULES = ("weaker body",)
SHEAR_RULES = ("weaker body", "yield")
TOP = ("sources", "liquid", "harmless", "joint")


@dataclass(frozen=True)
class Liquid:
    """One liquid or reaction of the table.

    Attributes
    ----------
    bases
        Bases of the metals that must all be there; none where a ceramic alone meets the gas.
    containing, without
        Elements that some metal must hold besides, and elements that keep it from happening.
    family, oxides
        Family of the ceramic it needs, and elements that the ceramic's card must list.
    gases
        Under which it holds.
    temperature
        Lowest. [K]
    severity
        "melts", "harms" or "marks".
    """

    name: str
    bases: tuple[str, ...]
    containing: tuple[str, ...]
    without: tuple[str, ...]
    family: str
    oxides: tuple[str, ...]
    gases: tuple[str, ...]
    temperature: float
    uncertainty: Uncertainty
    severity: str
    consequence: str
    source: str
    basis: str


@dataclass(frozen=True)
class Joint:
    """One class of joints of the table; a rule stands where a number would follow from the cards.

    `toughness` in J/m², `shear_strength` in Pa.
    """

    between: tuple[str, str]
    base: str
    toughness: float
    toughness_rule: str
    toughness_uncertainty: Uncertainty
    toughness_source: str
    toughness_basis: str
    shear_strength: float
    shear_rule: str
    shear_uncertainty: Uncertainty
    shear_source: str
    shear_basis: str


@dataclass(frozen=True)
class Pairs:
    """The table: liquids, pairs of bases known to make none, and classes of joints."""

    liquids: tuple[Liquid, ...]
    harmless: frozenset[frozenset[str]]
    joints: tuple[Joint, ...]
    origin: str


@dataclass(frozen=True)
class FirstLiquid:
    """A liquid or reaction that touching materials make, and of which materials.

    Attributes
    ----------
    zones
        Names of the cards that make it.
    temperature
        From which it can begin. [K]
    severity
        "melts", "harms" or "marks".
    consequence
        What it does, as a person reads it.
    unknown
        Pairs of metal bases present of which the table knows nothing.
    """

    name: str
    zones: tuple[str, ...]
    temperature: float
    uncertainty: Uncertainty
    severity: str
    consequence: str
    source: str
    basis: str
    unknown: tuple[tuple[str, str], ...] = ()

    def text(self, gas: str, peak: float) -> str:
        """One phrase: what begins from which temperature, and how far the peak is.

        Parameters
        ----------
        gas : str
            Around the ware.
        peak : float
            Of the ware. [K]

        Returns
        -------
        str
            For a flag or a reason.
        """
        away = peak - self.temperature
        side = f"{abs(away):.0f} K {'under' if away >= 0.0 else 'above'} the peak"
        return (
            f"{' with '.join(self.zones)} in {gas}: {self.name} from "
            f"{celsius(self.temperature):.0f} °C, {side}"
        )


@dataclass(frozen=True)
class JointResistance:
    """What a joint of two materials bears before it parts.

    Attributes
    ----------
    toughness
        Energy to part it, mostly opening. [J/m²]
    shear_strength
        Of the interface. [Pa]
    toughness_factor, shear_factor
        One standard deviation either way, as a factor: exp of the deviation of the logarithm. [-]
    source, basis
        Of both, toughness first; the basis is the weaker of the two.
    """

    toughness: float
    shear_strength: float
    toughness_factor: float
    shear_factor: float
    source: str
    basis: str


# -- reading ---------------------------------------------------------------------------------


class PairsReader:
    """Turns one parsed file into the table, and collects a complaint of every wrong entry."""

    def __init__(self, table: dict[str, Any], where: str) -> None:
        self.table = table
        self.where = where
        self.problems: list[str] = []
        self.used: set[str] = set()

    def pairs(self) -> Pairs | None:
        """The table, or None where something is wrong."""
        for key in self.table:
            if key not in TOP:
                self.problems.append(str(UnknownName("field", key, TOP, self.where)))
        try:
            sources = read_sources(self.table, self.where)
        except InputError as error:
            self.problems.append(str(error))
            return None
        liquids = [self._liquid(f, sources) for f in self._entries("liquid", _LIQUID)]
        harmless = [self._harmless(f, sources) for f in self._entries("harmless", _HARMLESS)]
        joints = [self._joint(f, sources) for f in self._entries("joint", _JOINT)]
        for name in sources.keys() - self.used:
            self.problems.append(f"{self.where}: sources: {name} is used by no entry; remove it")
        if self.problems:
            return None
        return Pairs(
            tuple(found for found in liquids if found),
            frozenset(pair for found in harmless for pair in found or ()),
            tuple(found for found in joints if found),
            self.where,
        )

    def _entries(self, kind: str, known: Sequence[str]) -> Iterable[Fields]:
        listed = self.table.get(kind, [])
        if not isinstance(listed, list):
            self.problems.append(f"{self.where}: {kind}: write it as [[{kind}]]")
            return
        for number, entry in enumerate(listed, 1):
            try:
                yield Fields(entry, f"{self.where}: {kind} {number}", known)
            except InputError as error:
                self.problems.append(str(error))

    def _source(self, fields: Fields, key: str, sources: Mapping[str, str]) -> str:
        given = fields.table.get(key)
        if not isinstance(given, str) or given not in sources:
            raise fields.refuse(key, given, f"one of [sources]: {listed_sources(given, sources)}")
        self.used.add(given)
        return sources[given]

    def _liquid(self, fields: Fields, sources: Mapping[str, str]) -> Liquid | None:
        try:
            source = self._source(fields, "source", sources)
            bases = _listed(fields, "bases", ELEMENTS)
            oxides = _listed(fields, "oxides", ELEMENTS)
            family = fields.choice("ceramic", ("", *FAMILIES[2:]), "")
            if not bases and not oxides:
                raise fields.refuse("bases", None, "elements of the metals, or oxides")
            gases = _listed(fields, "gases", GASES)
            if not gases:
                raise fields.refuse("gases", None, f"a list of {', '.join(GASES)}")
            return Liquid(
                name=fields.name(),
                bases=bases,
                containing=_listed(fields, "containing", ELEMENTS),
                without=_listed(fields, "without", ELEMENTS),
                family=family,
                oxides=oxides,
                gases=gases,
                temperature=kelvin(fields.number("temperature_C", 20.0, 3500.0)),
                uncertainty=_uncertainty(fields, "uncertainty", ("+-",)),
                severity=fields.choice("severity", SEVERITIES),
                consequence=fields.text("consequence"),
                source=source,
                basis=fields.choice("basis", BASES),
            )
        except InputError as error:
            self.problems.append(str(error))
        return None

    def _harmless(self, fields: Fields, sources: Mapping[str, str]) -> list[frozenset[str]] | None:
        try:
            self._source(fields, "source", sources)
            fields.choice("basis", BASES)
            given = fields.table.get("bases")
            pairs = given if isinstance(given, list) else []
            if not pairs or not all(
                isinstance(p, list) and len(p) == 2 and all(e in ELEMENTS for e in p) for p in pairs
            ):
                raise fields.refuse("bases", given, 'pairs of elements, [["Ag", "Au"], ...]')
            return [frozenset(pair) for pair in pairs]
        except InputError as error:
            self.problems.append(str(error))
        return None

    def _joint(self, fields: Fields, sources: Mapping[str, str]) -> Joint | None:
        try:
            between = fields.table.get("between")
            if (
                not isinstance(between, list)
                or len(between) != 2
                or not all(b in FAMILIES for b in between)
            ):
                raise fields.refuse("between", between, f"two of {', '.join(FAMILIES)}")
            base = fields.choice("base", ("", *ELEMENTS), "")
            tough, tough_rule = _value_or_rule(
                fields, "toughness_J_per_m2", "toughness_rule", (0.1, 1e6), TOUGHNESS_RULES
            )
            shear, shear_rule = _value_or_rule(
                fields, "shear_strength_MPa", "shear_rule", (0.1, 2000.0), SHEAR_RULES
            )
            return Joint(
                between=(str(between[0]), str(between[1])),
                base=base,
                toughness=tough,
                toughness_rule=tough_rule,
                toughness_uncertainty=_uncertainty(fields, "toughness_uncertainty", ("factor",)),
                toughness_source=self._source(fields, "toughness_source", sources),
                toughness_basis=fields.choice("toughness_basis", BASES),
                shear_strength=shear * 1e6,
                shear_rule=shear_rule,
                shear_uncertainty=_uncertainty(fields, "shear_uncertainty", ("factor",)),
                shear_source=self._source(fields, "shear_source", sources),
                shear_basis=fields.choice("shear_basis", BASES),
            )
        except InputError as error:
            self.problems.append(str(error))
        return None


_LIQUID = (
    "name", "bases", "containing", "without", "ceramic", "oxides", "gases", "temperature_C",
    "uncertainty", "severity", "consequence", "source", "basis",
)  # fmt: skip
_HARMLESS = ("bases", "source", "basis")
_JOINT = (
    "between", "base", "toughness_J_per_m2", "toughness_rule", "toughness_uncertainty",
    "toughness_source", "toughness_basis", "shear_strength_MPa", "shear_rule",
    "shear_uncertainty", "shear_source", "shear_basis",
)  # fmt: skip


def _listed(fields: Fields, key: str, allowed: Sequence[str]) -> tuple[str, ...]:
    """A list of words, each once; empty where the field is left out."""
    given = fields.table.get(key, [])
    if (
        not isinstance(given, list)
        or not all(word in allowed for word in given)
        or len(set(given)) != len(given)
    ):
        raise fields.refuse(key, given, f"a list of {', '.join(allowed)}, each once")
    return tuple(given)


def _uncertainty(fields: Fields, key: str, forms: Sequence[str]) -> Uncertainty:
    try:
        found = read_uncertainty(fields.table.get(key), 1.0)
    except InputError as error:
        raise InputError(f"{fields.where}: {key} = {error}") from None
    if found.form not in forms or found.size <= 0.0 or (found.form, found.size) == ("factor", 1.0):
        example = '"+- 5" (°C), above 0' if "+-" in forms else '"factor 2", above 1'
        raise fields.refuse(key, fields.table.get(key), example)
    return found


def _value_or_rule(
    fields: Fields, value: str, rule: str, bounds: tuple[float, float], rules: Sequence[str]
) -> tuple[float, str]:
    """A number, or the name of the rule by which it follows from the cards; not both."""
    if (value in fields.table) == (rule in fields.table):
        both = f"{show(fields.table.get(value))} and {rule} = {show(fields.table.get(rule))}"
        raise InputError(f"{fields.where}: {value} = {both}; allowed: one of the two")
    if rule in fields.table:
        return 0.0, fields.choice(rule, rules)
    return fields.number(value, *bounds), ""


def read_pairs(path: Traversable | Path) -> Pairs:
    """The table in a file.

    Parameters
    ----------
    path : Traversable or Path
        A TOML file.

    Returns
    -------
    Pairs
        In SI.

    Raises
    ------
    InputError
        With the first complaint, and how many more there are.
    """
    reader = PairsReader(read_toml(path), str(path))
    found = reader.pairs()
    if found is None:
        raise InputError(first_of(reader.problems))
    return found


def check_pairs(path: Traversable | Path) -> list[str]:
    """Every complaint about a file of pairs, one line each.

    Parameters
    ----------
    path : Traversable or Path
        A TOML file.

    Returns
    -------
    list of str
        Empty where all is well.
    """
    try:
        reader = PairsReader(read_toml(path), str(path))
    except InputError as error:
        return [str(error)]
    reader.pairs()
    return reader.problems


@cache
def shipped_pairs() -> Pairs:
    """The table shipped with cofire.

    Returns
    -------
    Pairs
        Read once.

    Raises
    ------
    InputError
        The table is wrong.
    """
    return read_pairs(bundled_tables().joinpath("pairs.toml"))


# -- looking up ------------------------------------------------------------------------------


def families(card: Card) -> frozenset[str]:
    """Kind of a card and the families that follow from its properties.

    Parameters
    ----------
    card : Card
        A metal or a ceramic, no blend.

    Returns
    -------
    frozenset of str
        "metal"; or "ceramic" with "glass-bonded" (it has a glass) or "oxide" (it has none), and
        "silica" where it has a glass or states free silica. Every glass of the tables is a
        silicate; one that is not would be called silica wrongly, on the safe side.
    """
    if card.kind == "metal":
        return frozenset(("metal",))
    glassy = "glass_viscosity" in card
    found = {"ceramic", "glass-bonded" if glassy else "oxide"}
    if glassy or any(card.scalar(name, 0.0) > 0.0 for name in FREE_SILICA):
        found.add("silica")
    return frozenset(found)


def liquids(cards: Iterable[Card], gas: str, pairs: Pairs | None = None) -> list[FirstLiquid]:
    """Every liquid and reaction that touching materials can make in a gas, the lowest first.

    Parameters
    ----------
    cards : iterable of Card
        Materials that touch each other; blends are taken apart.
    gas : str
        Around them.
    pairs : Pairs, optional
        The table, by default the shipped one.

    Returns
    -------
    list of FirstLiquid
        A metal's own solidus among them, and its premixed solidus as "harms".

    Raises
    ------
    UnknownName
        No such gas.
    """
    if gas not in GASES:
        raise UnknownName("gas", gas, GASES)
    table = pairs or shipped_pairs()
    present = tuple(pure_cards(cards).values())
    metals = [card for card in present if card.kind == "metal"]
    ceramics = [card for card in present if card.kind == "ceramic"]
    unknown = _unknown(metals, table)
    found = [own for metal in metals for own in _own(metal, unknown)]
    for liquid in table.liquids:
        zones = _zones(liquid, metals, ceramics, gas)
        if zones is not None:
            found.append(
                FirstLiquid(
                    name=liquid.name,
                    zones=zones,
                    temperature=liquid.temperature,
                    uncertainty=liquid.uncertainty,
                    severity=liquid.severity,
                    consequence=liquid.consequence,
                    source=liquid.source,
                    basis=liquid.basis,
                    unknown=unknown,
                )
            )
    return sorted(found, key=lambda f: (f.temperature, SEVERITIES.index(f.severity)))


def first_liquid(
    cards: Iterable[Card], gas: str, peak: float = np.inf, pairs: Pairs | None = None
) -> FirstLiquid | None:
    """The lowest temperature at which a zone melts, alone, by its neighbour or by the gas.

    Parameters
    ----------
    cards : iterable of Card
        Materials that touch each other; blends are taken apart.
    gas : str
        Around them.
    peak : float
        Of the ware; a liquid that begins above it is passed over. [K]
    pairs : Pairs, optional
        The table, by default the shipped one.

    Returns
    -------
    FirstLiquid or None
        The lowest that "melts"; None where there is no metal, or none melts up to the peak.

    Raises
    ------
    UnknownName
        No such gas.

    Examples
    --------
    The eutectic of silver and copper (NIST, Ag-Cu system):

    >>> from cofire.materials.catalogue import load_cards
    >>> cards = load_cards()
    >>> found = first_liquid((cards["fine silver"], cards["copper"]), "carbon")
    >>> round(found.temperature - 273.15, 1)
    779.1
    """
    found = liquids(cards, gas, pairs)
    return next((f for f in found if f.severity == MELTS and f.temperature <= peak), None)


def _zones(
    liquid: Liquid, metals: Sequence[Card], ceramics: Sequence[Card], gas: str
) -> tuple[str, ...] | None:
    """Names of the cards that make a liquid, or None where one is missing."""
    if gas not in liquid.gases:
        return None
    zones: list[str] = []
    held: set[str] = set()
    for base in liquid.bases:
        of_base = [
            metal
            for metal in metals
            if metal.elements[0] == base and not set(liquid.without) & set(metal.elements)
        ]
        # where an element is asked for besides, the card that holds it is the one meant
        of_base.sort(key=lambda m: not set(liquid.containing) & set(m.elements[1:]))
        if not of_base:
            return None
        zones.append(of_base[0].name)
        held |= {e for metal in of_base for e in metal.elements[1:]}
    if not set(liquid.containing) <= held:
        return None
    if liquid.family or liquid.oxides:
        fitting = [
            c
            for c in ceramics
            if (not liquid.family or liquid.family in families(c))
            and set(liquid.oxides) <= set(c.elements)
        ]
        if not fitting:
            return None
        zones.append(fitting[0].name)
    return tuple(zones)


def _own(metal: Card, unknown: tuple[tuple[str, str], ...]) -> Iterable[FirstLiquid]:
    """A metal's own first liquid, and that of its uneven powder."""
    told = (
        ("solidus", MELTS, "it melts by itself", "the zone slumps"),
        ("premixed_solidus", HARMS, "cored or mixed powder sweats", "liquid beads where the powder "
         "is uneven; prealloyed, even powder has none"),
    )  # fmt: skip
    for name, severity, what, consequence in told:
        if name in metal:
            own = metal[name]
            yield FirstLiquid(
                name=what,
                zones=(metal.name,),
                temperature=own.scalar,
                uncertainty=own.uncertainty[0],
                severity=severity,
                consequence=consequence,
                source=own.source[0],
                basis=own.basis[0],
                unknown=unknown,
            )


def _unknown(metals: Sequence[Card], table: Pairs) -> tuple[tuple[str, str], ...]:
    """Pairs of bases present of which the table says nothing."""
    bases = sorted({metal.elements[0] for metal in metals})
    known = table.harmless | {frozenset(liquid.bases) for liquid in table.liquids}
    pairs = ((a, b) for a, b in combinations_with_replacement(bases, 2) if a != b)
    return tuple(pair for pair in pairs if frozenset(pair) not in known)


def joint_resistance(one: Card, other: Card, pairs: Pairs | None = None) -> JointResistance:
    """Toughness and shear strength of the joint between two materials.

    Two pure materials take the first class of the table that fits. Where a blend stands on either
    side, every phase of one meets every phase of the other over an area that is the product of
    their shares, and the logarithms are averaged over these areas: an estimate, exact at the ends.
    The weakest contact of the average lends its uncertainty.

    Parameters
    ----------
    one, other : Card
        In either order.
    pairs : Pairs, optional
        The table, by default the shipped one.

    Returns
    -------
    JointResistance
        At 20 °C.

    Raises
    ------
    InputError
        The table has no class for the pair.
    """
    table = pairs or shipped_pairs()
    if not one.parts and not other.parts:
        return _resistance(one, other, table)
    contacts = [
        (c * d, _resistance(a, b, table))
        for (a, c), (b, d) in product(one.constituents, other.constituents)
    ]
    area = np.array([share for share, _ in contacts])
    tough = np.array([r.toughness for _, r in contacts])
    shear = np.array([r.shear_strength for _, r in contacts])
    weakest = contacts[int(np.argmin(tough))][1]
    return JointResistance(
        float(np.exp(area @ np.log(tough))),
        float(np.exp(area @ np.log(shear))),
        max(r.toughness_factor for _, r in contacts),
        max(r.shear_factor for _, r in contacts),
        f"our estimate: logarithms averaged over the areas in contact; weakest: {weakest.source}",
        "estimate",
    )


def _resistance(one: Card, other: Card, table: Pairs) -> JointResistance:
    cards = (one, other)
    for joint in table.joints:
        fits = (
            all(b in families(c) for b, c in zip(joint.between, order, strict=True))
            for order in (cards, cards[::-1])
        )
        base = not joint.base or any(
            c.kind == "metal" and c.elements[0] == joint.base for c in cards
        )
        if base and any(fits):
            break
    else:
        raise InputError(
            f"{table.origin}: no [[joint]] for {one.name!r} with {other.name!r}; add one between "
            "their families"
        )
    toughness = min(map(_energy, cards)) if joint.toughness_rule else joint.toughness
    shear = joint.shear_strength
    if joint.shear_rule == "yield":
        shear = min(c["yield_stress"].value[0] for c in cards) / np.sqrt(3.0)
    elif joint.shear_rule:
        shear = min(c["strength"].scalar for c in cards)
    known = (joint.toughness_basis, joint.shear_basis)
    return JointResistance(
        float(toughness),
        float(shear),
        joint.toughness_uncertainty.size,
        joint.shear_uncertainty.size,
        f"toughness: {joint.toughness_source}; shear: {joint.shear_source}",
        max(known, key=BASES.index),
    )


def _energy(card: Card) -> float:
    """Toughness of a ceramic as energy, K²/E at 20 °C. [J/m²]"""
    return float(card["fracture_toughness"].scalar ** 2 / card["young_modulus"].value[0])
