"""Cracks of tiles and nested rings by stress and energy together.

What is expected stands in `cofire.assessment.layer_cracks`; here it is asked.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from cofire.assessment import crack_rules, layer_cracks
from cofire.assessment.cracks import cracks, spreads
from cofire.assessment.layer_cracks import (
    Body,
    Joint,
    across_layer,
    peel,
    sleeve_limits,
    tile_limits,
    unloading,
)
from cofire.mechanics.sleeve import fire_sleeve, nested_rings
from cofire.mechanics.tile import fire_tile, layered_tile
from cofire.physics.mixing import bulk_modulus, shear_modulus
from tests.closed_forms import mode_mix, separation_energy
from tests.histories import jumps
from tests.published.as_firings import response_of
from tests.published.evidence_set import open_pairs

PAIRS = {p["id"]: p for p in open_pairs()}
E, NU = 70e9, 0.2
METAL, GLASS = Body(140e9, 0.3), Body(E, NU, 50e6, 10.0)
JOINT = Joint(toughness=9.0, shear_strength=28e6)


def elastic(strain, young, poisson):
    """History of bodies that only contract, to one instant."""
    return jumps([0.0, 1.0], strain, young_modulus=young, poisson_ratio=poisson)


def tile_of(thickness, bodies, strain, **kind):
    """Tile, and its elastic stress for a free strain of each layer."""
    tile = layered_tile(thickness, **kind)
    past = elastic(strain, [b.young for b in bodies], [b.poisson for b in bodies])
    return tile, fire_tile(tile, past).stress[-1]


def sleeve_of(radii, bodies, strain):
    """Nested rings, and their elastic stress."""
    rings = nested_rings(radii)
    past = elastic(strain, [b.young for b in bodies], [b.poisson for b in bodies])
    return rings, fire_sleeve(rings, past).stress[-1]


def named(limits, kind):
    return [limit for limit in limits if limit.kind == kind]


# ---- tiles


@pytest.mark.parametrize("thickness", [(1e-3, 1e-3), (2e-3, 0.3e-3), (0.4e-3, 1e-3)])
@pytest.mark.parametrize("strain", [(-2e-3, 0.0), (0.0, -2e-3)])
def test_two_elastic_layers_part_as_suo_and_hutchinson_say(thickness, strain):
    """Int. J. Fract. 43 (1990) 1: energy and phase from free strain, here from stress alone."""
    bodies = [Body(140e9, NU), Body(E, NU)]
    tile, stress = tile_of(thickness, bodies, strain)
    plane = np.array([b.plane for b in bodies])
    energy, phase, force = peel(tile.height, tile.share, stress, plane, 0)
    layers = (thickness[1], plane[1], thickness[0], plane[0])
    apart = (1.0 + NU) * (strain[1] - strain[0])
    assert energy == pytest.approx(float(separation_energy(*layers, apart)), rel=1e-3)
    assert phase == pytest.approx(float(mode_mix(*layers, apart)), abs=1e-3)
    assert np.sign(force) == -np.sign(apart)


def test_a_thinner_layer_bears_more_mismatch_by_the_root_of_its_thickness():
    """A joint so strong that energy decides; both films far thinner than the body."""
    strong = replace(JOINT, shear_strength=1e5)
    used = []
    for thin in (20e-6, 80e-6):
        tile, stress = tile_of((10e-3, thin), [METAL, GLASS], (0.0, -3e-3))
        used += [one.surface for one in named(tile_limits(tile, stress, [METAL, GLASS], [strong]),
                                              "peel")]  # fmt: skip
    assert used[1] / used[0] == pytest.approx(2.0, rel=0.03)


def test_a_layer_that_presses_its_joint_shut_spends_more_than_one_that_opens_it():
    tough = replace(GLASS, toughness=1e3)  # into which nothing turns
    used = []
    for strain in ((0.0, -2e-3), (0.0, 2e-3)):
        tile, stress = tile_of((5e-3, 0.5e-3), [METAL, tough], strain)
        used += [one.through for one in named(tile_limits(tile, stress, [METAL, tough], [JOINT]),
                                              "peel")]  # fmt: skip
    assert used[0] > 1.2 * used[1] > 0.0


def test_a_sliding_crack_turns_into_a_pressed_layer_that_is_less_tough_than_its_joint():
    """Into glass that is pressed, not into glass that is pulled, and not into a tough one.

    A thin layer chips so, and does not part; beneath a pulled film the body itself spalls.
    """
    tough = replace(GLASS, toughness=1e3)
    used = {}
    for name, strain in (("pressed", 2e-3), ("pulled", -2e-3)):
        for glass in (GLASS, tough):
            tile, stress = tile_of((5e-3, 0.5e-3), [METAL, glass], (0.0, strain))
            (one,) = named(tile_limits(tile, stress, [METAL, glass], [JOINT]), "peel")
            used[name, glass.toughness] = one.surface
            chips = one.surface > 1.01 * one.through
            assert chips == (name == "pressed" and glass is GLASS)
    assert used["pressed", GLASS.toughness] > 1.5 * used["pressed", 1e3]
    assert used["pulled", GLASS.toughness] == used["pulled", 1e3]
    film = Body(140e9, 0.3)
    tile, stress = tile_of((5e-3, 0.2e-3), [GLASS, film], (0.0, -2e-3))
    (spalls,) = named(tile_limits(tile, stress, [GLASS, film], [JOINT]), "peel")
    tile, stress = tile_of((5e-3, 0.2e-3), [tough, film], (0.0, -2e-3))
    (parts,) = named(tile_limits(tile, stress, [tough, film], [JOINT]), "peel")
    assert spalls.through > parts.through


def test_a_buried_layer_tunnels_from_its_critical_thickness_on():
    """h_c = G E'/(pi/4 stress²) (Ho & Suo 1993; Hillman, Suo & Lange 1996)."""
    pulled = 150e6
    critical = GLASS.toughness * GLASS.plane / (0.25 * np.pi * pulled**2)
    for share, through in ((0.98, False), (1.02, True)):
        height = np.linspace(0.0, share * critical, 5)
        (limit,) = across_layer(1, height, np.full(5, pulled), share * critical, GLASS, [], np.inf)
        assert limit.kind == "tunnel"
        assert (limit.through > 1.0) == through


