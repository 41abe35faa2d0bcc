"""Reduced frames measure as the files they were made from, and are believed within bounds only."""

import json
from pathlib import Path

import numpy as np
import pytest
import tifffile

from registry.errors import CleanstopError, TooLarge, Unreadable
from registry.frames.decode import decode_with_exif
from registry.frames.intake import take_in
from registry.frames.kept import FORM
from registry.frames.local import read_local, reduce_local
from registry.photometry.frame import measure_frame
from registry.simulation.exif import CameraExif, PrivateExif
from registry.simulation.files import write_dng, write_jpeg, write_tiff16
from registry.simulation.render import render_frame
from registry.simulation.scene import Patch, Scene

HOT = Scene(focal_length_mm=35, widest=1.4, patch=Patch(strength_ev=0.5, radius=0.1, shape="polygon"))
PRIVATE = PrivateExif(
    latitude=53.1, longitude=0.3, body_serial="40017", owner="A. Glasswort", comment="by the hide"
)


@pytest.fixture(scope="module")
def shot():
    return render_frame(HOT, f_number=8, size=(1800, 1200), seed=3)


@pytest.mark.parametrize(
    "write, name", [(write_jpeg, "a.jpg"), (write_tiff16, "a.tif"), (write_dng, "a.dng")]
)
def test_a_reduced_frame_measures_as_the_file_that_it_was_made_from(shot, write, name, tmp_path):
    write(shot, tmp_path / name, exif=CameraExif(maker_note=b"our own" if name == "a.jpg" else None))
    reduce_local(tmp_path / name, tmp_path / "reduced.tif")
    image, exif = read_local(tmp_path / name)
    again, exif_again = read_local(tmp_path / "reduced.tif")
    for fact in ("width", "height", "clipped", "black", "kind", "linear", "notes"):
        assert getattr(again, fact) == getattr(image, fact)
    assert again.tone_gain == pytest.approx(image.tone_gain, abs=1e-4)
    assert again.pixels == pytest.approx(image.pixels, abs=1e-4)
    assert exif_again == exif
    before, after = measure_frame(image, f_number=8), measure_frame(again, f_number=8)
    assert (after.status, after.ev, after.radius) == (
        before.status,
        pytest.approx(before.ev, abs=0.002),
        pytest.approx(before.radius, abs=0.002),
    )


def test_it_is_smaller_and_tells_nothing_private(shot, tmp_path):
    write_tiff16(shot, tmp_path / "a.tif", exif=CameraExif(private=PRIVATE))
    reduce_local(tmp_path / "a.tif", tmp_path / "reduced.tif")
    written = (tmp_path / "reduced.tif").read_bytes()
    assert len(written) < (tmp_path / "a.tif").stat().st_size / 3
    for told in (b"40017", b"Glasswort", b"hide", b"GPS"):
        assert told not in written


def test_the_same_file_is_reduced_to_the_same_bytes(shot, tmp_path):
    write_jpeg(shot, tmp_path / "a.jpg", exif=CameraExif())
    reduce_local(tmp_path / "a.jpg", tmp_path / "one.tif")
    reduce_local(tmp_path / "a.jpg", tmp_path / "two.tif")
    assert (tmp_path / "one.tif").read_bytes() == (tmp_path / "two.tif").read_bytes()


def test_it_is_taken_in_as_any_untrusted_file(shot, tmp_path):
    write_jpeg(shot, tmp_path / "a.jpg", exif=CameraExif())
    reduce_local(tmp_path / "a.jpg", tmp_path / "reduced.tif")
    taken = take_in(tmp_path / "reduced.tif", working_directory=tmp_path)
    assert (taken.kind, taken.width, taken.height) == ("tiff", 1800, 1200)
    assert (taken.exif.f_number, taken.exif.lens_model) == (8, "Marram 50 mm f/1.8")
    assert b"exif" not in taken.kept_path.read_bytes()[-2000:]
    assert taken.image.pixels == pytest.approx(read_local(tmp_path / "reduced.tif")[0].pixels, abs=1e-6)


GOOD = {
    "form": FORM, "width": 900, "height": 600, "clipped": 0.0, "black": 0.0, "kind": "jpeg", "linear": False,
    "by_camera": True, "matrix": None, "balance": [1, 1, 1], "notes": [], "exif": {"f_number": 8.0},
}  # fmt: skip


def written(path: Path, shape=(60, 90, 3), dtype=np.uint16, **changed) -> Path:
    codes = np.full(shape, 30_000 if dtype == np.uint16 else 120, dtype)
    tifffile.imwrite(path, codes, photometric="rgb", description=json.dumps(GOOD | changed), metadata=None)
    return path


def test_a_description_within_bounds_is_believed(tmp_path):
    image, facts = decode_with_exif(written(tmp_path / "a.tif"))
    assert (image.width, image.kind, facts.kept.f_number) == (900, "jpeg", 8)


@pytest.mark.parametrize(
    "lie",
    [
        {"width": 10},
        {"width": "900"},
        {"width": True},
        {"width": 900.5},
        {"height": 60},
        {"clipped": -0.1},
        {"clipped": float("nan")},
        {"black": "none"},
        {"kind": "film"},
        {"matrix": [[1, 0, 0], [0, 1, 0]]},
        {"matrix": [[1e9, 0, 0], [0, 1, 0], [0, 0, 1]]},
        {"balance": [0, 1, 1]},
        {"balance": "111"},
        {"notes": ["x" * 100]},
        {"notes": [7]},
        {"notes": ["a"] * 21},
        {"dtype": np.uint8},
        {"shape": (1000, 1600, 3), "width": 1600, "height": 1000},
    ],
    ids=str,
)
def test_a_description_beyond_its_bounds_is_refused_in_words(tmp_path, lie):
    with pytest.raises(Unreadable) as refusal:
        decode_with_exif(written(tmp_path / "a.tif", **lie))
    assert refusal.value.first.code == "damaged-image" and refusal.value.first.remedy


def test_a_missing_fact_is_refused(tmp_path, monkeypatch):
    monkeypatch.delitem(GOOD, "balance")
    with pytest.raises(Unreadable):
        decode_with_exif(written(tmp_path / "a.tif"))


def test_a_frame_that_would_have_been_too_large_is_too_large_when_reduced(tmp_path):
    with pytest.raises(TooLarge):
        decode_with_exif(written(tmp_path / "a.tif", width=24_000, height=16_000))


@pytest.mark.parametrize(
    "exif",
    [
        None,
        [],
        {"f_number": 1e9},
        {"f_number": "nan"},
        {"taken_at": 7},
        {"lens_model": ["x"]},
        {"gps": [1, 2]},
    ],
    ids=str,
)
def test_exif_that_makes_no_sense_is_left_out(tmp_path, exif):
    facts = decode_with_exif(written(tmp_path / "a.tif", exif=exif))[1]
    assert facts.kept.to_dict() | {"lens_model": ""} == {
        **dict.fromkeys(facts.kept.to_dict()),
        "body_maker": "",
        "body_model": "",
        "lens_model": "",
    }


def test_a_tiff_that_only_speaks_of_the_form_is_any_tiff(tmp_path):
    codes = np.full((60, 90, 3), 30_000, np.uint16)
    for words in (FORM, f'["{FORM}"]', "{" + FORM, json.dumps({"form": "other", "x": FORM})):
        tifffile.imwrite(tmp_path / "a.tif", codes, photometric="rgb", description=words, metadata=None)
        try:
            image = decode_with_exif(tmp_path / "a.tif")[0]
        except CleanstopError as error:
            pytest.fail(str(error))
        assert (image.width, image.kind) == (90, "tiff")
