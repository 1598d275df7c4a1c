"""The zones printed apart: how far they slide, what friction pulls, and what a maker gets."""

from __future__ import annotations

from dataclasses import replace
from functools import cache, partial
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from cofire.assessment.check import check_vessel
from cofire.assessment.firing_rules import SAG
from cofire.assessment.response import Response
from cofire.assessment.rule import STRESS
from cofire.assessment.verdict import rule_of
from cofire.design.apart import (
    BEARS,
    FRICTION,
    Apart,
    dragged,
    propose_apart,
    seated,
    slide,
    standing,
    thickened,
)
from cofire.design.candidates import ROUGH, Bench, fire_candidates
from cofire.design.fired_size import decay_length
from cofire.design.objective import Outcome
from cofire.design.transition import given_layout
from cofire.files import LONGEST_NAME
from cofire.mechanics.solid import elastic_solid, solid
from cofire.mechanics.solid_mesh import mesh_solid
from cofire.production.green import green_vessel
from cofire.production.paste import batches, cost
from cofire.report.apart import LOWER, UPPER, _width, apart_files, apart_lines, apart_row
from cofire.report.read_again import firing_toml
from cofire.report.verdict import number
from cofire.vessel import Band, Vessel
from cofire.vessel_file import read_vessel
from tests.fired import CARDS, KILNS, TEA_LIGHT, written_vessel

pytestmark = pytest.mark.usefixtures("solids_are_rough")

VESSEL = written_vessel(TEA_LIGHT)
BENCH = Bench(CARDS, fineness=ROUGH)
METAL, BODY = CARDS["fine silver"], CARDS["fritted body"]
WALL, RADIUS, AT = 4e-3, 33e-3, 18e-3


def outcome(kept: float) -> Outcome:
    return Outcome((), 0.0, np.array([kept]), np.array([kept]))


def found(kept: float) -> Apart | None:
    check = partial(check_vessel, cards=CARDS)
    return propose_apart(BENCH, VESSEL, given_layout(VESSEL, CARDS), outcome(kept), check, 2)


@cache
def tea_light_apart() -> Apart:
    one = found(0.3)
    assert one is not None
    return one


def test_a_sharp_joint_that_loses_the_pot_is_kept_where_its_zones_stand_apart() -> None:
    """Wrong if a zone alone were strained by the other: nothing of stress may come near a limit."""
    joined, one = check_vessel(VESSEL, CARDS), tea_light_apart()
    assert joined.verdict.utilisation > 1.0 > one.verdict.utilisation
    stressed = [f for f in one.verdict.flags if STRESS in rule_of(f).sees]
    assert {f.rule for f in stressed} >= {"brown", "cooling"}
    assert max(f.utilisation for f in stressed) < 0.1
    assert one.after.chance > 0.95
    # and what needs no neighbour is what it was
    for rule in ("peak", "density", "liquid"):
        of_joined, of_parts = (
            max(f.utilisation for f in v.flags if f.rule == rule)
            for v in (joined.verdict, one.verdict)
        )
        assert of_parts == pytest.approx(of_joined, rel=1e-6)


def test_it_is_not_offered_where_the_joint_holds() -> None:
    assert found(0.99) is None


def test_rings_of_one_paste_do_not_slide_and_of_two_by_what_they_shrink() -> None:
    alike = slide(BENCH, VESSEL, (METAL, METAL), AT)
    assert alike.inwards == alike.outwards == 0.0
    there, back = (slide(BENCH, VESSEL, pair, AT) for pair in ((METAL, BODY), (BODY, METAL)))
    assert (there.inwards, there.outwards) == pytest.approx((back.outwards, back.inwards))
    ends = BENCH.history(VESSEL.firing, [METAL, BODY]).free_strain[:, -1]
    dried = RADIUS * (np.exp(-ends[0]) - np.exp(-ends[1]))  # both at their dried size
    assert there.inwards >= -dried
    assert there.outwards >= dried
    assert max(there.inwards, there.outwards) < RADIUS * np.abs(ends).max() * 1.2
    # printed for a metal that shrinks a hundredth less than it does: it ends that much further in
    off = slide(BENCH, VESSEL, (METAL, BODY), AT, (float(ends[0]) + 0.01, float(ends[1])))
    assert off.inwards == pytest.approx(there.inwards + 0.01 * RADIUS, rel=0.05)


@given(
    wall=st.floats(1e-3, 10e-3),
    slid=st.tuples(st.floats(0.0, 8e-3), st.floats(0.0, 8e-3)),
    lower=st.booleans(),
)
def test_half_of_the_drawn_wall_bears_wherever_the_lower_part_slides(
    wall: float, slid: tuple[float, float], lower: bool
) -> None:
    inwards, outwards = slid
    inside, outside = thickened(wall, inwards, outwards, lower)
    for moved in (-inwards, 0.0, outwards):
        below, above = np.array([-0.5, 0.5]) * wall + moved, np.array([-0.5, 0.5]) * wall
        wide = below if lower else above
        wide += [-inside, outside]
        shared = min(below[1], above[1]) - max(below[0], above[0])
        assert shared >= BEARS * wall - 1e-9
    assert max(inside, outside) <= max(inwards, outwards) + 1e-4


