"""Taking along all that is one's own, and leaving: what goes, what stays, and that no verdict changes."""

import io
import json
import zipfile
from datetime import timedelta

import pytest
from django.contrib.auth import authenticate
from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.test import Client

from registry.accounts.belongings import SECRET, belongings_of
from registry.accounts.models import Account, TokenGrant
from registry.accounts.services import issue_token
from registry.errors import Conflict, InvalidInput, NotAllowed
from registry.ledger.models import Event
from registry.reports import services, storage
from registry.reports.models import ImageState, Report, SampleImage
from registry.reports.own_data import archive_of
from registry.reports.services.leaving import leave_registry
from registry.reports.services.replies import reply_on_report
from registry.standings.queries.evidence import gather_evidence
from registry.standings.services import refresh_lens
from tests.factories import PASSWORD, AccountFactory, LensFactory
from tests.report_factories import ReadingFactory, ReportFactory, RigFactory, SweepFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def lens():
    return LensFactory(slug="osterby-marram-35")


@pytest.fixture
def wren():
    return AccountFactory(name="Wren of the Dunes", email="wren@saltmarsh.example")


def stored(report, *, content_hash="ab" * 32, state=ImageState.MEASURED):
    """A frame as intake leaves it, with its files."""
    image = SampleImage.objects.create(
        owner=report.author, report=report, state=state, file_name="DSC_0412.jpg", byte_size=9,
        content_hash=content_hash, kind="jpeg", f_number=8, focal_length_mm=35, exif={"body_model": "Causey 2"},
    )  # fmt: skip
    name = image.public_id
    image.kept = storage.private().save(f"kept/{name}.jpg", ContentFile(b"kept light"))
    image.picture = default_storage.save(f"frames/{name}-picture.jpg", ContentFile(b"picture"))
    image.thumbnail = default_storage.save(f"frames/{name}-thumbnail.jpg", ContentFile(b"thumb"))
    image.save()
    return image


@pytest.fixture
def submitted(wren, lens):
    """A submitted report with a sweep by eye, one frame and one earlier revision."""
    report = ReportFactory(author=wren, lens=lens, grades={2.8: 0, 5.6: 0, 8: 2}, notes="dusk")
    services.submit_report(report=report, by=wren)
    services.revise_report(report=report, by=wren, reason="a slip", changes={"notes": "dawn"})
    stored(report)
    return report


@pytest.fixture
def relay(lens):
    """Somebody else's relay that cites the contributor by name."""
    return services.file_report(
        author=AccountFactory(),
        submit=True,
        data={
            "lens": lens.slug, "basis": "relayed", "cut_on_nm": 720, "tester_name": "wren  of the DUNES",
            "citation_title": "A letter", "claims": [{"says": "clean_to", "f_number": 8}],
        },
    )  # fmt: skip


def opened(account):
    return zipfile.ZipFile(io.BytesIO(b"".join(archive_of(account))))


def read(archive, name):
    return json.loads(archive.read(name))


# ---- taking along --------------------------------------------------------------------------------


def test_the_archive_holds_everything_that_is_ones_own(wren, submitted):
    issue_token(account=wren, name="folder", scopes=["submit"], lives=timedelta(days=9))
    reply_on_report(report=submitted, by=wren, says="It was foggy.")
    archive = opened(wren)
    assert archive.testzip() is None
    assert read(archive, "account.json")["email"] == "wren@saltmarsh.example"
    assert [token["name"] for token in read(archive, "account.json")["tokens"]] == ["folder"]
    assert len(read(archive, "equipment.json")["rigs"]) == 1
    told = read(archive, f"reports/{submitted.public_id}.json")
    assert told["content"]["sweeps"][0]["readings"][0]["grade"] == 0 and told["content"]["notes"] == "dawn"
    assert told["revisions"][0]["content"]["notes"] == "dusk"
    assert told["frames"][0]["file_name"] == "DSC_0412.jpg"
    assert [reply["says"] for reply in told["replies"]] == ["It was foggy."]
    image = submitted.images.get()
    assert archive.read(f"pictures/{image.public_id}.jpg") == b"picture"
    assert archive.read(f"kept/{image.public_id}.jpg") == b"kept light"
    assert "reports/ID.json" in archive.read("README.txt").decode()


