"""What a draft waits for: files announced before they are sent, so that a broken upload goes on where it stopped."""

import hashlib

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from registry.errors import InvalidInput, NotAllowed, Unreadable
from registry.reports import queries, services
from tests.factories import AccountFactory
from tests.report_factories import ReportFactory, jpeg_upload, photographed

pytestmark = pytest.mark.django_db


@pytest.fixture
def draft():
    return ReportFactory(basis="measured")


@pytest.fixture(scope="module")
def contents():
    """Three different small frames as bytes, by file name."""
    return {
        f"DSC_{number}.jpg": jpeg_upload(photographed(frame=number, size=(300, 200))).read()
        for number in range(3)
    }


def told(name, content, *, hashed=True):
    digest = {"sha256": hashlib.sha256(content).hexdigest()} if hashed else {}
    return {"name": name, "size": len(content), **digest}


def send(draft, name, content):
    return services.add_frame(report=draft, by=draft.author, file=SimpleUploadedFile(name, content))


def announce(draft, files):
    return services.announce_frames(report=draft, by=draft.author, files=files)


def names(rows):
    return [row.file_name for row in rows]


@pytest.mark.parametrize("hashed", [True, False])
def test_a_draft_knows_what_has_arrived_and_what_is_still_to_come(draft, contents, hashed):
    announce(draft, [told(name, content, hashed=hashed) for name, content in contents.items()])
    send(draft, "DSC_1.jpg", contents["DSC_1.jpg"])
    progress = queries.progress(draft)
    assert (progress.arrived, progress.announced) == (1, 3)
    assert names(progress.awaited) == ["DSC_0.jpg", "DSC_2.jpg"]


@pytest.mark.parametrize("hashed", [True, False])
def test_the_same_folder_dropped_again_sends_only_what_is_missing(draft, contents, hashed):
    folder = [told(name, content, hashed=hashed) for name, content in contents.items()]
    announce(draft, folder)
    here = send(draft, "DSC_1.jpg", contents["DSC_1.jpg"])
    answers = announce(draft, folder)
    assert [answer.image for answer in answers] == [None, here, None]
    assert len(queries.progress(draft).awaited) == 2


def test_a_file_under_another_name_is_recognised_by_its_content(draft, contents):
    here = send(draft, "DSC_0.jpg", contents["DSC_0.jpg"])
    (answer,) = announce(draft, [told("copy of DSC_0.jpg", contents["DSC_0.jpg"])])
    assert answer.image == here


def test_one_file_named_twice_is_awaited_once(draft, contents):
    twice = [told("DSC_0.jpg", contents["DSC_0.jpg"])] * 2
    assert len(announce(draft, twice)) == 1
    assert len(queries.progress(draft).awaited) == 1


def test_a_file_that_is_no_picture_is_waited_for_no_longer(draft, contents):
    announce(draft, [told("notes.jpg", b"shopping list"), told("DSC_0.jpg", contents["DSC_0.jpg"])])
    with pytest.raises(Unreadable) as refused:
        send(draft, "notes.jpg", b"shopping list")
    services.turn_away(report=draft, by=draft.author, name="notes.jpg", byte_size=13, error=refused.value)
    progress = queries.progress(draft)
    assert names(progress.awaited) == ["DSC_0.jpg"]
    assert names(progress.turned_away) == ["notes.jpg"]
    assert progress.turned_away[0].problem["code"] == "not-an-image"


def test_more_files_than_a_report_takes_are_refused_before_one_is_sent(draft, contents, settings):
    settings.FRAMES_PER_REPORT = 2
    with pytest.raises(InvalidInput) as refused:
        announce(draft, [told(name, content) for name, content in contents.items()])
    assert "3 frames, and a report takes 2" in refused.value.first.says
    assert not draft.awaited.exists()


def test_a_frame_that_has_arrived_counts_once_against_the_limit(draft, contents, settings):
    settings.FRAMES_PER_REPORT = 3
    folder = [told(name, content) for name, content in contents.items()]
    announce(draft, folder)
    send(draft, "DSC_1.jpg", contents["DSC_1.jpg"])
    assert len(announce(draft, folder)) == 3


@pytest.mark.parametrize(
    ("file", "field", "code"),
    [
        ({"name": "a.jpg", "size": -1}, "files[0].size", "number-out-of-range"),
        ({"name": "a.jpg"}, "files[0].size", "missing"),
        ({"name": "a.jpg", "size": 5, "sha256": "abc"}, "files[0].sha256", "content-hash-expected"),
        ({"name": "a.jpg", "size": 5, "path": "x"}, "files[0].path", "unknown-field"),
    ],
)
def test_a_list_that_makes_no_sense_is_refused_where_it_does_not(draft, file, field, code):
    with pytest.raises(InvalidInput) as refused:
        announce(draft, [file])
    assert (refused.value.first.field, refused.value.first.code) == (field, code)


def test_a_folder_s_path_and_control_signs_are_no_part_of_a_name(draft):
    announce(draft, [{"name": "evening\\one/DSC\u202e_0.jpg", "size": 5}])
    assert names(queries.progress(draft).awaited) == ["DSC_0.jpg"]


def test_what_is_not_coming_can_be_let_go(draft, contents):
    announce(draft, [told(name, content) for name, content in contents.items()])
    services.stop_awaiting(report=draft, by=draft.author)
    assert queries.progress(draft).announced == 0


def test_only_its_author_announces_frames_for_a_draft(draft):
    with pytest.raises(NotAllowed):
        services.announce_frames(report=draft, by=AccountFactory(), files=[])


def test_a_submitted_report_waits_for_nothing(draft, contents, drain):
    announce(draft, [told(name, content) for name, content in contents.items()])
    send(draft, "whole.jpg", jpeg_upload().read())
    drain()
    services.submit_report(report=draft, by=draft.author)
    assert not draft.awaited.exists()


def test_an_account_s_pictures_are_known_by_their_content(draft, contents):
    here = send(draft, "DSC_0.jpg", contents["DSC_0.jpg"])
    hashes = [told("", content)["sha256"] for content in contents.values()]
    assert list(queries.known_images(draft.author, hashes)) == [here]
    assert list(queries.known_images(draft.author, hashes, draft.public_id)) == [here]
    assert not queries.known_images(draft.author, hashes, "elsewhere").exists()
    assert not queries.known_images(AccountFactory(), hashes).exists()
