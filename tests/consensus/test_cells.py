"""One division into cut-on bands and focal zones, and evidence that doesn't say where it belongs."""

from __future__ import annotations

import pytest

from registry.consensus.assessment import assess_lens
from registry.consensus.cells import cut_on_band, focal_zone, zone_edges, zone_label, zones_of
from registry.consensus.sentences import lens_sentence
from tests.consensus.makers import PRIME, ZOOM, agreeing, chances, only_cell, sweep


def test_the_usual_conversions_fall_into_four_bands():
    bands = [cut_on_band(nm) for nm in (590, 630, 665, 720, 830)]
    assert bands == ["under-640", "under-640", "640-700", "700-780", "780-up"]
    assert [cut_on_band(nm) for nm in (640, 700, 780)] == ["640-700", "700-780", "780-up"]


def test_zones_are_half_octaves_and_hold_their_focal_length():
    for focal in (8, 24, 35, 50, 85, 105, 200, 600):
        low, high = zone_edges(focal)
        assert low <= focal < high
        assert high / low == pytest.approx(2**0.5)


def test_no_usual_focal_length_lies_where_exif_could_move_it():
    """EXIF gives a lens's focal length a per cent beside the engraved one."""
    for focal in (
        12,
        16,
        20,
        24,
        28,
        35,
        40,
        50,
        55,
        70,
        85,
        90,
        100,
        105,
        135,
        180,
        200,
        300,
        400,
        500,
        600,
    ):
        assert focal_zone(focal * 0.985) == focal_zone(focal) == focal_zone(focal * 1.015)


def test_a_zooms_zones_are_named_within_its_range():
    zones = zones_of(24, 70)
    assert zones == ["23-33", "33-47", "47-66", "66-93"]
    assert [zone_label(zone, 24, 70) for zone in zones] == ["24–33 mm", "33–47 mm", "47–66 mm", "66–70 mm"]
    assert zones_of(50, 50) == ["47-66"]
    assert zones_of(None, None) == []


def test_cells_come_by_band_and_zone():
    reports = [
        sweep(0, 8, cut_on_nm=830, focal_mm=70),
        sweep(1, 8, cut_on_nm=590, focal_mm=24),
        sweep(2, 8, cut_on_nm=830, focal_mm=24),
        sweep(3, 8, cut_on_nm=None, cut_on_group="full-spectrum", focal_mm=24),
    ]
    cells = [(cell.band, cell.focal_zone) for cell in assess_lens(ZOOM, reports).cells]
    assert cells == [
        ("under-640", "23-33"),
        ("780-up", "23-33"),
        ("780-up", "66-93"),
        ("full-spectrum", "23-33"),
    ]


def test_other_cells_of_a_lens_lend_some_of_their_knowledge():
    asked = [("780-up", "47-66")]
    alone = assess_lens(PRIME, [], asked=asked).cells[0]
    beside = assess_lens(PRIME, agreeing(10, 16), asked=asked).cell(*asked[0])
    assert beside.n_independent == 0
    assert beside.verdict.code == "no-reports"
    assert chances(beside)[-1] > chances(alone)[-1] + 0.2
    assert chances(beside)[-1] < chances(only_cell(agreeing(10, 16)))[-1]


def test_a_person_heard_in_this_cell_lends_nothing_from_another():
    """One tester's two wavelengths are one voice: what they share isn't counted twice."""
    here = [sweep(n, 8, tester=f"t{n}") for n in range(3)]
    same = [sweep(f"o{n}", 16, tester=f"t{n}", cut_on_nm=830) for n in range(3)]
    other = [sweep(f"o{n}", 16, tester=f"x{n}", cut_on_nm=830) for n in range(3)]
    plain = chances(assess_lens(PRIME, here).cell("700-780", "47-66"))
    shared = chances(assess_lens(PRIME, here + same).cell("700-780", "47-66"))
    independent = chances(assess_lens(PRIME, here + other).cell("700-780", "47-66"))
    assert shared == pytest.approx(plain, abs=1e-9)
    assert max(abs(a - b) for a, b in zip(independent, plain, strict=True)) > 0.01


def test_evidence_that_states_no_cut_on_counts_less_but_counts():
    told = only_cell(agreeing(3, 16))
    vague = assess_lens(PRIME, [sweep(n, 16, cut_on_nm=None) for n in range(3)], asked=[("700-780", "47-66")])
    cell = vague.cell("700-780", "47-66")
    empty = assess_lens(PRIME, [], asked=[("700-780", "47-66")]).cells[0]
    assert chances(empty)[-1] < chances(cell)[-1] < chances(told)[-1]
    assert cell.n_independent == 3


def test_evidence_that_fits_no_stated_cell_makes_its_own():
    (cell,) = assess_lens(ZOOM, [sweep(0, 8, cut_on_nm=None, focal_mm=None)]).cells
    assert (cell.band, cell.focal_zone) == ("unstated", "unstated")


def test_a_primes_focal_length_needs_no_stating():
    assert only_cell([sweep(0, 8, focal_mm=None)]).focal_zone == "47-66"


def test_a_slower_long_ends_ladder_starts_at_its_own_widest():
    zoom = ZOOM.__class__(3.5, 22, 24, 70, widest_tele=5.6)
    reports = [sweep(n, 1, focal_mm=70, stops=(5.6, 8, 11)) for n in range(3)]
    (cell,) = assess_lens(zoom, reports).cells
    assert cell.stops[0].f_number == 5.6
    assert cell.verdict.code == "never-clean"


def test_the_sentence_takes_the_worst_tested_zone_and_names_untested_ones():
    reports = [sweep(f"a{n}", 11, focal_mm=24) for n in range(5)]
    reports += [sweep(f"b{n}", 5.6, focal_mm=50) for n in range(5)]
    assert lens_sentence(assess_lens(ZOOM, reports), 720) == (
        "clean to f/5.6 at 47–66 mm, its worst tested zone; nobody tested 33–47 mm and 66–70 mm"
    )
    assert lens_sentence(assess_lens(ZOOM, reports), 830) == "no reports"
