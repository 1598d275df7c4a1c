"""Mass lost to heat, and the shipped kinetics."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from cofire.errors import InputError
from cofire.files import bundled_tables, read_toml
from cofire.firing.kiln import Trace
from cofire.materials import binders
from cofire.materials.binders import Reaction, shipped_reactions
from cofire.materials.properties import GASES
from cofire.physics.burnout import conversion, mass_lost, oxygen_depth
from cofire.units import GAS_CONSTANT, MINUTE, celsius, kelvin
from tests.strategies import some, traces

TABLE = read_toml(bundled_tables().joinpath("binders.toml"))
SHIPPED = {r.name: r for gas in ("air", "inert") for r in shipped_reactions(gas)}


@st.composite
def reactions(draw: st.DrawFn) -> Reaction:
    """A shipped reaction with its order and energy varied."""
    reaction = SHIPPED[draw(st.sampled_from(sorted(SHIPPED)))]
    return replace(
        reaction,
        order=draw(st.one_of(st.just(1.0), st.floats(0.5, 3.0))),
        activation_energy=reaction.activation_energy * draw(st.floats(0.8, 1.25)),
    )


@some
@given(traces(kelvin(900.0)), reactions())
def test_conversion_rises_from_nothing_to_at_most_all(trace: Trace, reaction: Reaction) -> None:
    done = conversion(trace.time, trace.ware, reaction)
    assert done[0] == 0.0
    assert np.all(np.diff(done) >= 0.0)
    assert done[-1] <= 1.0


@pytest.mark.parametrize("order", [0.5, 1.0, 1.5, 2.0, 3.0])
def test_the_closed_form_solves_the_rate_equation(order: float) -> None:
    """dα/dt = k0 exp(−E/RT) (1 − α)^n on a ramp, by an adaptive integrator."""
    reaction = replace(SHIPPED["cellulose ether oxidises"], order=order)
    time = np.linspace(0.0, 400.0 * MINUTE, 400)
    ware = kelvin(20.0) + time / MINUTE

    def rate(t: float, y: np.ndarray) -> list[float]:
        T = kelvin(20.0) + t / MINUTE
        k = reaction.frequency * np.exp(-reaction.activation_energy / (GAS_CONSTANT * T))
        return [k * max(1.0 - y[0], 0.0) ** order]

    law = solve_ivp(rate, (0.0, time[-1]), [0.0], t_eval=time, rtol=1e-8, atol=1e-10)
    assert conversion(time, ware, reaction) == pytest.approx(law.y[0], abs=1e-6)


@some
@given(traces(kelvin(900.0)), reactions())
def test_nodes_between_nodes_change_nothing(trace: Trace, reaction: Reaction) -> None:
    node = np.arange(2 * trace.time.size - 1) / 2.0
    time, ware = (np.interp(node, np.arange(trace.time.size), x) for x in (trace.time, trace.ware))
    whole = conversion(trace.time, trace.ware, reaction)
    assert conversion(time, ware, reaction)[::2] == pytest.approx(whole, abs=1e-6)


@some
@given(traces(kelvin(900.0)))
def test_parallel_reactions_add(trace: Trace) -> None:
    both = [SHIPPED["cellulose ether oxidises"], SHIPPED["xanthan gum char burns"]]
    alone = [mass_lost(trace.time, trace.ware, [r]) for r in both]
    assert mass_lost(trace.time, trace.ware, both) == pytest.approx(sum(alone), abs=1e-15)
    assert np.all(mass_lost(trace.time, trace.ware, []) == 0.0)


@pytest.mark.parametrize("gas", GASES)
def test_each_gas_has_kinetics_of_binder_and_of_bound_water(gas: str) -> None:
    found = shipped_reactions(gas)
    binder = sum(r.share for r in found if r.substance == "binder")
    assert 0.8 < binder < 1.0
    assert sum(r.share for r in found if r.substance == "structural water") == 1.0
    assert found == shipped_reactions("air" if gas == "air" else "inert")


@pytest.mark.parametrize("entry", TABLE["reaction"], ids=lambda e: e["name"])
@pytest.mark.parametrize("rate", [1, 10])
def test_the_table_states_the_peaks_its_numbers_give(entry: dict[str, float], rate: int) -> None:
    reaction = Reaction(
        str(entry["name"]),
        "binder",
        1.0,
        entry["activation_energy_kJ_per_mol"] * 1e3,
        10.0 ** entry["log10_frequency_per_s"],
        entry["order"],
    )
    ware = np.linspace(kelvin(20.0), kelvin(900.0), 8801)
    time = (ware - ware[0]) * MINUTE / rate
    speed = np.gradient(conversion(time, ware, reaction), ware)
    peak = celsius(ware[int(np.argmax(speed))])
    assert peak == pytest.approx(entry[f"peak_C_{rate}_K_per_min"], abs=0.6)


def test_shares_of_each_gas_and_the_residue_make_the_whole() -> None:
    for gas in ("air", "inert"):
        lost = sum(e["mass_fraction_lost"] for e in TABLE["reaction"] if e.get("gas") == gas)
        assert lost + TABLE["residue"][f"mixture_{gas}"] == pytest.approx(1.0, abs=0.0005)


@pytest.mark.parametrize(
    ("key", "value", "complaint"),
    [
        ("order", "9.0", r"reaction 1: order = 9\.0; allowed: 0\.5 to 3"),
        ("activation_energy_kJ_per_mol", '"much"', r"reaction 1: activation_energy_kJ_per_mol"),
        ("substance", '"steam"', r"reaction 1: substance = 'steam'; allowed: 'binder'"),
    ],
)
def test_a_wrong_reaction_is_named(
    key: str, value: str, complaint: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    entry = {
        "name": '"made"',
        "substance": '"binder"',
        "mass_fraction_lost": "0.5",
        "activation_energy_kJ_per_mol": "100.0",
        "log10_frequency_per_s": "7.0",
        "order": "1.0",
        key: value,
    }
    text = "[[reaction]]\n" + "\n".join(f"{k} = {v}" for k, v in entry.items())
    (tmp_path / "binders.toml").write_text(text, encoding="utf-8")
    monkeypatch.setattr(binders, "bundled_tables", lambda: tmp_path)
    with pytest.raises(InputError, match=complaint):
        shipped_reactions.__wrapped__("air")


def test_oxygen_goes_in_with_the_root_of_the_time_and_not_before_it_burns() -> None:
    """Held hot, x² = 2 D_e C t/n; a wait in the cold before it adds nothing (Levenspiel, ch. 25).

    On a ramp it is the integral of the supply, by quadrature.
    """
    carbon, porosity, hot = 20.0, 0.4, 900.0

    def supply(T: float) -> float:
        return 2.0e-5 * (T / 293.0) ** 1.75 * porosity**1.5 * 0.21 * 101325.0 / (8.314462618 * T)

    time = np.array([0.0, 3600.0, 3601.0, 7201.0, 10801.0])
    depth = oxygen_depth(time, np.array([300.0, 300.0, hot, hot, hot]), carbon, porosity)
    known = np.sqrt(2.0 * supply(hot) * np.array([3600.0, 7200.0]) / (carbon / 0.012))
    assert depth[:2].tolist() == [0.0, 0.0]
    assert depth[3:] == pytest.approx(known, rel=2e-4)  # a second of change
    assert depth[4] / depth[3] == pytest.approx(np.sqrt(2.0), rel=2e-4)

    ramp = np.linspace(700.0, 1100.0, 200)
    gone = oxygen_depth(np.linspace(0.0, 7200.0, 200), ramp, carbon, porosity)[-1]
    whole = quad(supply, 700.0, 1100.0)[0] * 7200.0 / 400.0
    assert gone == pytest.approx(np.sqrt(2.0 * whole / (carbon / 0.012)), rel=1e-5)
    assert np.isinf(oxygen_depth(time, np.full(5, hot), 0.0, porosity)).all()
