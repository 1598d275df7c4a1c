"""What holds between two materials, or one and the gas: first liquids, and how well joints hold.

Numbers, sources and uncertainties stand in `material_tables/pairs.toml`. A metal is looked up by
its base, the first of its card's elements, a ceramic by its families (`families`), so that a
user's own cards are covered. What the table does not know it does not guess: pairs of metals in
neither of its lists are named in `FirstLiquid.unknown`.

A folder of the user's tables may hold a `pairs.toml` of its own, in the same form: it adds to the
shipped one and takes the place of what has its name (`extended_pairs`). Its joints may name
materials and say only what was measured. It travels with the cards (`Card.pairs`).

A liquid is that of the pair at equilibrium. It says where melting can begin, not how much melts;
alloying elements other than the base are looked at only where an entry names them.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources.abc import Traversable
from itertools import combinations_with_replacement, product
from pathlib import Path
from typing import Any

import numpy as np

from cofire.errors import InputError, UnknownName
from cofire.files import Fields, bundled_tables, first_of, folded, read_toml, show
from cofire.materials.card import Card, Uncertainty, pure_cards
from cofire.materials.card_file import listed_sources, read_sources, read_uncertainty
from cofire.materials.properties import BASES, ELEMENTS, GASES
from cofire.units import celsius, kelvin

PAIRS_FILE = "pairs.toml"
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
    """One class of joints of the table, or one joint; a rule where a number follows from the cards.

    `between` holds families, or names of materials. `toughness` in J/m², `shear_strength` in Pa;
    0 without a rule where the entry says nothing of it, and the next one that fits does. `own`
    says that it is of a user's table.
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
    own: bool = False

    @property
    def named(self) -> int:
        """How many of the two are materials by name. [-]"""
        return sum(word not in FAMILIES for word in self.between)

    @property
    def key(self) -> tuple[str, ...]:
        """What it is about: entries of the same are of the same name."""
        return (*sorted(map(folded, self.between)), self.base)

    def told(self) -> str:
        """What it is about, and what of it is a number, with uncertainty and source."""
        halves = (
            ("toughness", self.toughness, "J/m²", self.toughness_uncertainty,
             self.toughness_basis, self.toughness_source),
            ("shear strength", 1e-6 * self.shear_strength, "MPa", self.shear_uncertainty,
             self.shear_basis, self.shear_source),
        )  # fmt: skip
        said = [
            f"{what} {value:.3g} {unit} (factor {unsure.size:g}; {basis}: {source})"
            for what, value, unit, unsure, basis, source in halves
            if value
        ]
        return f"{' | '.join(self.between)}: {'; '.join(said)}"


