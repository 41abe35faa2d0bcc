"""How often lenses, focal lengths and apertures were used. Runs without Django."""

import json

import pytest

from registry.errors import InvalidInput
from registry.folder.use import summary_of, use_of_folder, write_use
from registry.frames.exif import KeptExif
from registry.simulation.exif import CameraExif
from registry.simulation.files import write_jpeg
from registry.simulation.render import render_frame
from registry.simulation.scene import Scene


def shot(lens="Marram 24-70 mm f/2.8-4", focal=24.0, f_number=8.0):
    return KeptExif(lens_model=lens, focal_length_mm=focal, f_number=f_number)


def test_each_lens_is_counted_by_focal_length_and_aperture_most_used_first():
    pictures = [shot("Sedge 90 mm f/2", 90, 4), shot(), shot(focal=24.3, f_number=5.6), shot(focal=70)]
    assert summary_of(pictures) == {
        "format": "cleanstop-use/1",
        "frames": 4,
        "unnamed": 0,
        "lenses": [
            {
                "lens": "Marram 24-70 mm f/2.8-4",
                "frames": 3,
                "focal_mm": {"24": 2, "70": 1},
                "f_number": {"5.6": 1, "8": 2},
                "together": {"24": {"5.6": 1, "8": 1}, "70": {"8": 1}},
            },
            {
                "lens": "Sedge 90 mm f/2",
                "frames": 1,
                "focal_mm": {"90": 1},
                "f_number": {"4": 1},
                "together": {"90": {"4": 1}},
            },
        ],
    }


def test_an_adapted_lens_without_contacts_is_counted_as_unnamed():
    summary = summary_of([shot(lens="", focal=None, f_number=None), shot(lens=" ", f_number=None), shot()])
    assert (summary["frames"], summary["unnamed"], len(summary["lenses"])) == (2, 1, 1)


def test_a_missing_value_is_not_made_up():
    (lens,) = summary_of([shot(focal=None, f_number=None)])["lenses"]
    counts = {"frames": 1, "focal_mm": {}, "f_number": {}, "together": {}}
    assert lens == {"lens": "Marram 24-70 mm f/2.8-4"} | counts


def test_a_folder_is_read_from_its_exif_alone_and_names_no_file_or_date(tmp_path):
    (tmp_path / "dunes").mkdir()
    frame = render_frame(Scene(focal_length_mm=35, widest=1.4), f_number=8, size=(300, 200), seed=1)
    for number, f_number in enumerate((2.8, 8, 8)):
        exif = CameraExif(f_number=f_number, focal_length_mm=35, lens="Marram 35 mm f/1.4")
        write_jpeg(frame, tmp_path / "dunes" / f"sundew-{number}.jpg", exif=exif)
    seen = []
    summary = use_of_folder(tmp_path, progress=lambda *told: seen.append(told))
    write_use(summary, tmp_path / "use.json")
    written = (tmp_path / "use.json").read_text()
    assert json.loads(written)["lenses"] == [
        {
            "lens": "Marram 35 mm f/1.4",
            "frames": 3,
            "focal_mm": {"35": 3},
            "f_number": {"2.8": 1, "8": 2},
            "together": {"35": {"2.8": 1, "8": 2}},
        }
    ]
    assert "sundew" not in written and "2026" not in written
    assert seen[-1][:2] == (3, 3)


def test_a_folder_without_pictures_is_refused(tmp_path):
    with pytest.raises(InvalidInput, match="holds no frames"):
        use_of_folder(tmp_path)
