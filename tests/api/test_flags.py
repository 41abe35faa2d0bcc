"""Flags and hidden pictures over the API: raised by readers, settled by moderators, once."""

import pytest
from django.core.files.storage import default_storage
from django.utils import timezone

from registry.moderation.models import Flag, FlagOutcome
from registry.reports.models import ReportState
from tests.api.conftest import with_token
from tests.api.parallel import at_once, separate_connections
from tests.factories import AccountFactory
from tests.pages.conftest import SampleImageFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db
FLAGS, HIDDEN = "/api/v1/flags/", "/api/v1/hidden-pictures/"


def pictured():
    """A picture of a public report."""
    report = ReportFactory(state=ReportState.SUBMITTED, submitted_at=timezone.now(), grades={8: 0})
    return SampleImageFactory(report=report, owner=report.author, state="measured")


@pytest.fixture
def image():
    return pictured()


@pytest.fixture
def face(image):
    return {
        "report": image.report.public_id,
        "image": image.public_id,
        "reason_code": "person",
        "says": "A face.",
    }


@pytest.fixture
def hidden(as_contributor, image, face):
    """A picture that a flag hid, by its address."""
    assert as_contributor.post(FLAGS, face).json()["hid"]
    return f"{HIDDEN}{image.public_id}/"


class TestFlags:
    def test_a_reader_flags_a_picture_which_is_hidden_until_a_moderator_settles_it(
        self, as_contributor, as_moderator, image, face
    ):
        made = as_contributor.post(FLAGS, face)
        assert (made.status_code, made.json()["hid"], made.json()["outcome"]) == (201, True, None)
        image.refresh_from_db()
        assert not image.picture
        address = made["Location"]
        assert as_contributor.get(address).json() == made.json()
        settled = as_moderator.post(
            f"{address}settle/", {"outcome": "nothing-wrong", "reason": "A fence post."}
        )
        assert (settled.status_code, settled.json()["outcome"]) == (200, "nothing-wrong")
        image.refresh_from_db()
        assert image.picture
        assert as_contributor.get(address).json()["reason"] == "A fence post."

    def test_one_that_is_settled_is_not_settled_again(self, as_contributor, as_moderator, face):
        address = as_contributor.post(FLAGS, face)["Location"] + "settle/"
        assert as_moderator.post(address, {"outcome": "hidden", "reason": "A face."}).status_code == 200
        late = as_moderator.post(address, {"outcome": "nothing-wrong", "reason": "A post."})
        assert (late.status_code, late.json()["type"]) == (409, "/problems/already-settled")

    def test_all_that_was_flagged_of_one_thing_is_settled_together(self, as_moderator, face):
        for _ in range(3):
            made = with_token(AccountFactory(), "read", "submit").post(FLAGS, face | {"reason_code": "wrong"})
        as_moderator.post(made["Location"] + "settle/", {"outcome": "seen-to", "reason": "Asked."})
        assert as_moderator.get(FLAGS, {"open": "true"}).json()["items"] == []
        assert len(as_moderator.get(FLAGS, {"report": face["report"]}).json()["items"]) == 3

    def test_readers_see_their_own_flags_only(self, as_contributor, as_moderator, face):
        address = as_contributor.post(FLAGS, face)["Location"]
        stranger = with_token(AccountFactory(), "read", "submit")
        assert stranger.get(FLAGS).json()["items"] == []
        assert stranger.get(address).status_code == 404
        assert as_moderator.get(FLAGS).json()["items"][0]["by"]["name"]

    def test_the_same_key_flags_once(self, as_contributor, face):
        first, again = [
            as_contributor.post(FLAGS, face, headers={"Idempotency-Key": "one"}) for _ in range(2)
        ]
        assert first.json() == again.json()
        assert (again["Idempotent-Replay"], Flag.objects.count()) == ("true", 1)

    def test_who_saw_an_older_state_of_it_is_refused(self, as_contributor, as_moderator, face):
        address = as_contributor.post(FLAGS, face)["Location"]
        why = {"outcome": "seen-to", "reason": "Asked."}
        stale = as_moderator.post(f"{address}settle/", why, headers={"If-Match": '"older"'})
        assert (stale.status_code, stale.json()["type"]) == (412, "/problems/changed-meanwhile")
        seen = as_moderator.get(address)["ETag"]
        assert as_moderator.post(f"{address}settle/", why, headers={"If-Match": seen}).status_code == 200

    @pytest.mark.parametrize(
        ("wrong", "status", "pointer"),
        [
            ({"reason_code": "dislike"}, 422, "#/reason_code"),
            ({"says": "x" * 301}, 422, "#/says"),
            ({"image": "nosuchone0"}, 404, "#/image"),
            ({"report": "nosuchone0"}, 404, "#/report"),
            ({"because": "x"}, 422, "#/because"),
        ],
    )
    def test_what_is_wrong_is_named(self, as_contributor, face, wrong, status, pointer):
        answer = as_contributor.post(FLAGS, face | wrong)
        assert answer.status_code == status
        assert answer.json()["errors"][0]["pointer"] == pointer

    def test_nobody_flags_their_own_report(self, image, face):
        author = with_token(image.owner, "read", "submit")
        assert author.post(FLAGS, face).json()["type"] == "/problems/own-report"


