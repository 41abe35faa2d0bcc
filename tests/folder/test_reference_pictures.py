"""The pictures that show what each eye grade looks like, measured as a contributor's own frames are."""

import pytest

from registry.folder.measure import measured_frames
from registry.photometry.measurement import MEASURED
from registry.simulation.references import GRADE_EV, reference_png


def test_the_pictures_of_the_eye_grades_measure_as_what_they_stand_for(tmp_path):
    for grade in range(len(GRADE_EV)):
        (tmp_path / f"{grade}.png").write_bytes(reference_png(grade))
    for result in measured_frames(tmp_path, sweeps=False):
        found, known = result.measurement, GRADE_EV[int(result.frame.file.key)]
        assert found.status == MEASURED
        assert found.ev == pytest.approx(known, abs=max(0.006, 0.02 * known))
        assert found.ev_low <= known <= found.ev_high
