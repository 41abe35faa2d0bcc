"""Verdicts in words: the same on page, API and field card."""

from __future__ import annotations

import pytest

from registry.consensus.assessment import assess_lens
from registry.consensus.sentences import Tint, confidence_words, lens_sentence, verdict_words, worst_cell
from registry.consensus.verdicts import Verdict
from tests.consensus.makers import PRIME, ZOOM, agreeing, sweep


@pytest.mark.parametrize(
    ("verdict", "words"),
    [
        (Verdict("clean-to", 8.0), "clean to f/8"),
        (Verdict("clean-to", 0.95), "clean to f/0.95"),
        (Verdict("clean-throughout"), "clean throughout"),
        (Verdict("clean-as-far-as-tested", 16.0), "clean as far as tested (f/16)"),
        (Verdict("never-clean"), "never clean"),
        (Verdict("no-safe-stop"), "no safe stop shown"),
        (Verdict("reports-differ"), "reports differ"),
        (Verdict("one-report", says=Verdict("clean-to", 5.6)), "one report so far: clean to f/5.6"),
        (Verdict("no-reports"), "no reports"),
    ],
)
def test_verdicts_have_their_words(verdict, words):
    assert verdict_words(verdict) == words


def test_every_confidence_is_explained():
    for confidence in ("firm", "fair", "tentative", None):
        assert confidence_words(confidence)


def test_the_worst_zone_speaks_for_the_lens():
    reports = [sweep(f"a{n}", 16, focal_mm=24) for n in range(4)]
    reports += [sweep(f"b{n}", 1, focal_mm=70, stops=(2.8, 4, 8)) for n in range(9)]
    cells = assess_lens(ZOOM, reports).cells
    assert worst_cell(cells).focal_zone == "66-93"
    assert worst_cell(()) is None
    assert lens_sentence(assess_lens(ZOOM, reports), 720).startswith("never clean at 66–70 mm")


def test_a_prime_needs_no_zone():
    assert lens_sentence(assess_lens(PRIME, agreeing(3, 8)), 720) == "clean to f/8"


def test_a_tint_without_brightness_is_named():
    words = lens_sentence(assess_lens(PRIME, agreeing(3, 16)), 720, tints=[Tint("47-66", 11)])
    assert words == "clean throughout; in brightness only: tinted from f/11"


def test_a_rig_without_a_single_cut_on_has_its_own_sentence():
    reports = [sweep(n, 4, cut_on_nm=None, cut_on_group="full-spectrum") for n in range(3)]
    assert lens_sentence(assess_lens(PRIME, reports), band="full-spectrum") == "clean to f/4"
    assert lens_sentence(assess_lens(PRIME, reports), 720) == "no reports"
