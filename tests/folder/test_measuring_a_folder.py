"""A folder of frames, measured on one's own machine. Runs without Django."""

import base64
import io
import json
from dataclasses import replace
from xml.etree import ElementTree

import numpy as np
import pytest
from PIL import Image

from registry.errors import InvalidInput
from registry.folder.contents import frames_in
from registry.folder.measure import measure_folder, measured_frames
from registry.folder.overlay import overlay_svg, write_overlay
from registry.simulation.exif import CameraExif
from registry.simulation.files import write_dng, write_jpeg, write_png, write_tiff16
from registry.simulation.render import render_frame, render_sweep
from registry.simulation.scene import Patch, Scene

HOT = Scene(focal_length_mm=35, widest=2.8, patch=Patch(strength_ev=0.5, radius=0.1, shape="polygon"))
CLEAN = replace(HOT, patch=None)
STOPS = (4, 5.6, 8, 11, 16)
FIELDS = {
    "status", "reason", "ev", "ev_lo", "ev_hi", "radius", "centre", "tint_rg", "tint_bg", "f_number",
    "focal_length_mm", "sweep",
}  # fmt: skip


def frame(scene=HOT, f_number=8, seed=1):
    return render_frame(scene, f_number=f_number, size=(900, 600), seed=seed)


@pytest.fixture(scope="module")
def set_ups(tmp_path_factory):
    """Two set-ups of five stops, a lone frame beside them, one that is overexposed, one broken file, one note."""
    root = tmp_path_factory.mktemp("frames")
    truths = {}
    for name, scene in (("hot", HOT), ("clean", CLEAN)):
        (root / name).mkdir()
        for f_number, shot in zip(STOPS, render_sweep(scene, STOPS, size=(900, 600), seed=2), strict=True):
            key = f"{name}-{f_number}"
            write_jpeg(shot, root / name / f"{key}.jpg", exif=CameraExif())
            truths[key] = shot.truth
    write_jpeg(frame(seed=5), root / "alone.jpg", exif=CameraExif())
    write_jpeg(frame(replace(CLEAN, level=1.5)), root / "blown.jpg", exif=CameraExif())
    (root / "broken.jpg").write_bytes(b"\xff\xd8\xff\xe0 no more than this")
    (root / "notes.txt").write_text("fog until ten")
    (root / ".hidden.jpg").write_bytes(b"x")
    return root, truths


@pytest.fixture(scope="module")
def results(set_ups):
    return {result.frame.file.key: result for result in measured_frames(set_ups[0])}


@pytest.fixture(scope="module")
def measured(results):
    return {key: result.to_dict() for key, result in results.items()}


def test_every_frame_is_answered_in_the_agreed_form(measured, set_ups):
    assert set(measured) == set(set_ups[1]) | {"alone", "blown", "broken"}
    assert all(set(entry) == FIELDS for entry in measured.values())
    json.dumps(measured, allow_nan=False)


def test_strength_and_radius_come_out_near_the_truth(measured, set_ups):
    for f_number in (8, 11, 16):
        entry, truth = measured[f"hot-{f_number}"], set_ups[1][f"hot-{f_number}"]
        assert entry["status"] == "measured"
        assert entry["ev"] == pytest.approx(truth.excess_ev, abs=0.05 + 0.05 * truth.excess_ev)
        assert entry["ev_lo"] <= truth.excess_ev <= entry["ev_hi"]
        assert entry["radius"] == pytest.approx(truth.radius, abs=0.03)
        assert entry["centre"] == pytest.approx([0, 0], abs=0.02)
        assert (entry["f_number"], entry["focal_length_mm"]) == (f_number, 35)


def test_a_clean_lens_comes_out_clean(measured):
    for f_number in STOPS:
        assert measured[f"clean-{f_number}"]["ev"] < 0.05


def test_frames_of_one_folder_and_focal_length_form_a_sweep(measured):
    assert {measured[f"hot-{f}"]["sweep"] for f in STOPS} == {"hot, 35 mm"}
    assert {measured[f"clean-{f}"]["sweep"] for f in STOPS} == {"clean, 35 mm"}
    assert measured["alone"]["sweep"] is None


def test_a_frame_that_can_t_be_judged_or_read_says_why(measured):
    assert measured["blown"]["status"] == measured["broken"]["status"] == "rejected"
    assert "overexposed" in measured["blown"]["reason"]
    assert measured["broken"]["reason"]
    assert measured["broken"]["ev"] is None


def test_without_sweeps_every_frame_stands_alone(set_ups):
    frames = measure_folder(set_ups[0] / "hot", sweeps=False)["frames"]
    assert {entry["sweep"] for entry in frames.values()} == {None}


def test_progress_is_told_frame_by_frame(set_ups):
    told = []
    measure_folder(set_ups[0] / "hot", sweeps=False, progress=lambda *step: told.append(step))
    assert [(done, total) for done, total, _ in told] == [(n, 5) for n in range(1, 6)]


