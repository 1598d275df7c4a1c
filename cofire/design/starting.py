"""The firing to begin from where a vessel names none: the pair's own window in its kiln."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from cofire.assessment.crystal_rules import turned_grade
from cofire.assessment.own_weight import ring_stress, sag_grade, sagged
from cofire.assessment.rule import GO, NO
from cofire.assessment.windows import (
    STUDIO_GASES,
    best_gas,
    firing_windows,
    gas_rank,
    shared_window,
)
from cofire.design.firings import USUAL_RATE, Frame, Setting, frame, pure_parts
from cofire.design.programme import Part
from cofire.errors import ModelError
from cofire.firing.controller import degrees
from cofire.firing.kiln import trace
from cofire.firing.program import LAG, checked
from cofire.materials.card import Card
from cofire.physics.blends import find_material
from cofire.physics.history import Along
from cofire.physics.stability import turned
from cofire.units import MINUTE
from cofire.vessel import OpenFiring, Vessel


def started(vessel: Vessel, cards: Mapping[str, Card], extend: bool = False) -> Vessel:
    """The vessel with a firing to begin from; itself where its file has one.

    The gas is the file's, or the first of air, carbon and inert gas that suits both materials best.
    The soak is in the middle of the range of peaks that all zones share, with its shortest hold;
    where a zone would sag in it by more than a go bears, under itself and what stands on it, it is
    of five from the coolest to the hottest the next in which none does, or else the one in which
    the worst sags least (walls upright and of one thickness);
    burnout as slow as the flags of binder and char ask; a usual ramp, and a usual slow cooling
    past the set points. No stress is looked at: that is what check and plan are for.

    Parameters
    ----------
    vessel : Vessel
        From `read_vessel`.
    cards : mapping
        Materials by name.
    extend : bool
        As in `fire_vessel`.

    Returns
    -------
    Vessel
        Ready to be fired; deterministic.

    Raises
    ------
    ModelError
        The materials share no window in this kiln, or no gas suits them; the message says why.
    """
    if vessel.left_open is None or vessel.firing.segments:
        return vessel
    whole = _frame(vessel, vessel.left_open, cards, extend)
    setting = _setting(vessel, whole, cards)
    soak = whole.soaks[setting.soak]
    peak = degrees(whole.firing.kiln.controller, soak.peak)
    name = f"own window: {peak}, {soak.hold / MINUTE:.0f} min"
    firing = replace(whole.fired(setting), name=name)
    return replace(vessel, firing=checked(firing, vessel.name))


def started_in(vessel: Vessel, cards: Mapping[str, Card], extend: bool = False) -> list[Part]:
    """The segments of the firing that `started` takes, each with what it is for.

    Parameters
    ----------
    vessel : Vessel
        Whose firing has no segments, with what of it is left open.
    cards : mapping
        Materials by name.
    extend : bool
        As in `fire_vessel`.

    Returns
    -------
    list of Part
        As kiln and controller take them.

    Raises
    ------
    ModelError
        As `started`.
    """
    whole = _frame(vessel, vessel.left_open or OpenFiring(), cards, extend)
    return whole.told(_setting(vessel, whole, cards))


def _frame(vessel: Vessel, wanted: OpenFiring, cards: Mapping[str, Card], extend: bool) -> Frame:
    """What may be chosen in the gas and for the lag of a vessel's own window."""
    gas = wanted.gas or _gas(vessel, cards)
    lag = LAG[gas] if wanted.lag is None else wanted.lag
    asked = replace(vessel, firing=replace(vessel.firing, gas=gas, lag=lag))
    return frame(asked, cards, extend)


def _setting(vessel: Vessel, whole: Frame, cards: Mapping[str, Card]) -> Setting:
    """Of the soaks in which nothing sags or turns that nearest the middle, else the best of them.

    Between soaks that are no go alike the one of least sag.
    """
    bands = vessel.bands
    own = [find_material(band.material, dict(cards)) for band in bands]

    def asked(soak: int) -> tuple[int, float]:
        """Grade, and what the worst band loses of its height under itself and those above it."""
        along = Along(trace(whole.fired(Setting(soak, USUAL_RATE, USUAL_RATE))), extend=True)
        known = {card.name: card for card in own}
        history = along.of(list(known.values()))
        history = history.rows([list(known).index(card.name) for card in own])
        half = np.stack(
            [ring_stress([card], history.rows([n]), band.high - band.low)[0]
             for n, (card, band) in enumerate(zip(own, bands, strict=True))]
        )  # fmt: skip
        above = 2.0 * (np.cumsum(half[::-1], axis=0)[::-1] - half)
        lost = float(sagged(own, history, along, half + above).max())
        used = max(turned(card, history.time, history.temperature)[-1] for card in own)
        return int(max(sag_grade(lost), turned_grade(used))), lost

    count = len(whole.soaks)
    from_middle = sorted(range(count), key=lambda n: abs(n - count // 2))
    found = []
    for soak in from_middle:
        found.append((*asked(soak), soak))
        if found[-1][0] == GO:
            break
    return Setting(min(found, key=lambda f: f[:2])[2], USUAL_RATE, USUAL_RATE)


def _gas(vessel: Vessel, cards: Mapping[str, Card]) -> str:
    """The gas of a studio that suits all materials best, at the middle of their window."""
    parts = pure_parts(vessel, cards)
    metal = next((card for card in parts if card.kind == "metal"), parts[0])
    other = next((card for card in parts if card is not metal), metal)
    kiln = vessel.firing.kiln
    found = []
    for gas in STUDIO_GASES:
        windows = firing_windows([metal, other], kiln, gas)
        if window := shared_window(windows, 0, 1, kiln.max_temperature):
            found.append((window, *best_gas(metal, other, window.peak, [gas])))
    if not found:
        return STUDIO_GASES[0]  # `frame` says how far apart they are
    _, gas, grade, _ = min(found, key=lambda f: gas_rank(f[2], f[0]))
    if grade == NO:
        reason = "; ".join(dict.fromkeys(why for *_, why in found))
        raise ModelError(f"{vessel.name}: gas: {reason}; name another, as gas in [firing]")
    return gas