def test_a_report_from_the_archive_can_be_filed_again(wren, submitted):
    content = read(opened(wren), f"reports/{submitted.public_id}.json")["content"]
    sent = {name: content[name] for name in ("lens", "basis", "rig", "notes", "claims", "findings")}
    sent["sweeps"] = [
        {
            "focal_length_mm": sweep["focal_length_mm"],
            "readings": [{"f_number": row["f_number"], "grade": row["grade"]} for row in sweep["readings"]],
        }
        for sweep in content["sweeps"]
    ]
    assert services.file_report(author=wren, data=sent, submit=False).sweeps.get().readings.count() == 3


def test_nobody_elses_things_are_in_it(wren, submitted):
    other = ReportFactory(author=AccountFactory(), grades={8: 1})
    services.submit_report(report=other, by=other.author)
    names = opened(wren).namelist()
    assert f"reports/{other.public_id}.json" not in names


def test_no_secret_is_in_it(wren, submitted):
    grant, secret = issue_token(account=wren, name="folder", scopes=["submit"])
    archive = opened(wren)
    whole = b"".join(archive.read(name) for name in archive.namelist()).decode()
    assert secret not in whole and grant.token.digest not in whole and wren.password not in whole
    assert not any(kind in str(belongings_of(wren)) for kind in SECRET)


def test_a_lost_file_is_named_and_spoils_nothing(wren, submitted):
    storage.discard(private_names=[submitted.images.get().kept])
    archive = opened(wren)
    assert archive.testzip() is None
    assert f"missing: kept/{submitted.images.get().public_id}.jpg" in archive.read("README.txt").decode()


def test_it_is_sent_in_pieces_as_it_is_made(wren, submitted):
    big = submitted.images.get()
    storage.discard(private_names=[big.kept])
    storage.private().save(big.kept, ContentFile(bytes(3_000_000)))
    pieces = [len(piece) for piece in archive_of(wren)]
    assert max(pieces) < 1_000_000 and len(pieces) > 5


# ---- leaving -------------------------------------------------------------------------------------


def leave(account, pictures="leave", password=PASSWORD):
    pseudonym = leave_registry(account=account, password=password, pictures=pictures)
    account.refresh_from_db()
    return pseudonym


def test_the_person_is_gone_and_the_evidence_stays(wren, submitted):
    pseudonym = leave(wren)
    assert wren.name == pseudonym and pseudonym.startswith("Former contributor ")
    assert not wren.is_active and wren.email.endswith("@closed.invalid")
    assert not Account.objects.filter(name__icontains="wren").exists()
    report = Report.objects.get()
    assert (report.state, report.author.name, report.notes) == ("submitted", pseudonym, "dawn")
    assert report.sweeps.get().readings.count() == 3


def test_no_verdict_changes(wren, lens, submitted, relay):
    own = ReportFactory(author=AccountFactory(), lens=lens, grades={2.8: 0, 5.6: 1, 8: 3})
    services.submit_report(report=own, by=own.author)
    refresh_lens(lens)
    evidence = gather_evidence(lens)
    before = [(row.pk, row.fingerprint, row.verdict) for row in lens.standings.order_by("pk")]
    leave(wren, "take-down")
    assert gather_evidence(lens) == evidence
    refresh_lens(lens)
    assert (
        before and [(row.pk, row.fingerprint, row.verdict) for row in lens.standings.order_by("pk")] == before
    )


def test_relays_that_cite_them_cite_the_pseudonym(wren, relay):
    version = relay.version
    pseudonym = leave(wren)
    relay.refresh_from_db()
    assert relay.tester_name == pseudonym and relay.version > version


def test_what_such_relays_said_before_an_edit_names_them_no_longer(wren, relay):
    changes = {"citation_author": "Wren of the Dunes", "notes": "page 3"}
    services.revise_report(report=relay, by=relay.author, reason="page", changes=changes)
    services.revise_report(report=relay, by=relay.author, reason="page", changes={"notes": "page 4"})
    pseudonym = leave(wren)
    first, second = relay.revisions.all()
    assert first.content["tester_name"] == second.content["citation_author"] == pseudonym
    assert (first.content["citation_author"], second.content["notes"]) == ("", "page 3")


def test_signing_in_is_over_in_every_way(wren, rf):
    client = Client()
    client.force_login(wren)
    issue_token(account=wren, name="folder", scopes=["submit"])
    leave(wren)
    assert authenticate(rf.post("/"), email="wren@saltmarsh.example", password=PASSWORD) is None
    assert client.get("/reports/mine/").status_code == 302
    assert not TokenGrant.objects.exists()


