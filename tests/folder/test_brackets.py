"""A sweep of JPEGs whose light a picture style has bent, with two frames of one stop a whole EV apart beside it."""

from fractions import Fraction

import numpy as np
import pytest

from registry.folder.measure import measured_frames
from registry.simulation.exif import CameraExif
from registry.simulation.files import write_jpeg
from registry.simulation.render import render_frame
from registry.simulation.scene import Patch, Scene

STOPS = (2.8, 4.0, 5.6, 8.0, 11.0)
SCENE = Scene(
    focal_length_mm=50,
    widest=2.0,
    vignetting_ev=0.8,
    telecentric_factor=0.8,
    tilt_ev=0.04,
    level=0.18,
    patch=Patch(strength_ev=0.3, radius=0.14, shape="polygon", growth=1.0, by_cut_on=((720, 1.0),)),
)
MAKER_NOTE = b"\0" * 64


def found_in(folder, *, bracket: bool, **exif):
    """Truths, and what is found in the sweep's frames, widest first."""
    truths = {}
    for f_number, ev in [(stop, 0.0) for stop in STOPS] + [(8.0, -0.5), (8.0, 0.5)] * bracket:
        shot = render_frame(SCENE, f_number=f_number, size=(900, 600), seed=2, exposure_ev=ev)
        exposure = Fraction(round(1000 * 2**ev), 60_000)
        name = f"{f_number:04.1f} {ev:+.1f}"
        write_jpeg(
            shot, folder / f"{name}.jpg", tone="camera", exif=CameraExif(exposure_seconds=exposure, **exif)
        )
        truths[name] = shot.truth.excess_ev
    found = {result.frame.file.key: result.measurement for result in measured_frames(folder)}
    names = [name for name in sorted(truths) if name.endswith("+0.0")]
    return np.array([truths[name] for name in names]), [found[name] for name in names]


@pytest.fixture
def folders(tmp_path):
    plain, bracketed = tmp_path / "plain", tmp_path / "bracketed"
    plain.mkdir()
    bracketed.mkdir()
    return plain, bracketed


def test_a_bracket_brings_the_whole_sweep_nearer_to_the_truth_where_the_file_passes_for_srgb(folders):
    truths, plain = found_in(folders[0], bracket=False)
    _, calibrated = found_in(folders[1], bracket=True)
    errors = [np.abs([one.ev for one in found] - truths) for found in (plain, calibrated)]
    assert (errors[1] < errors[0]).all()
    assert errors[1].mean() < errors[0].mean() / 3
    assert [one.ev_low <= truth <= one.ev_high for one, truth in zip(calibrated, truths, strict=True)] == [
        True
    ] * 5


def test_a_bracket_narrows_what_a_camera_s_unknown_curve_leaves_open(folders):
    truths, plain = found_in(folders[0], bracket=False, maker_note=MAKER_NOTE)
    _, calibrated = found_in(folders[1], bracket=True, maker_note=MAKER_NOTE)
    for truth, before, after in zip(truths, plain, calibrated, strict=True):
        assert before.ev_low <= truth <= before.ev_high
        assert after.ev_low <= truth <= after.ev_high
        assert after.ev_high - after.ev_low < 0.8 * (before.ev_high - before.ev_low)
