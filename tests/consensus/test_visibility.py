"""The visible threshold beside what vision science says of faint contrasts."""

import numpy as np
import pytest
from colour.contrast import (
    contrast_sensitivity_function_Barten1999,
    pupil_diameter_Barten1999,
    retinal_illuminance_Barten1999,
    sigma_Barten1999,
)

from registry.consensus.constants import GRADE_EV, VISIBLE_EV

LUMINANCE, FIELD_DEGREES = 100.0, 20.0


def just_seen_ev(cycles_per_degree: float) -> float:
    """EV between light and dark of the faintest grating that the standard observer sees half of the time: Barten,
    Contrast Sensitivity of the Human Eye and Its Effects on Image Quality, 1999, as colour-science computes it."""
    pupil = pupil_diameter_Barten1999(LUMINANCE, FIELD_DEGREES)
    sensitivity = contrast_sensitivity_function_Barten1999(
        cycles_per_degree,
        sigma=sigma_Barten1999(0.5 / 60, 0.08 / 60, pupil),
        E=retinal_illuminance_Barten1999(LUMINANCE, FIELD_DEGREES),
        X_0=FIELD_DEGREES,
        Y_0=FIELD_DEGREES,
    )
    contrast = 1 / float(sensitivity)
    return float(np.log2((1 + contrast) / (1 - contrast)))


@pytest.mark.parametrize(("cycles_per_degree", "ev"), [(0.1, 0.046), (0.2, 0.023), (0.5, 0.010)])
def test_the_method_page_s_contrast_thresholds_are_barten_s(cycles_per_degree, ev):
    assert just_seen_ev(cycles_per_degree) == pytest.approx(ev, abs=0.0005)


def test_what_counts_as_visible_is_plain_to_a_standard_observer_and_what_counts_as_none_is_not():
    """A patch of a tenth to a quarter of the frame's diagonal spans 5 to 10 degrees at reading distance: half a
    period of .05 to .1 cycles per degree (viewing distances: common practice, no source)."""
    faintest = just_seen_ev(0.1)
    none, trace = GRADE_EV[0], GRADE_EV[1]
    assert 2 * faintest < VISIBLE_EV
    assert none[1] == trace[0] == pytest.approx(faintest, abs=0.005)
