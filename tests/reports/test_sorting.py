"""Frames sorted into sweeps, and what doesn't go with the rest pointed out."""

from itertools import count

import pytest

from registry.reports.models import SampleImage
from registry.reports.rules.sorting import sort_frames
from tests.factories import BodyFactory, LensFactory
from tests.report_factories import ReportFactory, RigFactory

pytestmark = pytest.mark.django_db
FULL_STOPS = (2.8, 4, 5.6, 8, 11, 16)
NUMBERS = count(1)


def read(f_number=8, focal_length_mm=35, *, state="measured", purpose="target", name="", **exif):
    """A frame that has been read, as EXIF tells it."""
    number = next(NUMBERS)
    return SampleImage(
        pk=number,
        public_id=f"frame{number}",
        file_name=name or f"DSC_{number:04d}.jpg",
        state=state,
        purpose=purpose,
        f_number=f_number,
        focal_length_mm=focal_length_mm,
        exif={"body_model": "OSTERBY CAUSEY-6", "lens_model": "Marram 24-70 mm f/2.8-4"} | exif,
    )


def sweep_at(focal_length_mm, stops=FULL_STOPS, **exif):
    return [read(stop, focal_length_mm, **exif) for stop in stops]


@pytest.fixture
def on_a_zoom():
    return ReportFactory(basis="measured", lens=LensFactory(zoom=True))


def test_exif_sorts_frames_into_sweeps(on_a_zoom):
    frames = [*sweep_at(70), *sweep_at(24), read(8, 24)]
    sorting = sort_frames(on_a_zoom, frames)
    assert [sweep.focal_length_mm for sweep in sorting.sweeps] == [24, 70]
    assert ("f/8", 2) in sorting.sweeps[0].stops
    assert [mark for mark, _ in sorting.sweeps[1].stops] == ["f/2.8", "f/4", "f/5.6", "f/8", "f/11", "f/16"]
    assert sorting.apart == []


def test_frames_without_a_stop_or_focal_length_wait_to_be_told(on_a_zoom):
    lacking = [read(None, 24), read(8, None)]
    sorting = sort_frames(on_a_zoom, [*sweep_at(24), *lacking])
    assert sorting.unsorted == lacking


def test_a_prime_needs_no_focal_length_from_exif():
    prime = ReportFactory(basis="measured")
    assert sort_frames(prime, [read(8, None)]).sweeps[0].focal_length_mm == 35


def test_controls_and_proof_pictures_are_in_no_sweep(on_a_zoom):
    control, proof = read(8, 24, purpose="control"), read(8, 50, purpose="proof")
    sorting = sort_frames(on_a_zoom, [*sweep_at(24), control, proof])
    assert (sorting.controls, sorting.proofs) == ([control], [proof])
    assert len(sorting.sweeps) == 1


def test_what_has_not_been_read_yet_is_left_out(on_a_zoom):
    sorting = sort_frames(on_a_zoom, [read(state="arrived"), read(state="unreadable")])
    assert not sorting.sweeps and not sorting.unsorted


@pytest.mark.parametrize(("entry", "what"), [("body_model", "body"), ("lens_model", "lens")])
def test_a_frame_by_another_body_or_lens_is_pointed_out(on_a_zoom, entry, what):
    stray = read(8, 24, name="stray.jpg", **{entry: "QUILLMARK 9"})
    (apart,) = sort_frames(on_a_zoom, [*sweep_at(24), stray]).apart
    assert (apart.what, apart.frames) == (what, [stray])
    assert "stray.jpg was" in apart.says and "“QUILLMARK 9”" in apart.says


def test_a_file_that_does_not_name_its_lens_differs_from_nothing(on_a_zoom):
    assert sort_frames(on_a_zoom, [*sweep_at(24), read(11, 24, lens_model="")]).apart == []


def test_a_proof_picture_may_come_from_any_camera(on_a_zoom):
    proof = read(8, 24, purpose="proof", body_model="QUILLMARK 9")
    assert sort_frames(on_a_zoom, [*sweep_at(24), proof]).apart == []


