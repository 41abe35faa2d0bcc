"""The command `measure_frames FOLDER --out FILE`."""

import io
import json

import pytest
from django.core.management import CommandError, call_command

from registry.simulation.exif import CameraExif
from registry.simulation.files import write_jpeg
from registry.simulation.render import render_frame
from registry.simulation.scene import Patch, Scene

SCENE = Scene(focal_length_mm=35, widest=2.8, patch=Patch(strength_ev=0.5, radius=0.1, shape="polygon"))


@pytest.fixture
def folder(tmp_path):
    frames = tmp_path / "frames"
    frames.mkdir()
    for f_number in (4, 5.6, 8, 11):
        shot = render_frame(SCENE, f_number=f_number, size=(600, 400), seed=1)
        write_jpeg(shot, frames / f"f{f_number}.jpg", exif=CameraExif())
    return frames


def test_it_writes_the_results_and_says_how_many(folder, tmp_path):
    printed = io.StringIO()
    call_command("measure_frames", folder, out=tmp_path / "results.json", stdout=printed)
    frames = json.loads((tmp_path / "results.json").read_text())["frames"]
    assert set(frames) == {"f4", "f5.6", "f8", "f11"}
    assert {entry["sweep"] for entry in frames.values()} == {"35 mm"}
    assert printed.getvalue().startswith("4 frames: ")


def test_sweeps_can_be_left_out_and_overlays_drawn(folder, tmp_path):
    overlays = tmp_path / "overlays"
    out = tmp_path / "results.json"
    call_command("measure_frames", folder, out=out, no_sweeps=True, overlays=overlays, stdout=io.StringIO())
    assert {entry["sweep"] for entry in json.loads(out.read_text())["frames"].values()} == {None}
    assert sorted(path.name for path in overlays.iterdir()) == ["f11.svg", "f4.svg", "f5.6.svg", "f8.svg"]


def test_a_missing_folder_is_told_in_one_sentence(tmp_path):
    with pytest.raises(CommandError, match="There is no folder"):
        call_command("measure_frames", tmp_path / "nowhere", out=tmp_path / "results.json")


def test_where_results_can_t_go_is_told_before_measuring(folder, tmp_path):
    with pytest.raises(CommandError, match="Make it first"):
        call_command("measure_frames", folder, out=tmp_path / "nowhere" / "results.json")
