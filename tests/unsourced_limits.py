"""What hangs on numbers without a source: `python -m tests.unsourced_limits [--solid] [NAME ...]`.

Finds every constant of physics, mechanics and assessment whose reason says estimate, common
practice, our choice or from memory, doubles and halves it, fires and judges the shipped vessels
anew, and prints how far the worst flag of each rule moves and which grades turn over. A temperature
is moved by 100 K either way instead. Joints of `pairs.toml` that are estimates are moved together.
Vessels are fired as shells, joints, which only a solid is searched for, as solids.

A row without a change is not used by these vessels (their materials, their gas), or is far from
deciding. What is worked out when a module loads is not moved.
"""

from __future__ import annotations

import ast
import importlib
import pkgutil
import re
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

from cofire.assessment.printed import as_printed
from cofire.assessment.response import Response, as_solid, fire_vessel
from cofire.assessment.rule import VERDICTS
from cofire.assessment.verdict import judge
from cofire.design.starting import started
from cofire.errors import CofireError
from cofire.materials import pairs
from cofire.vessel import Vessel
from cofire.vessel_file import read_vessel
from tests.fired import CARDS, COARSE, KILNS

ROOT = Path(__file__).parents[1]
ROOMS = ("physics", "mechanics", "assessment")
SAYS = re.compile(r"estimate|common practice|our choice|our own|from memory", re.IGNORECASE)
TURNED = 100.0
"""Move of a temperature, either way. [K]"""
LITTLE = 0.05
"""Utilisation below which a move tells nothing. [-]"""


@dataclass(frozen=True)
class Unsourced:
    """A constant without a source.

    Attributes
    ----------
    module, name
        Where it stands.
    value
        As it stands. [in the unit of its reason]
    reason
        What stands beside it.
    """

    module: str
    name: str
    value: float
    reason: str

    @property
    def temperature(self) -> bool:
        """Whether it is a place on the temperature scale and no difference."""
        return self.reason.endswith("[K]") and self.value > 150.0

    def moved(self, way: float) -> float:
        """The value times two or by half (`way` 1 and -1), or by `TURNED` of a temperature."""
        return self.value + way * TURNED if self.temperature else self.value * 2.0**way


def unsourced() -> list[Unsourced]:
    """Every such constant that is one number, by module and place in it."""
    found = []
    for room in ROOMS:
        package = importlib.import_module(f"cofire.{room}")
        for info in pkgutil.iter_modules(package.__path__, f"cofire.{room}."):
            module = importlib.import_module(info.name)
            text = Path(str(module.__file__)).read_text(encoding="utf-8")
            lines, body = text.splitlines(), ast.parse(text).body
            for node, after in zip(body, [*body[1:], None], strict=True):
                if not isinstance(node, ast.Assign):
                    continue
                reason = lines[(node.end_lineno or 1) - 1].partition("#")[2].strip()
                if isinstance(after, ast.Expr) and isinstance(after.value, ast.Constant):
                    reason = " ".join(str(after.value.value).split())
                if not SAYS.search(reason):
                    continue
                names = [
                    n.id for n in ast.walk(node.targets[0])
                    if isinstance(n, ast.Name) and n.id.isupper()
                ]  # fmt: skip
                for name in names:
                    value = getattr(module, name)
                    if isinstance(value, int | float) and not isinstance(value, bool):
                        found.append(Unsourced(info.name, name, float(value), reason))
    return found


@contextmanager
def moved_constant(one: Unsourced, way: float) -> Iterator[None]:
    """The constant moved in its own module and wherever it was imported to."""
    old = getattr(sys.modules[one.module], one.name)
    holders = [
        module for name, module in list(sys.modules.items())
        if name.startswith("cofire.") and getattr(module, one.name, None) is old
    ]  # fmt: skip
    for module in holders:
        setattr(module, one.name, one.moved(way))
    try:
        yield
    finally:
        for module in holders:
            setattr(module, one.name, old)