@dataclass(frozen=True)
class Pairs:
    """The table: liquids, pairs of bases known to make none, and classes of joints.

    The first joint that fits counts.
    """

    liquids: tuple[Liquid, ...]
    harmless: tuple[tuple[str, str], ...]
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
    own
        What the user's own table says of where the toughness comes from; empty where it does not.
    """

    toughness: float
    shear_strength: float
    toughness_factor: float
    shear_factor: float
    source: str
    basis: str
    own: str = ""


# -- reading ---------------------------------------------------------------------------------


class PairsReader:
    """Turns one parsed file into the table, and collects a complaint of every wrong entry.

    Where names of materials are given the file is a user's: its joints may be between them.
    """

    def __init__(
        self, table: dict[str, Any], where: str, materials: Iterable[str] | None = None
    ) -> None:
        self.table = table
        self.where = where
        self.own = materials is not None
        self.materials = {folded(name): name for name in materials or ()}
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
        for name in () if self.problems else sources.keys() - self.used:
            self.problems.append(f"{self.where}: sources: {name} is used by no entry; remove it")
        if self.problems:
            return None
        self._refuse_twins([found.name for found in liquids if found], "liquid")
        self._refuse_twins([found.key for found in joints if found], "joint")
        if self.problems:
            return None
        return Pairs(
            tuple(found for found in liquids if found),
            tuple(dict.fromkeys(pair for found in harmless for pair in found or ())),
            tuple(found for found in joints if found),
            self.where,
        )

    def _refuse_twins(self, names: Sequence[Hashable], kind: str) -> None:
        for n, name in enumerate(names):
            if name in names[:n]:
                first = names.index(name) + 1
                self.problems.append(
                    f"{self.where}: {kind} {n + 1}: is about the same as {kind} {first}; "
                    "leave one out"
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

    def _harmless(self, fields: Fields, sources: Mapping[str, str]) -> list[tuple[str, str]] | None:
        try:
            self._source(fields, "source", sources)
            fields.choice("basis", BASES)
            given = fields.table.get("bases")
            pairs = given if isinstance(given, list) else []
            if not pairs or not all(
                isinstance(p, list) and len(p) == 2 and all(e in ELEMENTS for e in p) for p in pairs
            ):
                raise fields.refuse("bases", given, 'pairs of elements, [["Ag", "Au"], ...]')
            return [(min(pair), max(pair)) for pair in pairs]
        except InputError as error:
            self.problems.append(str(error))
        return None

    def _joint(self, fields: Fields, sources: Mapping[str, str]) -> Joint | None:
        try:
            between = self._between(fields)
            base = fields.choice("base", ("", *ELEMENTS), "")
            if base and not {"metal"} & set(between):
                raise fields.refuse("base", base, "only where between has 'metal'")
            said = [
                any(key.startswith(what) for key in fields.table) for what in ("toughness", "shear")
            ]
            if self.own and not any(said):
                raise fields.refuse(
                    "toughness_J_per_m2", None, "a number here, or shear_strength_MPa, or both"
                )
            tough, shear = (
                self._half(fields, sources, *half) if stated or not self.own else _UNSAID
                for stated, half in zip(said, (_TOUGHNESS, _SHEAR), strict=True)
            )
            return Joint(
                between=between,
                base=base,
                toughness=tough[0],
                toughness_rule=tough[1],
                toughness_uncertainty=tough[2],
                toughness_source=tough[3],
                toughness_basis=tough[4],
                shear_strength=shear[0] * 1e6,
                shear_rule=shear[1],
                shear_uncertainty=shear[2],
                shear_source=shear[3],
                shear_basis=shear[4],
                own=self.own,
            )
        except InputError as error:
            self.problems.append(str(error))
        return None

    def _between(self, fields: Fields) -> tuple[str, str]:
        """Two families, or in a user's file materials by name, as their cards have it."""
        given = fields.table.get("between")
        mine = ", or names of materials" if self.own else ""
        if not isinstance(given, list) or len(given) != 2:
            raise fields.refuse("between", given, f"two of {', '.join(FAMILIES)}{mine}")
        found = []
        for word in given:
            if word in FAMILIES:
                found.append(str(word))
            elif not self.own:
                raise fields.refuse("between", given, f"two of {', '.join(FAMILIES)}")
            elif isinstance(word, str) and folded(word) in self.materials:
                found.append(self.materials[folded(word)])
            else:
                known = [*FAMILIES, *self.materials.values()]
                raise UnknownName(
                    "material or family", str(word), known, f"{fields.where}: between"
                )
        return found[0], found[1]

    def _half(
        self, fields: Fields, sources: Mapping[str, str], value: str, what: str,
        bounds: tuple[float, float], rules: Sequence[str],
    ) -> tuple[float, str, Uncertainty, str, str]:  # fmt: skip
        """Toughness or shear strength of a joint: number, rule, uncertainty, source and basis."""
        number, rule = _value_or_rule(fields, value, f"{what}_rule", bounds, rules)
        return (
            number,
            rule,
            _uncertainty(fields, f"{what}_uncertainty", ("factor",)),
            self._source(fields, f"{what}_source", sources),
            fields.choice(f"{what}_basis", BASES, "measured" if self.own else None),
        )


_TOUGHNESS = "toughness_J_per_m2", "toughness", (0.1, 1e6), TOUGHNESS_RULES
_SHEAR = "shear_strength_MPa", "shear", (0.1, 2000.0), SHEAR_RULES
_UNSAID = 0.0, "", Uncertainty("factor", 1.0), "", ""


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


def read_pairs(path: Traversable | Path, materials: Iterable[str] | None = None) -> Pairs:
    """The table in a file.

    Parameters
    ----------
    path : Traversable or Path
        A TOML file.
    materials : iterable of str, optional
        Names that joints of a user's file may be between.

    Returns
    -------
    Pairs
        In SI.

    Raises
    ------
    InputError
        With the first complaint, and how many more there are.
    """
    reader = PairsReader(read_toml(path), str(path), materials)
    found = reader.pairs()
    if found is None:
        raise InputError(first_of(reader.problems))
    return found


def check_pairs(path: Traversable | Path, materials: Iterable[str] | None = None) -> list[str]:
    """Every complaint about a file of pairs, one line each.

    Parameters
    ----------
    path : Traversable or Path
        A TOML file.
    materials : iterable of str, optional
        As in `read_pairs`.

    Returns
    -------
    list of str
        Empty where all is well.
    """
    try:
        reader = PairsReader(read_toml(path), str(path), materials)
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