def test_a_slipped_zoom_ring_is_pointed_out_beside_the_whole_sweep(on_a_zoom):
    slipped = read(8, 24.6, name="slipped.jpg")
    (apart,) = sort_frames(on_a_zoom, [*sweep_at(24), *sweep_at(70), slipped]).apart
    assert apart.frames == [slipped]
    assert "24.6 mm, beside 6 frames at 24 mm" in apart.says
    assert "24 mm" in apart.remedy


def test_a_focal_length_that_the_lens_has_not_is_pointed_out(on_a_zoom):
    (apart,) = sort_frames(on_a_zoom, [*sweep_at(24), *sweep_at(105, (4, 5.6))]).apart
    assert apart.what == "focal length" and "lies outside" in apart.says


def test_many_strays_are_counted_and_not_listed(on_a_zoom):
    strays = sweep_at(24, (2.8, 4, 5.6, 8, 11), body_model="QUILLMARK 9")
    (apart,) = sort_frames(on_a_zoom, [*sweep_at(24), *strays]).apart
    assert "and 2 more were" in apart.says


def test_files_that_all_name_another_lens_than_the_report_are_questioned(on_a_zoom):
    LensFactory(name="Samphire 85 mm f/1.2", focal_min_mm=85, widest_f=1.2)
    frames = sweep_at(35, lens_model="Osterby Samphire 85mm f/1.2")
    apart = [one for one in sort_frames(on_a_zoom, frames).apart if not one.from_rest]
    assert [one.what for one in apart] == ["lens"]
    assert "Samphire 85 mm f/1.2; the report is on" in apart[0].says


def test_a_lens_name_that_fits_none_surely_offers_the_nearest(on_a_zoom):
    near = LensFactory(name="Samphire 85 mm f/1.2", focal_min_mm=85, widest_f=1.2)
    (apart,) = sort_frames(on_a_zoom, sweep_at(35, lens_model="Ostreby Samfire 85mm f/1.2")).apart
    assert (apart.what, apart.from_rest, apart.meant) == ("lens", False, (near,))
    assert "which the catalogue doesn’t know by that name" in apart.says


@pytest.mark.parametrize(
    "written", ["Marram ZX 24-70mm F2.8-4", "Maram 24-70/2.8-4", "24.0-70.0 mm f/2.8-4.0"]
)
def test_a_lens_name_that_may_mean_the_reports_own_is_let_be(on_a_zoom, written):
    LensFactory(name="Samphire 85 mm f/1.2", focal_min_mm=85, widest_f=1.2)
    assert sort_frames(on_a_zoom, sweep_at(24, lens_model=written)).apart == []


@pytest.mark.parametrize("written", ["----", "None", "DT 0mm F0"])
def test_a_lens_name_that_says_nothing_offers_nothing(on_a_zoom, written):
    assert sort_frames(on_a_zoom, sweep_at(24, lens_model=written)).apart == []


def test_files_that_all_name_another_body_than_the_report_are_questioned():
    BodyFactory(name="Causey 6", exif_model="OSTERBY CAUSEY-6")
    mine = RigFactory(body=BodyFactory(name="Causey 2", exif_model="OSTERBY CAUSEY-2"))
    report = ReportFactory(basis="measured", author=mine.owner, rig=mine)
    (apart,) = sort_frames(report, sweep_at(35)).apart
    assert (apart.what, apart.from_rest) == ("body", False)
    assert "Osterby Causey 6; the report names Osterby Causey 2" in apart.says


def test_a_shot_sent_as_raw_and_as_jpeg_is_pointed_out_since_it_would_count_twice(on_a_zoom):
    raw = [read(stop, 24, name=f"DSC_{stop}.dng") for stop in FULL_STOPS]
    for frame in raw:
        frame.kind = "raw"
    (apart,) = sort_frames(
        on_a_zoom, [*raw, read(8, 24, name="dsc_8.jpg"), read(8, 24, name="other.jpg")]
    ).apart
    assert [frame.file_name for frame in apart.frames] == ["dsc_8.jpg"]
    assert "dsc_8.jpg was sent as raw too" in apart.says
    assert apart.of_a_frame == "the same shot as another file"