class TestHiddenPictures:
    def test_a_moderator_sees_what_is_hidden_and_why(self, as_moderator, hidden, image):
        (shown,) = as_moderator.get(HIDDEN).json()["items"]
        assert (shown["id"], shown["owner"]["name"]) == (image.public_id, image.owner.name)
        assert [flag["says"] for flag in shown["flags"]] == ["A face."]
        assert as_moderator.get(hidden).json() == shown

    def test_a_moderator_can_look_at_the_picture_itself(self, as_moderator, as_contributor, hidden, image):
        image.refresh_from_db()
        looked = as_moderator.get(f"{hidden}picture/")
        assert looked["Content-Type"] == "image/jpeg"
        assert b"".join(looked.streaming_content)[:2] == b"\xff\xd8"
        assert as_contributor.get(f"{hidden}picture/").status_code == 403
        default_storage.delete(image.withheld["picture"])
        assert as_moderator.get(f"{hidden}picture/").status_code == 404

    def test_shown_again_it_is_hidden_no_more(self, as_moderator, hidden, image):
        shown = as_moderator.post(f"{hidden}show/", {"reason": "A statue."}).json()
        assert (shown["hidden"], shown["flags"][0]["outcome"]) == (False, "nothing-wrong")
        image.refresh_from_db()
        assert image.picture
        assert as_moderator.get(hidden).status_code == 404

    def test_kept_hidden_it_stays_listed_as_looked_at_and_can_be_shown_later(self, as_moderator, hidden):
        assert as_moderator.post(f"{hidden}keep/", {"reason": "A face."}).json()["kept_hidden"]
        assert as_moderator.get(HIDDEN, {"kept_hidden": "false"}).json()["items"] == []
        assert len(as_moderator.get(HIDDEN, {"kept_hidden": "true"}).json()["items"]) == 1
        assert as_moderator.post(f"{hidden}show/", {"reason": "A statue."}).status_code == 200

    def test_nobody_decides_on_a_picture_of_their_own(self, as_contributor, face, image):
        as_contributor.post(FLAGS, face)
        image.owner.role = "moderator"
        image.owner.save()
        owner = with_token(image.owner, "read", "submit", "moderate")
        answer = owner.post(f"{HIDDEN}{image.public_id}/show/", {"reason": "Mine."})
        assert answer.json()["type"] == "/problems/own-report"


@pytest.mark.django_db(transaction=True)
def test_of_two_moderators_at_once_one_settles_and_the_other_is_told(tmp_path):
    """Eight pictures, each flagged by two: what one moderator shows, another keeps hidden at the same moment."""
    images = [pictured() for _ in range(8)]
    readers = [with_token(AccountFactory(), "read", "submit") for _ in range(2)]
    for image in images:
        sent = {"report": image.report.public_id, "image": image.public_id, "reason_code": "copied"}
        for reader in readers:
            reader.post(FLAGS, sent)
    moderators = [with_token(AccountFactory(moderator=True), "read", "moderate") for _ in range(2)]
    flags = [list(Flag.objects.filter(image=image).order_by("id")) for image in images]
    with separate_connections(tmp_path):
        for first, second in flags:
            answers = at_once(
                [
                    lambda client=client, flag=flag, outcome=outcome: (
                        client.post(
                            f"{FLAGS}{flag.pk}/settle/", {"outcome": outcome, "reason": "At once."}
                        ).status_code
                    )
                    for client, flag, outcome in zip(
                        moderators, (first, second), ("nothing-wrong", "hidden"), strict=True
                    )
                ]
            )
            assert sorted(answers) == [200, 409]
        outcomes = at_once([lambda: [[f.outcome for f in Flag.objects.filter(image=i)] for i in images]])[0]
        withheld = at_once([lambda: [bool(type(i).objects.get(pk=i.pk).withheld) for i in images]])[0]
    for (one, other), is_hidden in zip(outcomes, withheld, strict=True):
        assert one == other != FlagOutcome.OPEN
        assert is_hidden == (one == FlagOutcome.HIDDEN)
