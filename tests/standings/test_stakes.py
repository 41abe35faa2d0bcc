"""What hangs on a split, asked for all of a lens's splits together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from registry.consensus.assessment import assess_lens
from registry.consensus.beliefs import DEFAULT_PRIORS
from registry.consensus.constants import READERS_STOPS_AV
from registry.consensus.evidence import Claim, Reading, Report
from registry.optics.stops import exact_av
from registry.standings import stakes
from registry.standings.stakes import stakes_of
from tests.consensus.makers import PRIME, STOPS, sweep


@pytest.fixture
def entries() -> list[Report]:
    """Nine that agree, one that doesn't, a relay of one's figures under another name, and a claim."""
    told = [sweep(n, 8 if n else 2.8) for n in range(10)]
    figures = tuple(Reading(f_number, ev=0.012 * 1.7**n, ev_se=0.01) for n, f_number in enumerate(STOPS))
    told[3] = replace(told[3], readings=figures, method="measured")
    relay = replace(told[3], id="relay", tester="person:someone", source="page")
    twin = replace(told[3], id="twin", tester="person:another")
    claim = Report("claim", "person:third", cut_on_nm=720, focal_mm=50, claim=Claim("clean_to", 5.6))
    return [*told, relay, twin, claim]


def _cell(entries) -> tuple[str, str]:
    cell = assess_lens(PRIME, entries).cells[0]
    return cell.band, cell.focal_zone


def _chances(entries, cell) -> dict[float, float]:
    stops = assess_lens(PRIME, entries, asked=[cell]).cell(*cell).stops
    told = {stop.f_number: stop.p_clean for stop in stops if exact_av(stop.f_number) in READERS_STOPS_AV}
    assert len(told) >= 6
    return told


def test_a_stake_is_what_the_chance_would_move_by_without_one_side(entries):
    cell, without = _cell(entries), [entry for entry in entries if entry.id != entries[0].id]
    before, after = _chances(entries, cell), _chances(without, cell)
    moved = max(abs(before[stop] - after[stop]) for stop in before)
    [stake] = stakes_of(PRIME, entries, [(cell, [{entries[0].id}])], DEFAULT_PRIORS)
    assert stake == pytest.approx(moved, abs=1e-9)
    assert stake > 0.001


def test_equal_figures_are_one_voice_only_while_a_relay_of_them_is_there(entries):
    cell = _cell(entries)
    without = [entry for entry in entries if entry.id != "relay"]
    before, after = _chances(entries, cell), _chances(without, cell)
    moved = max(abs(before[stop] - after[stop]) for stop in before)
    assert stakes_of(PRIME, entries, [(cell, [{"relay"}])], DEFAULT_PRIORS) == pytest.approx(
        [moved], abs=1e-9
    )
    assert moved > 0  # its twin is a voice of its own then


def test_many_splits_together_have_the_stakes_that_each_has_alone(entries, monkeypatch):
    cell = _cell(entries)
    splits = [(cell, [{entry.id}, {other.id for other in entries if other != entry}]) for entry in entries]
    alone = [stakes_of(PRIME, entries, [split], DEFAULT_PRIORS)[0] for split in splits]
    for at_once in (1, 4, 100):
        monkeypatch.setattr(stakes, "SPLITS_AT_ONCE", at_once)
        assert np.allclose(stakes_of(PRIME, entries, splits, DEFAULT_PRIORS), alone, atol=1e-12)


def test_removing_all_there_is_tells_nothing(entries):
    everything = {entry.id for entry in entries}
    assert stakes_of(PRIME, entries, [(_cell(entries), [everything, set()])], DEFAULT_PRIORS) == [0.0]


def test_no_split_has_no_stake(entries):
    assert stakes_of(PRIME, entries, [], DEFAULT_PRIORS) == []