@contextmanager
def moved_joints(what: str, way: float) -> Iterator[None]:
    """Toughness or shear strength of every joint of the table that is an estimate, moved."""
    known, old = pairs.shipped_pairs(), pairs.shipped_pairs
    basis = "toughness_basis" if what == "toughness" else "shear_basis"
    joints = tuple(
        replace(j, **{what: getattr(j, what) * 2.0**way}) if getattr(j, basis) == "estimate" else j
        for j in known.joints
    )
    changed = replace(known, joints=joints)
    pairs.shipped_pairs = lambda: changed  # type: ignore[assignment]
    try:
        yield
    finally:
        pairs.shipped_pairs = old


Judged = dict[str, tuple[float, int]]
"""Worst utilisation and grade of each rule; under "" the verdict's grade."""


def judged(vessel: Vessel, solid: bool = False) -> Judged:
    """A vessel fired and judged."""
    response: Response = fire_vessel(vessel, CARDS, extend=True, control=COARSE, fineness=0.5)
    verdict = judge(as_solid(response) if solid else response)
    found: Judged = {"": (0.0, verdict.grade)}
    for flag in verdict.flags:  # the worst first
        found.setdefault(flag.rule, (flag.counted, flag.grade))
    return found


def vessels() -> dict[str, Vessel]:
    """The shipped vessels as their changes of paste leave them, each with a firing."""
    found = {}
    for path in sorted((ROOT / "examples").glob("*.toml")):
        if "[profile]" in path.read_text(encoding="utf-8"):
            vessel = read_vessel(path, KILNS)
            vessel = started(vessel, CARDS) if vessel.firing is None else vessel
            fired = fire_vessel(vessel, CARDS, extend=True, control=COARSE, fineness=0.5)
            density = {
                card.name: float(fired.history.relative_density[row, -1])
                for row, card in fired.materials
            }
            found[path.stem] = as_printed(vessel, fired.cards, density)
    return found


def told(before: dict[str, Judged], after: dict[str, Judged]) -> tuple[str, str]:
    """The rule that moves farthest, and every grade that turns over."""
    moves, turns = [], []
    for name, old in before.items():
        new = after[name]
        for rule in old.keys() & new.keys():
            (u, grade), (v, other) = old[rule], new[rule]
            if grade != other:
                what = rule or "VERDICT"
                turns.append(f"{name}: {what} {VERDICTS[grade]} to {VERDICTS[other]}")
            if rule and max(u, v) > LITTLE and u > 0.0 and v > 0.0 and abs(v / u - 1.0) > 0.005:
                moves.append((max(u / v, v / u), f"{rule} {u:.2g} to {v:.2g} ({name})"))
    return max(moves, default=(1.0, "none"))[1], "; ".join(turns) or "none"


def main(arguments: list[str]) -> None:
    """Print the table as Markdown rows, one a constant and way."""
    asked = {a for a in arguments if not a.startswith("-")}
    given = vessels()
    before = {name: judged(vessel) for name, vessel in given.items()}
    print("| number | value | moved | farthest | turns over |\n| --- | --- | --- | --- | --- |")
    for one in unsourced():
        if asked and one.name not in asked:
            continue
        for way, sign in ((1.0, "+100 K"), (-1.0, "-100 K")):
            step = sign if one.temperature else ("x 2" if way > 0.0 else "/ 2")
            try:
                with moved_constant(one, way):
                    after = {name: judged(vessel) for name, vessel in given.items()}
            except (CofireError, ValueError, ArithmeticError) as error:
                row = f"refused: {str(error)[:60]}", ""
            else:
                row = told(before, after)
            place = one.module.removeprefix("cofire.")
            cells = f"{place}.{one.name}", f"{one.value:.4g}", step, *row
            print(f"| {' | '.join(cells)} |", flush=True)
    if "--solid" in arguments:
        before = {name: judged(vessel, solid=True) for name, vessel in given.items()}
        for what in ("toughness", "shear_strength"):
            for way, step in ((1.0, "x 2"), (-1.0, "/ 2")):
                with moved_joints(what, way):
                    after = {name: judged(vessel, solid=True) for name, vessel in given.items()}
                row = told(before, after)
                cells = f"pairs.toml, {what} by estimate", "", step, *row
                print(f"| {' | '.join(cells)} |", flush=True)


if __name__ == "__main__":
    main(sys.argv[1:])