def extended_pairs(known: Pairs, own: Pairs) -> Pairs:
    """A table with a user's own: what has a name already takes its place, the rest is added.

    A liquid goes by its name, a joint by what it is between and its base. Joints between named
    materials stand before those of a base, and these before all others; of two alike the user's.

    Parameters
    ----------
    known : Pairs
        The shipped table, or one that was extended.
    own : Pairs
        From the user's file.

    Returns
    -------
    Pairs
        Of both.
    """
    named = {folded(liquid.name): liquid for liquid in own.liquids}
    old = [named.pop(folded(liquid.name), liquid) for liquid in known.liquids]
    # a joint of the same name may say only half, the rest is then as it was: it stays behind
    joints = sorted((*own.joints, *known.joints), key=lambda j: (-j.named, not j.base))
    return Pairs(
        (*old, *named.values()),
        tuple(dict.fromkeys((*known.harmless, *own.harmless))),
        tuple(joints),
        f"{own.origin}, {known.origin}",
    )


def table_of_pairs(cards: Iterable[Card]) -> Pairs:
    """The table that came with some materials.

    Parameters
    ----------
    cards : iterable of Card
        Blends or not.

    Returns
    -------
    Pairs
        That of the first of them that has one of the user's, else the shipped one.
    """
    parts = (part for card in cards for part, _ in card.constituents)
    own = (part.pairs for part in parts if isinstance(part.pairs, Pairs))
    return next(own, None) or shipped_pairs()


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


def liquids(cards: Iterable[Card], gas: str) -> list[FirstLiquid]:
    """Every liquid and reaction that touching materials can make in a gas, the lowest first.

    Parameters
    ----------
    cards : iterable of Card
        Materials that touch each other; blends are taken apart.
    gas : str
        Around them.

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
    cards = tuple(cards)
    table = table_of_pairs(cards)
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


def first_liquid(cards: Iterable[Card], gas: str, peak: float = np.inf) -> FirstLiquid | None:
    """The lowest temperature at which a zone melts, alone, by its neighbour or by the gas.

    Parameters
    ----------
    cards : iterable of Card
        Materials that touch each other; blends are taken apart.
    gas : str
        Around them.
    peak : float
        Of the ware; a liquid that begins above it is passed over. [K]

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
    found = liquids(cards, gas)
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


MELTS_ITSELF, SWEATS = "it melts by itself", "cored or mixed powder sweats"
"""What a metal does alone, whatever the gas."""


def _own(metal: Card, unknown: tuple[tuple[str, str], ...]) -> Iterable[FirstLiquid]:
    """A metal's own first liquid, and that of its uneven powder."""
    told = (
        ("solidus", MELTS, MELTS_ITSELF, "the zone slumps"),
        ("premixed_solidus", HARMS, SWEATS, "liquid beads where the powder "
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
    known = {frozenset(pair) for pair in table.harmless}
    known |= {frozenset(liquid.bases) for liquid in table.liquids}
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
    table = pairs or table_of_pairs((one, other))
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
        next((r.own for _, r in contacts if r.own), ""),
    )


def _resistance(one: Card, other: Card, table: Pairs) -> JointResistance:
    cards = (one, other)
    fitting = [joint for joint in table.joints if _fits(joint, cards)]
    tough = next((j for j in fitting if j.toughness or j.toughness_rule), None)
    sheared = next((j for j in fitting if j.shear_strength or j.shear_rule), None)
    if tough is None or sheared is None:
        raise InputError(
            f"{table.origin}: no [[joint]] for {one.name!r} with {other.name!r}; add one between "
            "their families"
        )
    toughness = min(map(_energy, cards)) if tough.toughness_rule else tough.toughness
    shear = sheared.shear_strength
    if sheared.shear_rule == "yield":
        shear = min(c["yield_stress"].value[0] for c in cards) / np.sqrt(3.0)
    elif sheared.shear_rule:
        shear = min(c["strength"].scalar for c in cards)
    known = (tough.toughness_basis, sheared.shear_basis)
    return JointResistance(
        float(toughness),
        float(shear),
        tough.toughness_uncertainty.size,
        sheared.shear_uncertainty.size,
        f"toughness: {tough.toughness_source}; shear: {sheared.shear_source}",
        max(known, key=BASES.index),
        f"{tough.toughness_basis}: {tough.toughness_source}" if tough.own else "",
    )


def _fits(joint: Joint, cards: tuple[Card, Card]) -> bool:
    """Whether an entry is about two materials, in either order."""
    bases = {card.elements[0] for card in cards if card.kind == "metal"}
    return (not joint.base or joint.base in bases) and any(
        all(
            word in families(card) if word in FAMILIES else word == card.name
            for word, card in zip(joint.between, order, strict=True)
        )
        for order in (cards, cards[::-1])
    )


def _energy(card: Card) -> float:
    """Toughness of a ceramic as energy, K²/E at 20 °C. [J/m²]"""
    return float(card["fracture_toughness"].scalar ** 2 / card["young_modulus"].value[0])