def test_three_stops_are_no_sweep(tmp_path):
    for f_number in (8, 11, 16):
        write_jpeg(frame(f_number=f_number), tmp_path / f"{f_number}.jpg", exif=CameraExif())
    assert {entry["sweep"] for entry in measure_folder(tmp_path)["frames"].values()} == {None}


def test_two_focal_lengths_in_one_folder_are_two_sweeps(tmp_path):
    for focal in (35, 50):
        for f_number in STOPS[:4]:
            shot = frame(replace(CLEAN, focal_length_mm=focal), f_number)
            write_jpeg(shot, tmp_path / f"{focal}-{f_number}.jpg", exif=CameraExif())
    frames = measure_folder(tmp_path)["frames"]
    assert {entry["sweep"] for entry in frames.values()} == {"35 mm", "50 mm"}


def test_frames_without_a_stop_are_measured_alone(tmp_path):
    for number in range(4):
        write_jpeg(frame(seed=number), tmp_path / f"{number}.jpg", exif=CameraExif(with_f_number=False))
    frames = measure_folder(tmp_path)["frames"].values()
    assert {(entry["f_number"], entry["sweep"]) for entry in frames} == {(None, None)}
    assert {entry["status"] for entry in frames} == {"measured"}


def test_every_format_gives_the_same_hotspot(tmp_path):
    shot = frame(seed=3)
    write_jpeg(shot, tmp_path / "jpeg.jpg", exif=CameraExif())
    write_png(shot, tmp_path / "png.png", exif=CameraExif())
    write_tiff16(shot, tmp_path / "tiff.tif", exif=CameraExif())
    write_dng(shot, tmp_path / "raw.dng", exif=CameraExif())
    frames = measure_folder(tmp_path)["frames"]
    assert set(frames) == {"jpeg", "png", "tiff", "raw"}
    for entry in frames.values():
        assert entry["ev"] == pytest.approx(shot.truth.excess_ev, abs=0.05)
        assert entry["f_number"] == 8


def test_names_that_clash_are_told_apart(tmp_path):
    for inside in ("one/a.jpg", "two/a.jpg", "two/b.jpg", "two/b.png"):
        path = tmp_path / inside
        path.parent.mkdir(exist_ok=True)
        Image.fromarray(np.full((64, 96, 3), 128, np.uint8)).save(path)
    assert [file.key for file in frames_in(tmp_path)] == ["one/a", "two/a", "b.jpg", "b.png"]


def test_a_frame_is_known_by_its_content_whatever_its_ending(tmp_path):
    write_jpeg(frame(), tmp_path / "frame.download", exif=CameraExif())
    assert [file.key for file in frames_in(tmp_path)] == ["frame"]


def test_a_missing_or_empty_folder_is_named(tmp_path):
    for folder, code in ((tmp_path / "nowhere", "no-such-folder"), (tmp_path, "no-frames")):
        with pytest.raises(InvalidInput) as refused:
            measure_folder(folder)
        assert refused.value.first.code == code
        assert str(folder) in refused.value.first.says


def test_the_overlay_draws_the_patch_where_it_is(results, tmp_path):
    result = results["hot-8"]
    drawn = ElementTree.fromstring(overlay_svg(result))
    space = "{http://www.w3.org/2000/svg}"
    width, height = (float(drawn.find(f".//{space}image").get(name)) for name in ("width", "height"))
    circle = drawn.find(f".//{space}circle")
    unit = np.hypot(width, height) / 2
    assert float(circle.get("r")) == pytest.approx(result.measurement.radius * unit, abs=0.1)
    assert float(circle.get("cx")) == pytest.approx(width / 2 + result.measurement.centre[0] * unit, abs=0.1)
    assert len(drawn.findall(f".//{space}polyline")) == 2
    text = " ".join(element.text for element in drawn.iter(f"{space}text"))
    assert f"{result.measurement.ev:.3f} EV" in text
    write_overlay(result, tmp_path / "overlay.svg")
    assert ElementTree.parse(tmp_path / "overlay.svg")


def test_the_overlay_of_a_rejected_frame_tells_the_reason(results):
    drawn = overlay_svg(results["blown"])
    assert "overexposed" in drawn
    assert "<circle" not in drawn
    with pytest.raises(ValueError, match="could not be read"):
        overlay_svg(results["broken"])


def test_the_picture_in_the_overlay_shows_the_frame_upright(tmp_path):
    write_jpeg(frame(), tmp_path / "tall.jpg", exif=CameraExif(orientation=6))
    (result,) = measured_frames(tmp_path)
    assert result.frame.image.width / result.frame.image.height == pytest.approx(900 / 600, rel=0.01)
    picture = overlay_svg(result).split("base64,")[1].split('"')[0]
    width, height = Image.open(io.BytesIO(base64.b64decode(picture))).size
    assert width > height
