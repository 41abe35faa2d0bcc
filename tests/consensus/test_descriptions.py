"""Plain figures of one cell: one summary per cluster, whatever was sent how often."""

from __future__ import annotations

from dataclasses import replace

import pytest

from registry.consensus.constants import READING_FLOOR_EV
from registry.consensus.descriptive import (
    excess_by_stop,
    grade_of,
    registry_agreement,
    reports_in,
    shares_clean,
)
from registry.consensus.evidence import Reading
from tests.consensus.makers import PRIME, ZOOM, agreeing, claim, measured, sweep


def test_shares_count_clusters_not_rows():
    reports = [*agreeing(3, 8), *(sweep(f"again{n}", 4, tester="one person") for n in range(10))]
    shares = {share.f_number: share for share in shares_clean(PRIME, reports)}
    assert (shares[8].clean, shares[8].n) == (3, 4)
    assert shares[8].share == 0.75
    assert shares[8].low < 0.75 < shares[8].high
    assert shares[16].clean == 0


def test_a_readers_tolerance_moves_the_shares():
    reports = [measured(n, 8) for n in range(4)]
    assert next(s for s in shares_clean(PRIME, reports, 0.30) if s.f_number == 11).share >= 0.5
    assert next(s for s in shares_clean(PRIME, reports) if s.f_number == 11).share == 0


def test_measured_excess_is_pooled_per_stop_and_never_falls():
    reports = [measured(n, 8) for n in range(3)]
    bumpy = replace(reports[0], readings=(*reports[0].readings[:3], Reading(5.6, ev=0.2, ev_se=0.01)))
    pooled = excess_by_stop(PRIME, [bumpy, *reports[1:]])
    assert [stop.f_number for stop in pooled] == [2, 2.8, 4, 5.6, 8, 11, 16]
    levels = [stop.isotonic_ev for stop in pooled]
    assert levels == sorted(levels)
    assert pooled[0].dersimonian_laird.n == 3
    assert pooled[4].dersimonian_laird.n == 2
    assert pooled[-1].dersimonian_laird.mean == pytest.approx(0.30)


def test_repeats_by_one_person_make_the_mean_no_surer():
    once = excess_by_stop(PRIME, [measured(0, 8, tester="p")])[0].dersimonian_laird
    often = excess_by_stop(PRIME, [measured(n, 8, tester="p") for n in range(9)])[0].dersimonian_laird
    assert often == once
    assert once.se == pytest.approx((0.02**2 + READING_FLOOR_EV**2) ** 0.5)


def test_grades_and_claims_have_no_measured_excess():
    assert excess_by_stop(PRIME, [sweep(0, 8), claim(1, "clean_to", 8)]) == []
    assert shares_clean(PRIME, []) == []


def test_a_measured_excess_has_the_grade_it_falls_into():
    grades = [grade_of(Reading(8, ev=ev)) for ev in (-0.01, 0.05, 0.1, 0.29, 0.3, 0.9)]
    assert grades == [0, 1, 2, 2, 3, 4]
    assert grade_of(Reading(8, grade=3)) == 3


def test_a_cells_reports_are_those_that_state_it():
    reports = [
        sweep(0, 8, focal_mm=24),
        sweep(1, 8, focal_mm=50),
        sweep(2, 8, focal_mm=None),
        sweep(3, 8, focal_mm=24, cut_on_nm=830),
    ]
    assert [r.id for r in reports_in(ZOOM, reports, "700-780", "23-33")] == ["0"]
    assert [r.id for r in reports_in(ZOOM, reports, "700-780", "unstated")] == ["2"]


def test_agreement_over_the_registry_is_one_when_all_agree_and_low_when_none_do():
    agree = [(PRIME, agreeing(3, limit)) for limit in (4, 8, 16)]
    assert registry_agreement(agree) == pytest.approx(1.0)
    apart = [(PRIME, [sweep(0, 2), sweep(1, 16), sweep(2, 5.6)])] * 3
    assert registry_agreement(apart) < 0.3
    assert registry_agreement([]) is None