def test_a_pressed_buried_layer_cracks_at_its_bare_edge_and_no_deeper():
    height = np.linspace(0.0, 2e-3, 5)
    (limit,) = across_layer(1, height, np.full(5, -300e6), 2e-3, GLASS, [], np.inf)
    by_energy = np.sqrt(0.34 * 300e6**2 * 2e-3 / (GLASS.plane * GLASS.toughness))
    assert limit.kind == "edge"
    assert limit.surface == pytest.approx(min(6.0, by_energy))
    assert limit.through == 0.0


def test_of_three_layers_the_middle_one_tunnels_and_the_outer_ones_crack_from_their_faces():
    """A layer is bare where nothing lies on it: the lowest below, the highest above."""
    bodies = [GLASS] * 3
    tile, stress = tile_of((1e-3, 0.5e-3, 1e-3), bodies, (0.0, -2e-3, 0.0))
    limits = tile_limits(tile, stress, bodies, [JOINT] * 2)
    assert {limit.layer for limit in named(limits, "tunnel")} == {1}
    assert {limit.layer for limit in named(limits, "across")} == {0, 2}


def test_a_tile_of_one_body_has_no_crack():
    tile, stress = tile_of((1e-3, 1e-3), [GLASS, GLASS], (-2e-3, -2e-3))
    limits = tile_limits(tile, stress, [GLASS, GLASS], [JOINT])
    assert max(limit.surface for limit in limits) < 1e-6


def test_a_joint_between_two_metals_is_not_asked():
    tile, stress = tile_of((1e-3, 1e-3), [METAL, METAL], (0.0, -5e-3))
    assert tile_limits(tile, stress, [METAL, METAL], [JOINT]) == []


# ---- nested rings

RADII = (9.5e-3, 10e-3, 12.5e-3)


def test_a_ring_pressed_on_stays_on_and_one_pulled_off_comes_off():
    """A metal inside that contracts more leaves the ceramic; outside it clamps it."""
    inside, stress = sleeve_of(RADII, [METAL, GLASS], (-3e-3, 0.0))
    off = named(sleeve_limits(inside, stress, [METAL, GLASS], [JOINT]), "peel")
    outside, stress = sleeve_of((10e-3, 12.5e-3, 13e-3), [GLASS, METAL], (0.0, -3e-3))
    shut = named(sleeve_limits(outside, stress, [GLASS, METAL], [JOINT]), "peel")
    assert off[0].through > 1.0
    assert shut[0].surface == shut[0].through == 0.0