def test_drafts_and_loose_pictures_go_with_their_files(wren, lens, django_capture_on_commit_callbacks):
    draft = ReportFactory(author=wren, lens=lens)
    image, loose = stored(draft), stored(draft, content_hash="cd" * 32)
    loose.report = None
    loose.save()
    with django_capture_on_commit_callbacks(execute=True):
        leave(wren)
    assert not Report.objects.exists() and not SampleImage.objects.exists()
    assert not any(storage.private().exists(name) for name in (image.kept, loose.kept))
    assert not any(default_storage.exists(name) for name in (image.picture, loose.thumbnail))


@pytest.mark.parametrize("pictures, seen", [("leave", True), ("take-down", False)])
def test_pictures_stay_or_are_taken_down_and_private_files_are_purged(
    wren, submitted, pictures, seen, django_capture_on_commit_callbacks
):
    before = submitted.images.get()
    with django_capture_on_commit_callbacks(execute=True):
        leave(wren, pictures)
    image = submitted.images.get()
    assert bool(image.picture and image.thumbnail) is seen
    assert default_storage.exists(before.picture) is seen
    assert not image.kept and not storage.private().exists(before.kept)
    assert (image.file_name, image.exif) == ("frame", {})


def test_what_is_only_their_own_goes(wren, submitted):
    RigFactory(owner=wren, label="Wren's second")
    leave(wren)
    assert not wren.rigs.filter(label__icontains="wren").exists()
    assert not belongings_of(wren, but_app="reports")


def test_the_event_log_knows_and_names_no_one(wren):
    leave(wren, "take-down")
    event = Event.objects.get(name="account.closed")
    assert (event.actor, event.subject_id, event.data) == (
        wren.public_id,
        wren.public_id,
        {"pictures": "take-down"},
    )


def test_a_withdrawn_reports_pictures_go_in_any_case(wren, submitted):
    services.withdraw_report(report=submitted, by=wren, reason="the wrong lens")
    leave(wren)
    assert not submitted.images.get().picture


@pytest.mark.parametrize("wrong", [{"password": "guessed"}, {"pictures": "keep some"}])
def test_a_wrong_password_or_no_choice_changes_nothing(wren, submitted, wrong):
    with pytest.raises(InvalidInput) as refusal:
        leave(wren, **wrong)
    assert "guessed" not in str(refusal.value)
    wren.refresh_from_db()
    assert wren.is_active and wren.name == "Wren of the Dunes"


def test_frames_that_are_being_measured_are_waited_for(wren, submitted):
    image = submitted.images.get()
    image.state = ImageState.TAKEN_IN
    image.save()
    with pytest.raises(Conflict, match="Try again in a minute"):
        leave(wren)


def test_the_last_steward_cannot_leave():
    with pytest.raises(Conflict, match="only steward"):
        leave(AccountFactory(steward=True))


# ---- replies -------------------------------------------------------------------------------------


@pytest.fixture
def aside(submitted):
    return services.set_aside(
        report=submitted, by=AccountFactory(moderator=True), reason="A scene, not a target."
    )


def test_an_author_answers_on_a_report_that_was_set_aside(wren, aside):
    reply = reply_on_report(report=aside, by=wren, says=" It was a wall. \x00")
    assert (reply.says, reply.about, reply.about_reason) == (
        "It was a wall.",
        "set-aside",
        "A scene, not a target.",
    )
    assert Event.objects.get(name="report.replied").data["reply"] == reply.pk


def test_a_moderator_answers_back_and_nobody_else_does(aside):
    reply_on_report(report=aside, by=AccountFactory(moderator=True), says="Please send one more frame.")
    with pytest.raises(NotAllowed):
        reply_on_report(report=aside, by=AccountFactory(), says="I think so too.")


@pytest.mark.parametrize("says", ["", "  ", "x" * 2001])
def test_a_reply_says_something_and_not_too_much(wren, aside, says):
    with pytest.raises(InvalidInput):
        reply_on_report(report=aside, by=wren, says=says)


def test_a_draft_is_not_discussed(wren):
    with pytest.raises(Conflict):
        reply_on_report(report=ReportFactory(author=wren), by=wren, says="So far so good.")


def test_readings_without_frames_need_no_pictures_to_stay(wren, lens):
    report = ReportFactory(author=wren, lens=lens)
    ReadingFactory(sweep=SweepFactory(report=report), f_number=8, grade=1)
    services.submit_report(report=report, by=wren)
    leave(wren)
    assert report.sweeps.get().readings.count() == 1