def test_what_bears_is_told_of_the_drawn_wall_as_a_thicker_upper_part_may_bear_by_less() -> None:
    """By hand: sliding both ways by more than a wall, no upper wall keeps half of itself borne."""
    wall, inwards, outwards = 1.2e-3, 0.89e-3, 0.83e-3
    inside, outside = thickened(wall, inwards, outwards, lower=False)
    borne = wall - (inwards - inside)
    assert BEARS * wall - 1e-9 <= borne < BEARS * (wall + inside + outside)
    upper = SimpleNamespace(height=np.array([0.0, 20e-3]))
    told = _width(cast("Apart", SimpleNamespace(at=40e-3, upper=upper, thicker=(inside, outside))))
    assert "half of the wall as drawn always bears, the wall of the upper part is thicker" in told
    assert "half of the upper wall" not in told


def test_the_parts_are_the_vessel_cut_at_the_joint() -> None:
    lower, upper = seated(VESSEL, AT, ("fine silver", "fritted body"), (0.0, 0.0))
    assert lower.height[-1] == pytest.approx(AT)
    assert upper.height[-1] == pytest.approx(VESSEL.height[-1] - AT)
    np.testing.assert_allclose([lower.radius[-1], upper.radius[0]], RADIUS, rtol=1e-9)
    wide, _ = seated(VESSEL, AT, ("fine silver", "fritted body"), (1e-3, 0.4e-3))
    inside, outside = wide.radius - 0.5 * wide.wall, wide.radius + 0.5 * wide.wall
    np.testing.assert_allclose(inside, RADIUS - 0.5 * WALL - 1e-3)
    np.testing.assert_allclose(outside, RADIUS + 0.5 * WALL + 0.4e-3)


def test_a_wall_made_thicker_is_told_by_the_side_to_which_it_grows() -> None:
    told = "\n".join(apart_lines(replace(tea_light_apart(), thicker=(1e-3, 0.4e-3))))
    assert "wall of the lower part is thicker than drawn, by 1.0 mm inwards and 0.4 mm outw" in told


def test_a_part_of_a_vessel_with_the_longest_name_has_a_name_that_is_read() -> None:
    long = replace(VESSEL, name="Ж" * LONGEST_NAME)
    for part in seated(long, AT, ("fine silver", "fritted body"), (0.0, 0.0)):
        assert part.name.startswith("Ж" * 30)
        assert part.name.endswith(("carry the upper", "free on the lower"))
        assert len(part.name) <= LONGEST_NAME


def sag(response: object) -> list[float]:
    return [flag.figure for flag in SAG.find(cast("Response", response))]


def test_the_lower_part_bears_the_weight_of_the_upper_one_as_it_is_written() -> None:
    """A wall thicker above weighs as much more on it; cut and stood together it is the whole."""
    at, paste, more = 42e-3, "fritted body", 5e-3
    bands = Band(paste, 0.0, at), Band(paste, at, float(VESSEL.height[-1]))
    thin, thick = (seated(VESSEL, at, (paste, paste), (w, w)) for w in (0.0, 0.5 * more))
    assert np.allclose(thick[1].wall, WALL + more)
    fired = fire_candidates(BENCH, [replace(VESSEL, bands=bands), *thin, thick[1]])
    whole, lower, upper, heavy = (cast("Response", one) for one in fired)
    both = standing(lower, upper)
    assert sag(both) == pytest.approx(sag(whole), rel=1e-2)
    assert both.vessel.steps == pytest.approx([at])
    borne, borne_more = (sag(standing(lower, on))[0] - sag(lower)[0] for on in (upper, heavy))
    assert borne > 0.2 * sag(lower)[0]
    assert borne_more / borne == pytest.approx(1.0 + more / WALL, rel=2e-2)


def test_sag_of_zones_apart_is_that_of_both_parts_as_they_are_built() -> None:
    one = tea_light_apart()
    lower, upper = (cast("Response", r) for r in fire_candidates(BENCH, [one.lower, one.upper]))
    told = {flag.zone: flag.figure for flag in one.verdict.flags if flag.rule == SAG.name}
    assert [told["fine silver"], told["fritted body"]] == pytest.approx(sag(standing(lower, upper)))
    text = " ".join(apart_lines(one))
    assert f"the lower one loses {number(told['fine silver'])} % of its height" in text
    (alone,) = (f.figure for f in one.checks[0].verdict.flags if f.rule == SAG.name)
    assert alone < told["fine silver"]
    assert f"check of {LOWER} leaves that weight out: {number(alone)} %" in text