def test_each_end_of_three_rings_is_pulled_by_what_acts_on_its_own_face():
    rings = nested_rings((8e-3, 9e-3, 10e-3, 12e-3))
    stress = np.zeros((3, 3, rings.radius.shape[1]))
    stress[0, 0, -1] = stress[0, 1, 0] = 4e6
    stress[0, 1, -1] = stress[0, 2, 0] = 9e6
    bodies = [METAL, GLASS, METAL]
    ends = named(sleeve_limits(rings, stress, bodies, [JOINT, JOINT]), "peel")
    assert [end.tension for end in ends] == pytest.approx([4e6, 9e6])


@pytest.mark.parametrize("radii", [RADII, (0.0, 1e-3, 3e-3)])
def test_two_elastic_rings_free_all_they_store(radii):
    rings, stress = sleeve_of(radii, [METAL, GLASS], (-3e-3, 0.0))
    young, nu = np.array([[140e9], [E]]), np.array([[0.3], [NU]])
    r, h, z = stress
    density = (r * r + h * h + z * z - 2.0 * nu * (r * h + h * z + z * r)) / (2.0 * young)
    face = radii[1]
    stored = float((density * rings.share).sum()) / face
    pull = 0.5 * float(r[0, -1] + r[1, 0])
    force = float((z[1:] * rings.share[1:]).sum()) / face
    freed = sum(
        unloading(rings, own, young, nu, pull, sign * force)
        for own, sign in ((slice(0, 1), -1.0), (slice(1, None), 1.0))
    )
    assert freed == pytest.approx(stored, rel=2e-3)
    assert bulk_modulus(E, NU) > shear_modulus(E, NU) > 0.0


def test_a_glass_that_contracts_more_on_a_wire_splits():
    rings, stress = sleeve_of((0.0, 1e-3, 4e-3), [METAL, GLASS], (0.0, -3e-3))
    split = named(sleeve_limits(rings, stress, [METAL, GLASS], [JOINT]), "split")
    rings, less = sleeve_of((0.0, 1e-3, 4e-3), [METAL, GLASS], (0.0, -1e-4))
    mild = named(sleeve_limits(rings, less, [METAL, GLASS], [JOINT]), "split")
    assert max(one.surface for one in split) > 1.0 > max(one.surface for one in mild)


# ---- the table of rules


def test_tiles_and_sleeves_are_asked_for_cracks_by_the_table_of_rules():
    tile = response_of(PAIRS["coat-titanium-alloy-45s5-glass"])
    kinds = {crack.kind for crack in cracks(tile)}
    assert kinds == {"peel", "across"}
    flags = crack_rules.through_crack_flags(tile)
    assert {flag.zone for flag in flags} >= {"bioactive glass"}
    sleeve = response_of(PAIRS["sleeve-fe-ni-co-inside-alumina"])
    assert {crack.kind for crack in cracks(sleeve)} == {"peel", "split"}


def test_a_joint_of_layers_carries_the_interval_of_its_toughness():
    found = cracks(response_of(PAIRS["foil-molybdenum-silica"]))
    joint = next(crack for crack in found if crack.kind == "peel")
    assert joint.low < joint.through < joint.high


def test_a_thin_coat_is_judged_by_the_energy_a_flaw_can_find():
    """80 µm: whatever its volume says, no more than where a flaw could just spread."""
    response = response_of(PAIRS["coat-titanium-alloy-silica-rich-glass"])
    bound = spreads(response, 1)
    assert bound is not None
    (flag,) = crack_rules.cooling_flags(response)
    assert flag.utilisation == pytest.approx(float(bound.max()), rel=1e-6)
    thick = layer_cracks.spread(
        replace(response.fired, layers=_scaled(response.fired.layers, 10.0)),
        1, Body(E, NU, toughness=8.0),
    )  # fmt: skip
    thin = layer_cracks.spread(response.fired, 1, Body(E, NU, toughness=8.0))
    assert thick.max() == pytest.approx(np.sqrt(10.0) * thin.max(), rel=1e-6)


def _scaled(tile, factor):
    return replace(
        tile, height=factor * tile.height, share=factor * tile.share,
        thickness=factor * tile.thickness,
    )  # fmt: skip
