"""The picture of the pot: true proportions, every zone and joint told, nothing by colour alone."""

from __future__ import annotations

import io
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from matplotlib.colors import to_rgb
from matplotlib.image import imread

from cofire.assessment.check import Check, worst_by_joint, worst_place
from cofire.assessment.response import band_stresses
from cofire.assessment.rule import NEIGHBOUR, STRESS, Flag, joint_name
from cofire.assessment.verdict import Verdict, rule_of
from cofire.assessment.windows import ceiling
from cofire.production.job import happenings, pure_materials
from cofire.report.figures import save
from cofire.report.job_figures import firing_figure, letter
from cofire.report.pot import MARKS, SIGNS, fired_wall, hatch, pot_figure, used, worst_words
from cofire.report.stress import _tones, stress_figure
from tests.fired import sharply
from tests.made import FRIT, SILVER, cylinder, fired, foot, graded, plain


def grey(colour: object) -> float:
    """What a black and white printer makes of a colour. [-]"""
    return float(np.dot([0.299, 0.587, 0.114], to_rgb(colour)))  # ITU-R BT.601


def two_pots() -> tuple[Check, Check]:
    return sharply(foot()[0]), sharply(graded()[0])


def test_both_pots_are_drawn_with_one_scale_that_is_the_same_in_both_directions() -> None:
    given, proposed = two_pots()
    figure = pot_figure(proposed, given)
    scales = []
    for axes, check in zip(figure.axes, (given, proposed), strict=True):
        box = axes.get_position()
        across = box.width * figure.get_figwidth() / np.ptp(axes.get_xlim())
        up = box.height * figure.get_figheight() / np.ptp(axes.get_ylim())
        scales += [across, up]
        wall = fired_wall(check.designed)
        points = np.concatenate([patch.get_xy() for patch in axes.patches])
        assert points[:, 1].max() == pytest.approx(1e3 * wall.height[-1])
        assert points[:, 0].min() == pytest.approx(-1e3 * wall.outside.max(), rel=1e-3)
    np.testing.assert_allclose(scales, scales[0])
    sizes = [
        scales[0] * 1e3 * max(wall.height[-1], 2.0 * wall.outside.max())
        for wall in (fired_wall(check.designed) for check in (given, proposed))
    ]
    assert 1.5 < max(sizes) < 5.1  # inches: large enough to be seen, small enough for a page


def test_every_zone_is_named_and_every_joint_tells_its_height_and_what_it_uses_up() -> None:
    check = sharply(graded()[0])
    texts = [t.get_text() for t in pot_figure(check).axes[0].texts]
    assert texts[:3] == ["fritted body", "50 % metal", "fine silver"]
    joints = worst_by_joint(check)
    assert len(texts) == 3 + len(joints)
    for text, height, flag in zip(texts[3:], (26.0, 36.0), joints, strict=True):
        grade, share = used(flag)
        assert text == f"{height:.1f}:  {share} {SIGNS[grade]}"


def test_the_worst_of_a_joint_is_at_least_that_of_every_flag_that_names_it() -> None:
    response, _ = graded()
    check = sharply(response)
    for n, flag in enumerate(worst_by_joint(check)):
        zone = joint_name(*(card.name for card in response.cards[n : n + 2]))
        own = [f for f in check.verdict.flags if f.zone == zone]
        assert own
        assert flag is not None
        assert flag.counted >= max(f.counted for f in own)
        assert rule_of(flag).sees & {NEIGHBOUR, STRESS}


def test_a_pot_of_one_zone_has_no_joint() -> None:
    check = sharply(plain()[0])
    assert worst_by_joint(check) == []
    assert len(pot_figure(check).axes) == 1


def test_the_worst_place_is_of_the_rule_that_decides() -> None:
    check = sharply(foot()[0])
    found = worst_place(check)
    assert found.rule == check.verdict.deciding.rule
    if found.height is None:
        assert all(f.height is None for f in check.verdict.flags if f.rule == found.rule)


