"""Submitting a folder to a real server: what is said first, what arrives, and going on after a break."""

import csv
import io
import json

import httpx
import pytest

from registry.accounts.services import issue_token
from registry.folder import command, submission
from registry.folder.command import main
from registry.folder.measure import measured_frames
from registry.folder.server import Server
from registry.reports.models import Report, SampleImage
from registry.reports.services import discard_draft
from registry.simulation.exif import CameraExif, PrivateExif
from registry.simulation.files import write_jpeg
from registry.simulation.render import render_sweep
from registry.simulation.scene import Patch, Scene
from tests.factories import AccountFactory, BodyFactory, FilterFactory, LensFactory
from tests.report_factories import RigFactory

pytestmark = pytest.mark.django_db(transaction=True)
HOT = Scene(focal_length_mm=35, widest=1.4, patch=Patch(strength_ev=0.5, radius=0.1, shape="polygon"))
STOPS = (4, 5.6, 8, 11)
PRIVATE = PrivateExif(latitude=53.1, longitude=0.3, body_serial="40017", owner="A. Glasswort")


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    root = tmp_path_factory.mktemp("evening") / "dunes"
    root.mkdir()
    exif = CameraExif(lens="Marram 35 mm f/1.4", private=PRIVATE)
    for f_number, shot in zip(STOPS, render_sweep(HOT, STOPS, size=(900, 600), seed=2), strict=True):
        write_jpeg(shot, root / f"DSC_{f_number}.jpg", exif=exif)
    return root


@pytest.fixture(scope="module")
def measured(folder):
    """What measuring the folder gives, so that it is not measured again for each test."""
    return list(measured_frames(folder))


@pytest.fixture
def known(measured, monkeypatch):
    monkeypatch.setattr(command, "measured_frames", lambda folder, **more: list(measured))


@pytest.fixture
def contributor():
    LensFactory(name="Marram 35 mm f/1.4", slug="osterby-marram-35")
    FilterFactory(name="Dusk 720", slug="ferrow-dusk-720")
    return AccountFactory(name="Wren")


@pytest.fixture
def rig(contributor):
    return RigFactory(owner=contributor, body=BodyFactory(name="Causey 2", slug="osterby-causey-2"))


@pytest.fixture
def run(live_server, contributor, folder, tmp_path):
    """Runs the command against the live server; returns its exit code and what it said."""
    _, token = issue_token(account=contributor, name="folder", scopes=["read", "submit"])

    def _run(*more, ask=None, connect=Server):
        out = io.StringIO()
        arguments = [
            str(folder),
            "--out",
            str(tmp_path / "out"),
            "--submit",
            live_server.url,
            "--token",
            token,
        ]
        return main([*arguments, *more], out=out, ask=ask, connect=connect), out.getvalue()

    return _run


def whole(rig):
    return ("--lens", "osterby-marram-35", "--rig", rig.public_id, "--no-filter", "--yes")


def local_table(tmp_path):
    text = (tmp_path / "out" / "frames.csv").read_text(encoding="utf-8-sig")
    return {float(row["f_number"]): row for row in csv.DictReader(io.StringIO(text))}


def test_the_report_there_says_what_was_measured_here(run, rig, tmp_path, drain):
    code, said = run(*whole(rig), "--target", "a white wall")
    assert code == 0 and "the report goes in once they are measured" in said
    drain()
    report = Report.objects.get()
    assert (report.state, report.basis, report.target, report.rig) == (
        "submitted",
        "measured",
        "a white wall",
        rig,
    )
    here = local_table(tmp_path)
    there = {reading.f_number: reading for reading in report.sweeps.get().readings.all()}
    assert set(there) == set(here) == set(STOPS)
    for stop, reading in there.items():
        # The body's sensor size is known there, and only guessed from EXIF here.
        half = (float(here[stop]["excess_high"]) - float(here[stop]["excess_low"])) / 2
        assert reading.excess_ev == pytest.approx(float(here[stop]["excess_ev"]), abs=half / 2)
        assert reading.radius == pytest.approx(float(here[stop]["radius"]), abs=0.01)


def test_only_reduced_frames_arrive_without_anything_private(run, known, rig, drain):
    run(*whole(rig))
    images = list(SampleImage.objects.all())
    assert {image.file_name for image in images} == {f"DSC_{stop}.tif" for stop in STOPS}
    drain()
    for image in SampleImage.objects.all():
        assert (image.kind, image.width) == ("tiff", 900) and image.exif["lens_model"] == "Marram 35 mm f/1.4"
        assert "Glasswort" not in json.dumps(image.exif) and "40017" not in json.dumps(image.exif)


def test_controls_and_proof_pictures_arrive_as_what_they_are(
    run, rig, folder, tmp_path, live_server, contributor
):
    root = tmp_path / "dunes"
    for inside, name in (
        ("", "DSC_4.jpg"),
        ("", "DSC_8.jpg"),
        ("visible", "DSC_11.jpg"),
        ("scene", "DSC_5.6.jpg"),
    ):
        (root / inside).mkdir(parents=True, exist_ok=True)
        (root / inside / name).write_bytes((folder / name).read_bytes())
    _, token = issue_token(account=contributor, name="second", scopes=["read", "submit"])
    out = io.StringIO()
    sent = [
        str(root),
        "--submit",
        live_server.url,
        "--token",
        token,
        "--control",
        "visible",
        "--proof",
        "scene",
    ]
    assert main([*sent, *whole(rig), "--draft"], out=out) == 0
    assert "4 frames (1 of them control, 1 of them proof)" in out.getvalue()
    there = dict(SampleImage.objects.values_list("file_name", "purpose"))
    assert there == {
        "DSC_4.tif": "target",
        "DSC_8.tif": "target",
        "DSC_11.tif": "control",
        "DSC_5.6.tif": "proof",
    }


