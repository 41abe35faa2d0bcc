"""A broad soft patch that falloff could take up: refuted by the frame, or left standing in its interval."""

import numpy as np
import pytest

from registry.photometry.bells import BELL_STRENGTHS_EV, hidden_bell
from registry.photometry.measurement import MEASURED, UNCERTAIN
from registry.photometry.patches import NODES
from registry.photometry.posterior import Reduced
from tests.photometry.builders import measured, patch, target


def seen(profile_ev: np.ndarray, se: float) -> Reduced:
    """What is left of a frame that shows this profile, each node known to within se."""
    precision = np.eye(len(NODES)) / se**2
    return Reduced(precision, (precision @ profile_ev)[:, None], np.array([0.0]))


def test_a_frame_that_shows_no_excess_refutes_every_bell():
    assert hidden_bell([seen(0 * NODES, se=0.01)], log_evidence=0.0) == 0


def test_a_frame_that_says_nothing_refutes_no_bell():
    assert hidden_bell([seen(0 * NODES, se=10.0)], log_evidence=0.0) == max(BELL_STRENGTHS_EV)


def test_a_bell_that_is_there_is_not_refuted_however_sharp_the_frame():
    bell = 0.1 * np.exp(-np.log(2) * (NODES / 0.25) ** 2)
    reduced = seen(bell, se=0.005)
    explained = float(bell @ reduced.precision @ bell) / 2
    assert hidden_bell([reduced], log_evidence=explained) == 0.1


@pytest.mark.parametrize("shape", ["gaussian", "skirted"])
@pytest.mark.parametrize("radius", [0.2, 0.27])
@pytest.mark.parametrize("f_number", [5.6, 8])
def test_a_broad_visible_patch_is_never_called_clean(shape, radius, f_number):
    found, truth = measured(target(patch(0.2, radius=radius, shape=shape)), f_number)
    assert truth.excess_ev > 0.12
    assert found.ev_low <= truth.excess_ev <= found.ev_high
    assert found.status == UNCERTAIN or found.ev >= 0.1


@pytest.mark.parametrize("f_number", [4, 8, 16])
def test_a_clean_frame_that_refutes_all_bells_is_sure_of_it(f_number):
    found, _ = measured(target(), f_number)
    assert found.status == MEASURED
    assert found.ev_high < 0.05
