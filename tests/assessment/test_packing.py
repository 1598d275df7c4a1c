"""How a dried pot stands in its kiln, against sums by hand."""

from __future__ import annotations

import tomllib
from dataclasses import replace

import numpy as np
import pytest

from cofire.assessment.packing import BED, CLEAR, need_words, packed, room_flags
from cofire.assessment.response import Response
from cofire.assessment.verdict import judge
from cofire.errors import InputError
from cofire.firing.program import Space, read_firing, read_kiln
from cofire.production.green import band_strains, green_vessel
from cofire.report.forms import new_kiln
from cofire.report.imperial import imperial
from cofire.report.packing import packing_words
from cofire.report.read_again import firing_toml
from tests.fired import KILNS, tea_light


def stood(gas: str = "air", chamber: Space | None = None, box: Space | None = None) -> Response:
    """The tea light in a kiln of known sizes; only its firing's gas and kiln are other."""
    response = tea_light()
    firing = response.vessel.firing
    kiln = replace(firing.kiln, chamber=chamber, box=box)
    return replace(
        response, vessel=replace(response.vessel, firing=replace(firing, kiln=kiln, gas=gas))
    )


def test_the_dried_pot_is_larger_by_what_each_zone_shrinks_in_the_firing():
    response = stood()
    vessel, found = response.vessel, packed(response)
    grows = np.exp(-response.history.free_strain[list(response.material), -1])
    outside = float(vessel.radius[0] + 0.5 * vessel.wall[0])
    assert found.dried.across == pytest.approx(2.0 * outside * grows.max(), rel=1e-9)
    assert found.slides == pytest.approx(outside * (grows[0] - 1.0), rel=1e-9)
    assert grows.min() > 1.02  # or nothing was asked


def test_a_dried_pot_is_as_high_as_its_print_dried_where_paste_shrinks_more_upwards():
    # to a layer: joints lie on whole ones, and the bands' pull is left out of the room it needs
    response, found = stood(), packed(stood())
    green = green_vessel(response)
    dry = band_strains(response)[:, 0]
    dried = float(np.diff(green.wall.edges) @ np.exp(dry))
    assert found.dried.high == pytest.approx(dried, abs=green.layer)
    alike = np.exp(-response.history.free_strain[list(response.material), -1])
    low = sum(g * (b.high - b.low) for g, b in zip(alike, response.vessel.bands, strict=True))
    assert found.dried.high > low + 4e-4  # of 60 mm


def test_carbon_fills_the_least_box_around_and_in_the_pot():
    response = stood("carbon")
    vessel, found = response.vessel, packed(response)
    assert found.box is not None
    wide, tall = found.dried.across + 2.0 * BED, found.dried.high + 2.0 * BED
    grows = np.exp(-band_strains(response)[:, 1:])
    ring = 2.0 * np.pi * float(vessel.radius[0]) * float(vessel.wall[0])
    wall = sum(
        ring * g**2 * up * (b.high - b.low) for (g, up), b in zip(grows, vessel.bands, strict=True)
    )
    assert found.filled == pytest.approx(0.25 * np.pi * wide**2 * tall - wall, rel=1e-9)
    assert "The least box" in packing_words(found)
    assert packed(stood()).filled == 0.0
    assert "carbon" not in packing_words(packed(stood()))


def test_a_pot_that_does_not_go_in_is_a_no_and_one_that_does_is_not_told():
    across, high = packed(stood()).dried.across, packed(stood()).dried.high
    just = Space(across + 2.0 * CLEAR, 1.0, high + CLEAR)
    assert room_flags(stood(chamber=just)) == []
    assert room_flags(stood()) == []
    low = judge(stood(chamber=replace(just, height=just.height - 1e-4)))
    assert (low.word, low.deciding.rule, low.deciding.zone) == ("no", "room", "height of the kiln")
    narrow = Space(0.08, 0.08, 1.0, round=True)
    (flag,) = room_flags(stood("carbon", box=narrow))
    assert flag.zone == "width of the box"
    assert flag.figure == pytest.approx(1e3 * (across + 2.0 * BED))


def test_a_pot_whose_print_dries_larger_than_its_materials_alone_is_packed_as_that():
    """Its box, its carbon and the room it needs are those of the print, where that is known."""
    alone = packed(stood("carbon"))
    wider = replace(alone.dried, across=alone.dried.across + 2e-3, high=alone.dried.high + 1e-3)
    just = Space(alone.dried.across + 2.0 * CLEAR, 1.0, alone.dried.high + CLEAR)
    assert packed(stood("carbon"), wider).filled > alone.filled
    assert "does not go in" not in packing_words(packed(stood(chamber=just)))
    told = packing_words(packed(stood(chamber=just), wider))
    assert f"{1e3 * wider.across:.0f} mm across and {1e3 * wider.high:.0f} mm high and does" in told
    need, there = 1e3 * (wider.across + 2.0 * CLEAR), 1e3 * just.width
    assert f"width of the kiln: {need:.0f} mm needed, {there:.0f} mm there" in told


