"""How binder and bound water leave: kinetics from the shipped table."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from importlib.resources.abc import Traversable
from pathlib import Path

from cofire.files import Fields, bundled_tables, read_toml

SUBSTANCES = ("binder", "structural water")


@dataclass(frozen=True)
class Reaction:
    """One nth-order reaction: dα/dt = k0 exp(−E/RT) (1−α)^n, losing `share` of the substance.

    Attributes
    ----------
    substance
        "binder" or "structural water".
    share
        Mass it takes, of the substance's mass. [-]
    activation_energy
        E. [J/mol]
    frequency
        k0. [1/s]
    order
        n. [-]
    """

    name: str
    substance: str
    share: float
    activation_energy: float
    frequency: float
    order: float = 1.0


@cache
def shipped_reactions(gas: str) -> tuple[Reaction, ...]:
    """Burnout reactions of the shipped table for one gas.

    Parameters
    ----------
    gas : str
        A gas of the pack; a carbon box and hydrogen burn out as inert gas does.

    Returns
    -------
    tuple of Reaction
        Those of the binder, and of the water bound in clay.

    Raises
    ------
    InputError
        The table is wrong.
    """
    return read_reactions(bundled_tables().joinpath("binders.toml"), gas)


@cache
def ash_share() -> float:
    """What of the shipped binder's mass not even air takes: salts, no char. [-]"""
    return 1.0 - sum(r.share for r in shipped_reactions("air") if r.substance == "binder")


def read_reactions(path: Traversable | Path, gas: str) -> tuple[Reaction, ...]:
    """Burnout reactions of a table for one gas.

    Parameters
    ----------
    path : Traversable or Path
        A table as the shipped one.
    gas : str
        A gas of the pack.

    Returns
    -------
    tuple of Reaction
        Those of the binder, and of the water bound in clay.

    Raises
    ------
    InputError
        With the field, its value and what is allowed.
    """
    kinetics = "air" if gas == "air" else "inert"
    found = []
    for number, entry in enumerate(read_toml(path).get("reaction", []), 1):
        fields = Fields(entry, f"{path}: reaction {number}", entry)
        reaction = Reaction(
            fields.text("name"),
            fields.choice("substance", SUBSTANCES),
            fields.number("mass_fraction_lost", 0.0, 1.0),
            fields.number("activation_energy_kJ_per_mol", 20.0, 500.0) * 1e3,
            10.0 ** fields.number("log10_frequency_per_s", 0.0, 40.0),
            fields.number("order", 0.5, 3.0),
        )
        if fields.text("gas", kinetics) == kinetics:
            found.append(reaction)
    return tuple(found)
