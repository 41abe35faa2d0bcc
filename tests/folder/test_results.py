"""The folder command without a server: its table, its pictures, its words. Runs without Django."""

import csv
import io
import subprocess
import sys
from dataclasses import replace
from xml.etree import ElementTree

import pytest

from registry.folder.command import main
from registry.folder.contents import frames_in
from registry.folder.measure import FrameResult, ReadFrame
from registry.folder.results import HEADINGS, write_results
from registry.folder.sweep_picture import sweep_svg
from registry.frames.exif import KeptExif
from registry.simulation.exif import CameraExif
from registry.simulation.files import write_jpeg
from registry.simulation.render import render_sweep
from registry.simulation.scene import Patch, Scene

HOT = Scene(focal_length_mm=35, widest=1.4, patch=Patch(strength_ev=0.5, radius=0.1, shape="polygon"))
STOPS = (4, 5.6, 8, 11)


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    root = tmp_path_factory.mktemp("evening") / "dunes"
    root.mkdir()
    for f_number, shot in zip(STOPS, render_sweep(HOT, STOPS, size=(600, 400), seed=2), strict=True):
        write_jpeg(shot, root / f"=f{f_number}.jpg", exif=CameraExif())
    (root / "broken.jpg").write_bytes(b"\xff\xd8\xff\xe0 no more than this")
    return root


def rows_of(path):
    return list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8-sig"))))


def test_a_table_and_one_picture_per_sweep_are_written_beside_the_folder(folder):
    out = io.StringIO()
    assert main([str(folder)], out=out) == 0
    results = folder.with_name("dunes-measured")
    assert sorted(path.name for path in results.iterdir()) == ["frames.csv", "sweep-35-mm.svg"]
    assert out.getvalue().startswith("5 frames: ") and "1 rejected" in out.getvalue()
    rows = rows_of(results / "frames.csv")
    assert list(rows[0]) == list(HEADINGS)
    measured = [row for row in rows if row["status"] == "measured"]
    assert {row["sweep"] for row in measured} == {"35 mm"}
    assert all(
        float(row["excess_low"]) <= float(row["excess_ev"]) <= float(row["excess_high"]) for row in measured
    )
    assert next(row for row in rows if "broken" in row["frame"])["reason"]


def test_a_file_name_is_never_run_as_a_formula(folder, tmp_path):
    main([str(folder), "--out", str(tmp_path / "out")], out=io.StringIO())
    assert all(row["frame"].startswith(("'=", "broken")) for row in rows_of(tmp_path / "out" / "frames.csv"))


def test_the_picture_has_a_point_and_a_frame_for_each_stop(folder, tmp_path):
    main([str(folder), "--out", str(tmp_path)], out=io.StringIO())
    drawn = ElementTree.fromstring((tmp_path / "sweep-35-mm.svg").read_text())
    words = [node.text for node in drawn.iter("{http://www.w3.org/2000/svg}text")]
    assert [word for word in words if word in ("f/4", "f/5.6", "f/8", "f/11")] == [
        "f/4",
        "f/5.6",
        "f/8",
        "f/11",
    ]
    assert len(list(drawn.iter("{http://www.w3.org/2000/svg}image"))) == 4
    assert "visible from 0.1 EV" in words


def test_two_sweeps_of_one_focal_length_in_two_folders_get_a_picture_each(folder, tmp_path):
    for name in ("one", "two"):
        (tmp_path / "all" / name).mkdir(parents=True)
        for path in folder.glob("=*.jpg"):
            (tmp_path / "all" / name / path.name).write_bytes(path.read_bytes())
    main([str(tmp_path / "all"), "--out", str(tmp_path / "out")], out=io.StringIO())
    assert sorted(path.name for path in (tmp_path / "out").glob("*.svg")) == [
        "sweep-one-35-mm.svg",
        "sweep-two-35-mm.svg",
    ]


@pytest.fixture
def with_extras(folder, tmp_path):
    """Two frames of the target, a control of the same focal length, and a picture of a real scene."""
    root = tmp_path / "dunes"
    for inside, shot, name in (
        ("", render_sweep(HOT, (8, 11), size=(600, 400), seed=2)[0], "a.jpg"),
        ("", render_sweep(HOT, (8, 11), size=(600, 400), seed=2)[1], "b.jpg"),
        ("visible", render_sweep(replace(HOT, patch=None), (8,), size=(600, 400), seed=4)[0], "c.jpg"),
        ("scene", render_sweep(HOT, (8,), size=(600, 400), seed=5)[0], "d.jpg"),
    ):
        (root / inside).mkdir(parents=True, exist_ok=True)
        write_jpeg(shot, root / inside / name, exif=CameraExif())
    return root


def test_controls_are_compared_with_and_proof_pictures_are_not_measured(with_extras, tmp_path):
    extras = ("--control", "visible", "--proof", "scene")
    assert main([str(with_extras), *extras, "--out", str(tmp_path / "out")], out=io.StringIO()) == 0
    told = {
        row["frame"]: (row["purpose"], row["set_up"], row["sweep"])
        for row in rows_of(tmp_path / "out" / "frames.csv")
    }
    assert told == {"a": ("target", "", "35 mm"), "b": ("target", "", "35 mm"), "c": ("control", "", "")}


def test_a_subfolder_is_a_set_up_of_its_own_unless_it_is_named(with_extras):
    kinds = {(file.set_up, file.purpose) for file in frames_in(with_extras)}
    assert kinds == {("", "target"), ("visible", "target"), ("scene", "target")}


def test_a_missing_subfolder_is_told(with_extras, capsys):
    assert main([str(with_extras), "--control", "nowhere"], out=io.StringIO()) == 1
    assert "has no subfolder “nowhere”" in capsys.readouterr().err


def test_nothing_is_drawn_of_a_sweep_without_a_readable_frame(folder, tmp_path):
    frame = FrameResult(ReadFrame(None, None, KeptExif(), "broken"), None)
    with pytest.raises(ValueError, match="nothing to draw"):
        sweep_svg("35 mm", [frame])
    assert write_results([], tmp_path / "none")[0].name == "frames.csv"


def test_use_alone_is_written_when_it_is_asked_for(folder, tmp_path):
    out = io.StringIO()
    assert main([str(folder), "--use", str(tmp_path / "use.json")], out=out) == 0
    assert "4 pictures, 1 lenses" in out.getvalue()
    assert [path.name for path in tmp_path.iterdir()] == ["use.json"]


@pytest.mark.parametrize(
    "arguments, words",
    [
        (["nowhere"], "There is no folder “nowhere”."),
        (["{folder}", "--submit", "https://registry.example", "--token", ""], "No token was given."),
        (["{folder}", "--use", "/nowhere/use.json"], "Choose another place"),
    ],
)
def test_what_is_wrong_is_told_in_words(folder, capsys, arguments, words):
    assert main([one.format(folder=folder) for one in arguments], out=io.StringIO()) == 1
    told = capsys.readouterr().err
    assert words in told and "Traceback" not in told


def test_it_runs_as_a_module_and_needs_no_web_framework(folder, tmp_path):
    code = "import sys; import registry.folder.command; sys.exit('django' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code]).returncode == 0
    told = subprocess.run([sys.executable, "-m", "registry.folder", "--help"], capture_output=True, text=True)
    assert told.returncode == 0 and "--submit URL" in told.stdout