def test_what_will_be_sent_is_said_and_asked_about_first(run, known, rig):
    questions = []

    def decline(question):
        questions.append(question)
        return "n"

    code, said = run(*whole(rig)[:-1], ask=decline)
    assert code == 0 and "Nothing was sent." in said and questions == ["Send it? [y/N] "]
    assert "Signed in as Wren." in said and "4 frames, reduced to their light" in said
    assert "Not sent: the files themselves, where they were taken" in said
    assert not Report.objects.exists()


def test_nobody_there_to_agree_sends_nothing(run, known, rig, capsys):
    assert run(*whole(rig)[:-1])[0] == 1
    assert "Add --yes" in capsys.readouterr().err and not Report.objects.exists()


@pytest.mark.parametrize(
    "left_out, words",
    [
        ("--lens", "Give --lens. Known: Osterby Marram 35 mm f/1.4 (osterby-marram-35)."),
        ("--rig", "Give --rig. Known: Osterby Causey 2, 720 nm"),
        (
            "--no-filter",
            "Give --filter NAME or --no-filter. Known: none on the lens; Ferrow Dusk 720 (ferrow-dusk-720).",
        ),
    ],
)
def test_lens_rig_and_filter_are_refused_with_what_is_known_where_they_are_missing(
    run, rig, capsys, left_out, words
):
    given = list(whole(rig))
    place = given.index(left_out)
    del given[place : place + (1 if left_out == "--no-filter" else 2)]
    assert run(*given)[0] == 1
    assert words in capsys.readouterr().err and not Report.objects.exists()


def test_an_unknown_lens_is_refused_with_the_nearest(run, known, rig, capsys):
    assert run("--lens", "Marrom 36 f1.4", *whole(rig)[2:])[0] == 1
    assert "Did you mean “Osterby Marram 35 mm f/1.4”?" in capsys.readouterr().err


def test_lens_rig_and_filter_are_asked_for_at_a_terminal(run, known, rig):
    answers = iter(["9", "1", "1", "2", "1", "y"])
    code, said = run("--draft", ask=lambda question: next(answers))
    report = Report.objects.get()
    assert code == 0 and f"/reports/{report.public_id}/check/" in said
    assert (report.lens.slug, report.rig, report.filter.slug) == ("osterby-marram-35", rig, "ferrow-dusk-720")
    assert (report.filter_position, report.state) == ("front", "draft")


def test_a_body_that_is_no_rig_yet_becomes_one(run, known, contributor):
    BodyFactory(name="Causey 2", slug="osterby-causey-2")
    described = ("--body", "Causey 2", "--conversion", "long-pass", "--cut-on", "720")
    assert run("--lens", "osterby-marram-35", *described, "--no-filter", "--yes")[0] == 0
    assert Report.objects.get().rig.owner == contributor


def test_a_run_that_breaks_off_goes_on_where_it_was(run, known, rig, capsys):
    class Breaking(Server):
        """Loses the line for good after the second frame."""

        frames = 0

        def post(self, path, *args, **kwargs):
            if path.endswith("frames/"):
                Breaking.frames += 1
                if Breaking.frames > 2:
                    raise httpx.ConnectError("gone")
            return super().post(path, *args, **kwargs)

    with pytest.raises(httpx.ConnectError):
        run(*whole(rig), connect=Breaking)
    assert Report.objects.get().images.count() == 2
    sent = []

    class Counting(Server):
        def post(self, path, *args, **kwargs):
            sent.append(path)
            return super().post(path, *args, **kwargs)

    assert run(*whole(rig), connect=Counting)[0] == 0
    assert Report.objects.get().images.count() == 4
    assert [path.rsplit("/", 2)[1] for path in sent] == ["frames", "frames", "submit"]


def test_the_same_command_again_sends_nothing_twice(run, known, rig, tmp_path, drain):
    run(*whole(rig))
    drain()
    assert run(*whole(rig))[0] == 0
    (tmp_path / "out" / submission.STATE).unlink()
    run(*whole(rig))
    assert Report.objects.count() == 1 and SampleImage.objects.count() == 4


def test_a_draft_that_was_discarded_there_is_begun_anew(run, known, rig, contributor):
    run(*whole(rig), "--draft")
    discard_draft(report=Report.objects.get(), by=contributor)
    assert run(*whole(rig), "--draft")[0] == 0
    assert Report.objects.get().images.count() == 4


def test_a_token_that_is_not_valid_is_told(run, known, rig, capsys):
    assert run(*whole(rig), "--token", "nonsense")[0] == 1
    assert "token" in capsys.readouterr().err.casefold()


def test_several_set_ups_are_no_one_report(run, rig, folder, tmp_path, capsys, live_server, contributor):
    for name in ("one", "two"):
        (tmp_path / "all" / name).mkdir(parents=True)
        (tmp_path / "all" / name / "a.jpg").write_bytes((folder / "DSC_8.jpg").read_bytes())
    _, token = issue_token(account=contributor, name="second", scopes=["read", "submit"])
    arguments = [str(tmp_path / "all"), "--submit", live_server.url, "--token", token, *whole(rig)]
    assert main(arguments, out=io.StringIO()) == 1
    assert "one of these folders at a time" in capsys.readouterr().err