def test_zones_and_marks_differ_without_colour() -> None:
    metal, blend, ceramic = (hatch(share) for share in (1.0, 0.5, 0.0))
    assert len({metal["hatch"], blend["hatch"], ceramic["hatch"]}) == 3
    assert grey(metal["fc"]) < grey(blend["fc"]) - 0.2 < grey(ceramic["fc"]) - 0.4
    assert len(set(MARKS)) == len(set(SIGNS)) == 3


def test_tension_is_darker_than_none_and_none_darker_than_compression_all_the_way() -> None:
    tones = [grey(_tones()(share)) for share in np.linspace(0.0, 1.0, 41)]
    assert np.all(np.diff(tones) < 0.0)


def test_the_section_of_the_stress_is_stretched_in_neither_direction() -> None:
    response, _ = foot()
    pot, *insets = stress_figure(response, band_stresses(response)).axes[:3]
    assert all(axes.get_aspect() in (1.0, "equal") for axes in (pot, *insets))
    drawn = stress_figure(response, band_stresses(response))
    assert len(drawn.legends) == 1
    assert not any(axes.get_legend() for axes in drawn.axes)


def test_a_number_in_the_section_of_the_stress_stands_at_its_band_and_on_no_other() -> None:
    thin = [(f"{SILVER} + {FRIT} = {88 - 11 * n}", 0.0205 + 0.0005 * n) for n in range(8)]
    response = fired(cylinder([(SILVER, 0.02), *thin, (FRIT, 0.05)]))
    bands = band_stresses(response)
    figure = stress_figure(response, bands)
    pot = figure.axes[0]
    figure.draw_without_rendering()
    boxes = [(t.get_text(), t.get_position()[1], t.get_window_extent()) for t in pot.texts]
    assert boxes
    for (_, _, one), (_, _, other) in pairwise(boxes):
        assert not one.overlaps(other)
    s = response.fired
    apart = boxes[0][2].height * np.ptp(pot.get_ylim()) / pot.get_window_extent().height
    for text, up, _ in boxes:
        own = 1e3 * s.height[s.band == int(text) - 1]
        assert own.min() - 2.0 * apart < up < own.max() + 2.0 * apart


def test_the_star_stands_clear_of_the_mark_of_a_joint_at_its_own_height() -> None:
    check = sharply(foot()[0])
    figure = pot_figure(check)
    figure.draw_without_rendering()
    (axes,) = figure.axes
    marks = [line for line in axes.lines if line.get_marker() in (*MARKS, "*")]
    size = {line.get_marker(): line.get_markersize() * figure.dpi / 72.0 for line in marks}
    at = {line.get_marker(): line.get_transform().transform(line.get_xydata())[0] for line in marks}
    (joint,) = set(at) - {"*"}
    assert at[joint][0] - at["*"][0] > 0.5 * (size[joint] + 0.7 * size["*"])


def test_a_long_name_is_broken_and_not_cut() -> None:
    response, _ = foot()
    long = tuple(replace(card, name="alumina-filled tape body") for card in response.cards)
    check = sharply(replace(response, cards=long))
    names = [t.get_text() for t in pot_figure(check).axes[0].texts][:2]
    assert names == ["alumina-filled\ntape body"] * 2


def test_the_firing_tells_each_event_and_each_segment_with_its_reason() -> None:
    response, _ = foot()
    limit = min(ceiling(card, response.trace.gas) for card in pure_materials(response))
    reasons = [f"reason {n}" for n in range(len(response.vessel.firing.segments))]
    words = "\n".join(t.get_text() for t in firing_figure(response, limit, reasons).texts)
    for n, event in enumerate(happenings(response)):
        assert f"{letter(n)}  {event.time / 3600:.1f} h" in words
    assert all(f": {reason}" in words for reason in reasons)