def test_a_lower_part_with_a_floor_holds_water_up_to_where_the_parts_meet() -> None:
    one = tea_light_apart()
    assert "water" not in " ".join(apart_lines(one))
    floored = replace(one.lower, radius=np.concatenate([[0.0], one.lower.radius[1:]]))
    text = " ".join(apart_lines(replace(one, lower=floored)))
    assert "it holds water up to 18 mm at most" in text


def test_friction_pulls_the_end_of_a_part_as_a_solid_says() -> None:
    """Timoshenko's long tube against a solid whose end is pulled outwards by a ring of force."""
    fired = fire_candidates(BENCH, [tea_light_apart().lower, tea_light_apart().upper])
    lower, upper = (cast("Response", one) for one in fired)
    flag = dragged(lower, upper)[1]
    vessel: Vessel = tea_light_apart().upper
    history = upper.history
    row = list(history.time).index(flag.time)
    young, poisson = history.young_modulus[0, row], 0.25  # as the decay length has it
    mesh = mesh_solid(vessel.radius, vessel.height, vessel.wall, [])
    body = solid(mesh, [0])
    radius, height, wall = RADIUS, float(vessel.height[-1]), float(vessel.wall[0])
    volume = 2.0 * np.pi * radius * wall * height
    density = BODY["theoretical_density"].scalar * history.relative_density[0, -1]
    dried = volume * density / history.mass_fraction[0, -1]
    force = np.zeros(body.load.shape)
    across = mesh.radius.shape[1]
    force[:across, 0] = FRICTION * dried * 9.80665 / across
    pulled = replace(body, load=force)
    _, stress = elastic_solid(pulled, [young], [poisson], np.zeros((1, 1)))
    row_of, weight = body.geometry.height.mean(axis=1), body.geometry.weight
    first = row_of < row_of.min() + 1e-9
    hoop = float(np.average(stress[1, first], weights=weight[first]))
    away = float(row_of.min()) / decay_length(vessel, 0.0)  # the row's middle is not the end
    told = 1e-3 * flag.figure * np.exp(-away) * np.cos(away)
    assert told == pytest.approx(hoop / young, rel=0.05)


def test_a_maker_reads_the_slide_the_width_the_cost_and_the_files() -> None:
    one = tea_light_apart()
    text = " ".join(apart_lines(one))
    for words in (
        "fine silver up to 18 mm and fritted body above it",
        f"by up to {1e3 * one.inwards[0]:.1f} mm inwards and {1e3 * one.outwards[0]:.1f} mm",
        f"of a hundred pots instead of {100 * one.before.chance:.0f}",
        "wash of alumina",
        "two pieces",
        LOWER,
        UPPER,
    ):
        assert words in text
    row = apart_row(one)
    assert row is not None
    assert (row["verdict"], row["files"]) == (one.verdict.word, [LOWER, UPPER])
    assert apart_row(None) is None


def test_the_files_of_both_parts_are_read_back_as_what_was_judged(tmp_path: Path) -> None:
    one, source = tea_light_apart(), tmp_path / "own.toml"
    source.write_text(TEA_LIGHT, encoding="utf-8")
    for name, text in apart_files(one, source, tmp_path).items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "firing.toml").write_text(firing_toml(VESSEL.firing, KILNS), encoding="utf-8")
    for name, part, check in zip((LOWER, UPPER), (one.lower, one.upper), one.checks, strict=True):
        again = read_vessel(tmp_path / name, KILNS)
        assert [b.material for b in again.bands] == [part.bands[0].material]
        np.testing.assert_allclose(again.drawn, part.drawn, atol=2e-8)
        assert check_vessel(again, CARDS).word == check.word


def test_each_part_keeps_the_prices_of_its_own_powders(tmp_path: Path) -> None:
    """Once a part could not be made: it had a price for the other part's powder."""
    one, source = tea_light_apart(), tmp_path / "own.toml"
    metal, body = (check.cards[0].name for check in one.checks)
    prices = f'\n[prices]\nper_kWh = 0.3\nkiln_kW = 2\nper_kg = {{ "{metal}" = 900, '
    source.write_text(TEA_LIGHT + prices + f'"{body}" = 3, binder = 40 }}\n', encoding="utf-8")
    for name, text in apart_files(one, source, tmp_path).items():
        (tmp_path / name).write_text(text, encoding="utf-8")
    (tmp_path / "firing.toml").write_text(firing_toml(VESSEL.firing, KILNS), encoding="utf-8")
    for name, own, check in zip((LOWER, UPPER), (metal, body), one.checks, strict=True):
        again = read_vessel(tmp_path / name, KILNS)
        assert again.prices is not None
        assert dict(again.prices.powders).keys() == {own, "binder"}
        response = replace(check.designed, vessel=again)
        found = cost(response, batches(response, green_vessel(response)))
        assert found is not None
        assert [powder for powder, _ in found.powders] == [own, "binder"]
