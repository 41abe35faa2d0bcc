"""All frames of one set-up together, repeats, and brackets."""

import numpy as np
import pytest

from registry.errors import InvalidInput
from registry.photometry.brackets import BracketFrame, tone_slope
from registry.photometry.measurement import MEASURED, REJECTED, UNCERTAIN, Measurement
from registry.photometry.pooling import pooled
from registry.photometry.repeats import repeatability
from registry.photometry.sweep import SweepFrame, measure_sweep
from registry.simulation.reduced import as_linear_image
from registry.simulation.render import render_frame
from tests.photometry.builders import SIZE, patch, photograph, sweep_of, target

STOPS = (2.0, 2.8, 4.0, 5.6, 8.0, 11.0, 16.0)


def test_a_growing_hotspot_is_followed_from_stop_to_stop():
    frames, truths = sweep_of(target(patch(0.2, growth=1.5)), STOPS)
    found = measure_sweep(frames)
    assert sum(one.status == MEASURED for one in found) >= len(STOPS) - 1
    for one, truth in zip(found, truths, strict=True):
        assert one.ev_low <= truth.excess_ev <= one.ev_high
        if one.status == MEASURED:
            assert one.ev == pytest.approx(truth.excess_ev, abs=max(0.02, 0.08 * truth.excess_ev))


def test_a_clean_lens_stays_clean_at_every_stop():
    frames, _ = sweep_of(target(), STOPS)
    assert all(one.ev < 0.02 and not one.visible_at(0.10) for one in measure_sweep(frames))


def test_a_lens_hot_at_every_stop_is_not_whitewashed():
    frames, truths = sweep_of(target(patch(0.3, growth=0.0, shrink=0.0)), STOPS)
    for one, truth in zip(measure_sweep(frames), truths, strict=True):
        assert one.ev == pytest.approx(truth.excess_ev, abs=0.05)


def controls(f_numbers=STOPS):
    """The same lens in visible light, on a day of its own: its falloff, and no hotspot."""
    return sweep_of(target(), f_numbers, seed=7)[0]


def test_against_a_control_sweep_a_lens_hot_at_every_stop_is_right_to_a_hundredth():
    frames, truths = sweep_of(target(patch(0.15, growth=0.0, shrink=0.0)), STOPS)
    for one, truth in zip(measure_sweep(frames, control=controls()), truths, strict=True):
        assert one.status == MEASURED
        assert one.ev == pytest.approx(truth.excess_ev, abs=0.01)


def test_against_a_control_sweep_a_clean_lens_stays_clean():
    frames, _ = sweep_of(target(), STOPS)
    assert all(one.ev < 0.005 for one in measure_sweep(frames, control=controls()))


def test_against_a_control_sweep_a_broad_bell_lies_within_its_interval():
    """A bell this broad looks much like two falloffs that differ: read too low, and said so."""
    bell = patch(0.15, radius=0.3, shape="gaussian", growth=0.0, shrink=0.0)
    frames, truths = sweep_of(target(bell), STOPS)
    for one, truth in zip(measure_sweep(frames, control=controls()), truths, strict=True):
        assert one.ev_low <= truth.excess_ev <= one.ev_high


def test_a_stop_without_a_control_of_its_own_is_compared_with_the_nearest():
    """f/2 and f/8 differ by most of the vignetting, so stops between them are right to less."""
    frames, truths = sweep_of(target(patch(0.3, growth=0.5)), STOPS)
    found = measure_sweep(frames, control=controls((2.0, 8.0)))
    for stop, one, truth in zip(STOPS, found, truths, strict=True):
        assert one.ev == pytest.approx(truth.excess_ev, abs=0.015 if stop in (2.0, 8.0) else 0.06)


def test_a_rejected_frame_does_not_hinder_the_others():
    frames, _ = sweep_of(target(patch(0.2)), STOPS)
    black, _ = photograph(target(level=0.002))
    found = measure_sweep([*frames, SweepFrame(black, 22.0, 50.0)])
    assert found[-1].status == REJECTED
    assert all(one.status in (MEASURED, UNCERTAIN) for one in found[:-1])


def test_fewer_than_four_apertures_are_measured_one_by_one():
    frames, truths = sweep_of(target(patch(0.3)), (4.0, 8.0))
    for one, truth in zip(measure_sweep(frames), truths, strict=True):
        assert one.ev == pytest.approx(truth.excess_ev, abs=0.03)


def test_results_come_in_the_order_of_the_frames():
    frames, _ = sweep_of(target(patch(0.3, growth=1.5)), STOPS)
    forward, backward = measure_sweep(frames), measure_sweep(frames[::-1])
    assert [one.ev for one in backward[::-1]] == pytest.approx([one.ev for one in forward], abs=1e-6)


def judged(ev, se=0.01):
    return Measurement(MEASURED, ev=ev, ev_se=se, ev_low=max(ev - 2 * se, 0.0), ev_high=ev + 2 * se, notes=())


def test_a_sweep_and_a_single_frame_that_contradict_each_other_leave_it_open():
    together = pooled([judged(0.05)] * 4, [judged(0.05)] * 3 + [judged(0.5)], {k: [k] for k in range(4)})
    assert [one.status for one in together] == [MEASURED] * 3 + [UNCERTAIN]
    assert together[3].ev_high - together[3].ev_low > 0.4


def test_no_stop_is_said_to_be_weaker_than_a_wider_one():
    values = [0.02, 0.10, 0.08, 0.30]
    together = pooled(
        [judged(ev) for ev in values], [judged(ev) for ev in values], {k: [k] for k in range(4)}
    )
    assert np.all(np.diff([one.ev for one in together]) >= -1e-12)
    assert together[1].ev_se > judged(0.10).ev_se / 2


def test_repeatability_is_the_pooled_standard_deviation():
    """ISO 5725-2's pooled variance: deviations ±1 and ±2 in two pairs give √((2 + 8) / 2)."""
    stops = [[Measurement(MEASURED, ev=ev) for ev in pair] for pair in ((1.0, 3.0), (2.0, 6.0))]
    assert repeatability(stops) == pytest.approx(np.sqrt(5))
    with pytest.raises(InvalidInput, match="twice"):
        repeatability([[Measurement(MEASURED, ev=0.1)]])


def bracket(tone):
    scene = target(level=0.18)
    return [
        BracketFrame(
            as_linear_image(
                render_frame(scene, f_number=8, size=SIZE, seed=2, exposure_ev=ev), kind="jpeg", tone=tone
            ),
            ev,
        )
        for ev in (-0.5, 0.5)
    ]


def test_a_bracket_of_an_exact_tone_curve_has_slope_one():
    slope, se = tone_slope(bracket("srgb"))
    assert slope == pytest.approx(1.0, abs=0.03)
    assert se > 0


def test_a_camera_s_tone_curve_is_steeper_at_mid_exposure():
    slope, _ = tone_slope(bracket("camera"))
    assert slope > 1.1


def test_frames_of_one_exposure_are_no_bracket():
    image, _ = photograph(target())
    with pytest.raises(InvalidInput, match="bracket"):
        tone_slope([BracketFrame(image, 0.0), BracketFrame(image, 0.1)])


def test_a_frame_measured_in_a_sweep_does_not_ask_for_one():
    frames, _ = sweep_of(target(patch(0.3, growth=1.2, shape="gaussian", radius=0.2)), STOPS)
    assert not any("A sweep of apertures can" in note for one in measure_sweep(frames) for note in one.notes)