def test_nothing_of_the_pot_is_cut_off_at_the_edge_of_its_picture() -> None:
    given, proposed = two_pots()
    hostile = replace(
        proposed.designed, vessel=replace(proposed.vessel, name="a long name $x$ " * 9)
    )
    stream = io.BytesIO()
    save(pot_figure(sharply(hostile, proposed.verdict), given), stream, "png")
    stream.seek(0)
    seen = imread(stream)[..., :3]
    ground = seen.shape[0]
    for edge in (seen[:, 0], seen[:, -1]):
        inked = int((edge < 0.9).any(axis=1).sum())
        assert inked <= 0.02 * ground  # the line the pots stand on
    assert (seen[0] == 1.0).all()
    assert (seen[-1] == 1.0).all()


def test_of_twenty_lines_over_time_six_are_told_apart_and_numbered() -> None:
    response, _ = graded()
    bands = band_stresses(response)
    drawn = stress_figure(response, bands)
    below = next(a for a in drawn.axes if a.get_ylabel() == "largest tension (MPa)")
    told = min(len(bands), 6)
    labels = [t.get_text() for t in drawn.legends[0].get_texts()]
    assert len(labels) == told
    assert sorted(t.get_text() for t in below.texts) == sorted(text.split()[0] for text in labels)
    loud = sorted(bands, key=lambda found: -found.worst.tension)[:told]
    assert {text.partition("  ")[2] for text in labels} == {b.worst.material for b in loud}


def test_a_long_name_of_a_zone_has_room_beside_its_pot() -> None:
    response, _ = foot()
    long = replace(response.cards[1], name="leucite porcelain")
    figure = pot_figure(sharply(replace(response, cards=(response.cards[0], long))))
    figure.canvas.draw()
    (axes,) = figure.axes
    (label,) = [t for t in axes.texts if t.get_text() == "leucite porcelain"]
    assert label.get_window_extent().x0 >= 0.0


@pytest.mark.parametrize("count", [1, 2])
def test_a_long_harm_is_told_within_the_room_under_its_own_pot(count: int) -> None:
    """Once clipped at the picture's edge, or written over the other pot's."""
    check = sharply(foot()[0])
    core = replace(check.verdict.flags[0], rule="core", utilisation=1.234, caution=0.7)
    long = replace(check, verdict=Verdict((core,)))
    figure = pot_figure(long, long if count == 2 else None)
    figure.draw_without_rendering()
    told = [t.get_window_extent() for t in figure.texts if t.get_text().startswith("★")]
    assert len(told) == count
    key = next(t for t in figure.texts if t.get_text().startswith("Beside")).get_window_extent()
    page = figure.bbox
    for box in told:
        assert page.x0 <= box.x0 < box.x1 <= page.x1
        assert box.y0 > key.y1
    assert not (count == 2 and told[0].overlaps(told[1]))


def test_the_worst_place_is_told_as_what_happens_there() -> None:
    check = sharply(foot()[0])
    words = worst_words(check)
    assert words.startswith("★ ")
    assert rule_of(check.verdict.deciding).harm in words
    assert "of its limit" in words


def test_of_a_go_the_nearest_limit_is_told_and_not_that_its_harm_happens() -> None:
    check = sharply(foot()[0])
    kept = replace(check.verdict.flags[0], rule="density", utilisation=0.9, caution=1.0)
    words = worst_words(replace(check, verdict=Verdict((kept,))))
    assert words.startswith("★ nearest to a limit, density: 0.900 of it")
    assert rule_of(kept).harm not in words


def test_a_share_of_next_to_nothing_is_told_by_one_figure() -> None:
    flag = Flag(
        rule="brown", zone="body", utilisation=0.00512, caution=0.5, figure=1.0, limit=1.0, unit="",
        note="",
    )  # fmt: skip
    assert used(flag) == (0, "0.005")
    assert used(replace(flag, utilisation=0.0512)) == (0, "0.0512")
