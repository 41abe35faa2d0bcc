"""What light passes, and what angle a lens sees."""

import pytest

from registry.errors import InvalidInput
from registry.optics.field_of_view import angle_of_view, focal_length_35mm, half_diagonal_from
from registry.optics.light_path import check_wavelength, effective_cut_on


def test_of_stacked_long_pass_filters_the_longest_cut_on_decides():
    # Common practice, no source.
    assert effective_cut_on(590, 720) == 720
    assert effective_cut_on(830, None) == 830
    assert effective_cut_on(None, None) is None


@pytest.mark.parametrize("value", [399, 1101, float("nan"), "red"])
def test_wavelengths_that_no_camera_sees_are_refused(value):
    with pytest.raises(InvalidInput, match="nm"):
        check_wavelength(value)


@pytest.mark.parametrize(("focal", "degrees"), [(24, 84.1), (35, 63.4), (50, 46.8), (135, 18.2)])
def test_diagonal_angles_of_view_are_those_of_the_handbooks(focal, degrees):
    # Diagonal angles of view on 36 × 24 mm as lens data sheets print them; from memory.
    assert angle_of_view(focal) == pytest.approx(degrees, abs=0.1)


def test_a_smaller_sensor_sees_as_a_longer_lens():
    assert focal_length_35mm(50, 14.1) == pytest.approx(76.7, abs=0.1)
    assert angle_of_view(15, fisheye=True) == pytest.approx(165.3, abs=0.1)


@pytest.mark.parametrize(
    ("own", "equivalent", "half_diagonal"),
    [(35, 35, 21.63), (50, 75, 14.42), (25, 50, 10.82), (50, None, None), (0, 75, None), (50, 5000, None)],
)
def test_the_two_focal_lengths_of_exif_tell_the_sensor_s_size(own, equivalent, half_diagonal):
    # Exif 2.32, FocalLengthIn35mmFilm: the equivalent relates the diagonal to that of 36 × 24 mm.
    found = half_diagonal_from(own, equivalent)
    assert found == (None if half_diagonal is None else pytest.approx(half_diagonal, abs=0.01))