def test_what_is_too_small_by_less_than_a_millimetre_is_told_to_a_tenth():
    """Once "110 mm needed, 110 there", and with °F "4.37 in needed, 110 there"."""
    assert need_words(("width of the box", 0.1104, 0.11)) == (
        "width of the box: 110.4 mm needed, 110.0 mm there"
    )
    assert need_words(("width of the box", 0.111, 0.11)) == (
        "width of the box: 111 mm needed, 110 mm there"
    )
    assert imperial(need_words(("width of the box", 0.111, 0.11))) == (
        "width of the box: 4.37 in needed, 4.33 in there"
    )


@pytest.mark.parametrize(
    ("box", "chamber", "zones"),
    [
        # corners touch a round wall: 120 by 160 needs 200 and what is clear on both sides
        (Space(0.12, 0.16, 0.15), Space(0.249, 0.249, 0.3, round=True), ["width of the kiln"]),
        (Space(0.12, 0.16, 0.15), Space(0.25, 0.25, 0.3, round=True), []),
        (Space(0.12, 0.4, 0.13), Space(0.18, 0.18, 0.3, round=True), ["width of the kiln"]),
        # between straight walls it may be turned, but its longer side asks for the longer one
        (Space(0.12, 0.16, 0.15), Space(0.21, 0.17, 0.3), []),
        (Space(0.12, 0.16, 0.15), Space(0.2, 0.2, 0.3), ["length of the kiln"]),
        (Space(0.12, 0.16, 0.15), Space(0.16, 0.3, 0.3), ["width of the kiln"]),
        # what just goes in goes in, however the sum is rounded
        (Space(0.1, 0.1, 0.1), Space(0.15, 0.15, 0.125), []),
    ],
)
def test_a_box_asks_for_the_room_of_its_corners_and_of_its_longer_side(
    box: Space, chamber: Space, zones: list[str]
):
    flags = room_flags(stood("carbon", chamber=chamber, box=box))
    assert [flag.zone for flag in flags if flag.zone.endswith("kiln")] == zones
    assert all("its own wall left out" in f.note for f in flags if f.zone.endswith("kiln"))


def test_the_sample_box_of_a_new_kiln_goes_into_its_sample_chamber():
    rows = [(20.0, 500.0), (1000.0, 100.0)]
    lines = new_kiln("mine", 1000.0, rows, rows, "another").splitlines()
    for name in ("chamber", "box"):
        at = lines.index(f"# [{name}]")
        for k in range(at, len(lines)):
            if lines[k].startswith(("# [", "# width_mm", "# depth_mm", "# height_mm")):
                lines[k] = lines[k].removeprefix("# ")
            if k > at and not lines[k].strip():
                break
    kiln = read_kiln(tomllib.loads("\n".join(lines)), "mine.toml")
    assert kiln.chamber is not None
    assert kiln.box is not None
    flags = room_flags(stood("carbon", chamber=kiln.chamber, box=kiln.box))
    assert [flag for flag in flags if flag.zone.endswith("kiln")] == []


KILN = {
    "name": "mine", "max_temperature_C": 1000.0,
    "heating": {"temperature_C": [20, 1000], "rate_C_per_h": [500, 100]},
    "cooling": {"temperature_C": [20, 1000], "rate_C_per_h": [0, 300]},
}  # fmt: skip


def test_sizes_are_read_and_written_as_they_are():
    kiln = read_kiln(KILN | {"chamber": {"width_mm": 180, "depth_mm": 200, "height_mm": 220},
                             "box": {"diameter_mm": 120, "height_mm": 150}})  # fmt: skip
    assert kiln.chamber == Space(0.18, 0.2, 0.22)
    assert kiln.box == Space(0.12, 0.12, 0.15, round=True)
    firing = replace(tea_light().vessel.firing, kiln=kiln)
    text = firing_toml(firing)
    again = read_firing(tomllib.loads(text), KILNS, "here")
    assert (again.kiln.chamber, again.kiln.box) == (kiln.chamber, kiln.box)


@pytest.mark.parametrize(
    ("sizes", "words"),
    [
        ({"height_mm": 200}, "has no width; allowed: width_mm and depth_mm, or diameter_mm"),
        ({"diameter_mm": 90, "width_mm": 90, "height_mm": 9}, "has width_mm and diameter_mm"),
        ({"width_mm": 90, "height_mm": 90}, "has width_mm; allowed"),
        ({"diameter_mm": 9, "height_mm": 90}, "diameter_mm = 9"),
        ({"diameter_mm": 90}, "height_mm"),
    ],
)
def test_a_chamber_needs_one_kind_of_width_and_a_height(sizes: dict[str, float], words: str):
    with pytest.raises(InputError, match=words):
        read_kiln(KILN | {"chamber": sizes}, "mine.toml")
