"""A whole report in one call: everything is taken, or every problem is told."""

import datetime

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from registry.errors import InvalidInput
from registry.reports import services
from registry.reports.models import Copy, Reading, Report, ReportState, Rig, SampleImage
from registry.reports.services.revisions import content_of
from tests.factories import AccountFactory, BodyFactory, FilterFactory, LensFactory
from tests.report_factories import jpeg_upload, photographed

pytestmark = pytest.mark.django_db


@pytest.fixture
def author():
    return AccountFactory()


@pytest.fixture
def lens():
    return LensFactory(name="Marram 35 mm f/1.4", slug="osterby-marram-35")


@pytest.fixture
def data(lens):
    body, filter_item = BodyFactory(), FilterFactory()
    return {
        "basis": "graded",
        "lens": lens.slug,
        "rig": {"body": body.slug, "conversion": "full-spectrum"},
        "copy": {"label": "the dented one", "serial_number": "A-1"},
        "filter": filter_item.slug,
        "filter_position": "front",
        "target": "white wall",
        "shot_on": "2024-06-21",
        "sweeps": [
            {
                "readings": [
                    {"f_number": 5.6, "grade": 0},
                    {"f_number": 8, "excess_ev": 0.21, "excess_se": 0.02},
                ]
            }
        ],
        "claims": [{"says": "hot_from", "f_number": 8}],
        "findings": [{"kind": "flare", "grade": 1, "note": "low sun"}],
    }


def problems_of(author, data, **named) -> dict[str, str]:
    with pytest.raises(InvalidInput) as refused:
        services.file_report(author=author, data=data, submit=True, **named)
    assert not Report.objects.exists()
    return {problem.field: problem.code for problem in refused.value.problems}


def test_a_whole_report_is_filed_and_counts(author, data):
    report = services.file_report(author=author, data=data, submit=True)
    assert (report.state, report.cut_on_nm, report.copy.label) == (
        ReportState.SUBMITTED,
        720,
        "the dented one",
    )
    assert [(r.f_number, r.grade, r.excess_ev) for r in Reading.objects.all()] == [
        (5.6, 0, None),
        (8, None, 0.21),
    ]
    assert report.shot_on == datetime.date(2024, 6, 21)


def test_a_report_s_content_can_be_filed_again(author, data):
    report = services.file_report(author=author, data=data, submit=True)
    content = content_of(report)
    for sweep in content["sweeps"]:
        del sweep["repeatability_ev"]
        sweep["readings"] = [
            {name: reading[name] for name in ("f_number", "excess_ev", "excess_se", "grade")}
            for reading in sweep["readings"]
        ]
    again = services.file_report(author=author, data=content, submit=True)
    assert (again.rig, again.copy, again.light_group) == (report.rig, report.copy, report.light_group)
    assert Reading.objects.count() == 4


def test_every_problem_is_told_at_once_by_its_path(author, data):
    data |= {
        "rig": {"body": "no-such-body", "conversion": "long-pass"},
        "filter_position": "sideways",
        "shot_on": "2999-01-01",
        "citation_url": "not an address",
        "nots": "typo",
        "sweeps": [
            {"readings": [{"f_number": 8, "grade": 0}]},
            {
                "focal_length_mm": 300,
                "readings": [{"f_number": 8, "grade": 9}, {"f_number": 7.7, "grade": 0}],
            },
        ],
        "claims": [{"says": "clean_to"}, {"says": "perfect"}],
        "findings": [{"kind": "flare"}],
        "images": ["nosuchpic0"],
    }
    found = problems_of(author, data)
    assert found == {
        "rig.body": "unknown-body",
        "rig.cut_on_nm": "missing",
        "filter_position": "not-a-choice",
        "shot_on": "date-in-the-future",
        "citation_url": "not-an-address",
        "nots": "unknown-field",
        "sweeps[1].focal_length_mm": "focal-length-outside-the-lens",
        "sweeps[1].readings[0].grade": "number-out-of-range",
        "sweeps[1].readings[1].f_number": "f-number-not-marked",
        "claims[0].f_number": "missing",
        "claims[1].says": "not-a-choice",
        "findings[0].grade": "missing",
        "images[0].image": "unknown-image",
    }


def test_an_unknown_lens_offers_the_nearest_and_adding_it(author, data, lens):
    data["lens"] = "Osterby Maram 35 1.4"
    with pytest.raises(InvalidInput) as refused:
        services.file_report(author=author, data=data, submit=True)
    problem = refused.value.first
    assert problem.code == "unknown-lens"
    assert str(lens) in problem.remedy
    assert "add it" in problem.remedy
    assert len(refused.value.problems) == 1


def test_a_lens_may_be_named_as_people_write_it(author, data, lens):
    data["lens"] = "osterby Marram 35mm F1.4"
    assert services.file_report(author=author, data=data, submit=False).lens == lens


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("sweeps", "none"),
        ("sweeps", [3]),
        ("claims", {"says": "mixed"}),
        ("images", 7),
        ("rig", 12),
        ("lens", None),
    ],
)
def test_a_wrong_shape_is_a_problem_and_no_crash(author, data, name, value):
    assert problems_of(author, data | {name: value})


@pytest.mark.parametrize("data", [None, [], "report", 3])
def test_what_is_no_object_is_a_problem_and_no_crash(author, data):
    assert problems_of(author, data)


def test_a_refused_report_leaves_nothing_behind(author, data):
    problems_of(author, data | {"findings": [{"kind": "flare", "grade": 9}]})
    problems_of(author, data | {"sweeps": [], "claims": []})
    assert (Rig.objects.count(), Copy.objects.count()) == (0, 0)


def test_frames_sent_along_are_measured_and_the_report_goes_in(author, data, drain):
    data |= {"basis": "measured", "sweeps": [], "claims": []}
    files = {f"f{n}": jpeg_upload(photographed(f_number=n)) for n in (5.6, 8)}
    report = services.file_report(author=author, data=data, files=files, submit=True)
    assert report.state == ReportState.DRAFT
    drain()
    report.refresh_from_db()
    assert report.state == ReportState.SUBMITTED
    assert [reading.f_number for reading in Reading.objects.order_by("av")] == [5.6, 8]


def test_pictures_uploaded_before_are_named_by_reference(author, data, drain):
    image = services.keep_image(by=author, file=jpeg_upload())
    drain()
    data |= {"basis": "measured", "sweeps": [], "claims": []}
    data["images"] = [{"image": image.public_id, "f_number": 11}]
    report = services.file_report(author=author, data=data, submit=True)
    drain()
    report.refresh_from_db()
    assert report.state == ReportState.SUBMITTED
    assert Reading.objects.get().f_number == 11


def test_a_file_that_is_no_picture_is_named_among_the_problems(author, data):
    files = {"good": jpeg_upload(), "list": SimpleUploadedFile("list.jpg", b"eggs, flour")}
    data["shot_on"] = "2999-01-01"
    found = problems_of(author, data, files=files)
    assert found == {"shot_on": "date-in-the-future", "frames.list": "not-an-image"}
    assert not SampleImage.objects.exists()


def test_someone_else_s_picture_is_unknown(author, data):
    foreign = services.keep_image(by=AccountFactory(), file=jpeg_upload())
    assert problems_of(author, data | {"images": [foreign.public_id]}) == {"images[0].image": "unknown-image"}
