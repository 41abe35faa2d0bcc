"""Blocks and appeals over the API: whom they concern can answer, and another moderator reads it."""

from datetime import timedelta

import pytest
from django.utils import timezone

from registry.accounts.models import Block
from registry.accounts.queries import block_in_force
from registry.moderation.models import Appeal
from registry.reports.models import ReportState
from tests.api.conftest import with_token
from tests.api.parallel import at_once, separate_connections
from tests.factories import AccountFactory
from tests.pages.conftest import SampleImageFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db
BLOCKS, APPEALS = "/api/v1/blocks/", "/api/v1/appeals/"


def moderating():
    return with_token(AccountFactory(moderator=True), "read", "submit", "moderate")


@pytest.fixture
def blocked(as_moderator, contributor):
    """A block of the contributor, by its answer."""
    made = as_moderator.post(BLOCKS, {"account": contributor.public_id, "reason": "Advertises."})
    assert made.status_code == 201, made.content
    return made


class TestBlocks:
    def test_a_blocked_account_reads_why_and_submits_nothing(self, as_contributor, blocked):
        (mine,) = as_contributor.get(BLOCKS).json()["items"]
        assert (mine["reason"], mine["in_force"], mine["until"]) == ("Advertises.", True, None)
        draft = {"lens": "x", "basis": "graded"}
        assert as_contributor.post("/api/v1/reports/", draft).status_code in (403, 404, 422)
        proposal = {"maker": "Osterby", "name": "Sedge", "focal_min_mm": 40, "widest_f": 2, "new_maker": True}
        refused = as_contributor.post("/api/v1/lenses/", proposal)
        assert (refused.status_code, refused.json()["type"]) == (403, "/problems/account-blocked")

    def test_lifted_it_is_over_and_cannot_be_lifted_again(self, as_moderator, blocked):
        address = blocked["Location"]
        lifted = as_moderator.post(f"{address}lift/", {"reason": "A misunderstanding."})
        assert (lifted.status_code, lifted.json()["in_force"]) == (200, False)
        again = as_moderator.post(f"{address}lift/", {"reason": "Once more."})
        assert (again.status_code, again.json()["type"]) == (409, "/problems/already-over")

    def test_it_can_end_by_itself(self, as_moderator, contributor):
        until = timezone.now() + timedelta(days=3)
        sent = {"account": contributor.public_id, "reason": "Advertises.", "until": until.isoformat()}
        assert as_moderator.post(BLOCKS, sent).json()["in_force"]
        Block.objects.update(until=timezone.now() - timedelta(minutes=1))
        assert as_moderator.get(BLOCKS, {"in_force": "true"}).json()["items"] == []
        assert len(as_moderator.get(BLOCKS, {"in_force": "false"}).json()["items"]) == 1
        assert as_moderator.post(BLOCKS, sent | {"until": None}).status_code == 201

    def test_one_that_would_end_in_the_past_is_refused(self, as_moderator, contributor):
        sent = {"account": contributor.public_id, "reason": "Advertises.", "until": "2024-01-01T00:00:00Z"}
        answer = as_moderator.post(BLOCKS, sent)
        assert (answer.status_code, answer.json()["errors"][0]["pointer"]) == (422, "#/until")

    def test_blocked_twice_it_is_a_conflict_and_nobody_blocks_a_moderator(
        self, as_moderator, blocked, contributor
    ):
        sent = {"account": contributor.public_id, "reason": "Again."}
        assert as_moderator.post(BLOCKS, sent).json()["type"] == "/problems/blocked-already"
        sent["account"] = AccountFactory(moderator=True).public_id
        assert as_moderator.post(BLOCKS, sent).status_code == 403

    def test_others_see_nothing_of_it(self, blocked):
        stranger = with_token(AccountFactory(), "read", "submit")
        assert stranger.get(BLOCKS).json()["items"] == []
        assert stranger.get(blocked["Location"]).status_code == 404


class TestAppeals:
    @pytest.fixture
    def appealed(self, as_contributor, blocked):
        sent = {"block": blocked.json()["id"], "says": "That was my own test chart."}
        made = as_contributor.post(APPEALS, sent)
        assert (made.status_code, made.json()["granted"]) == (201, None)
        return made

    def test_another_moderator_grants_it_and_the_block_is_lifted(
        self, as_contributor, as_moderator, appealed, contributor
    ):
        address = appealed["Location"]
        own = as_moderator.post(f"{address}answer/", {"grant": False, "reason": "No."})
        assert (own.status_code, own.json()["type"]) == (403, "/problems/own-decision")
        second = moderating()
        granted = second.post(f"{address}answer/", {"grant": True, "reason": "So it was."})
        assert (granted.status_code, granted.json()["granted"]) == (200, True)
        assert as_contributor.get(address).json()["answer"] == "So it was."
        assert block_in_force(contributor) is None
        late = moderating().post(f"{address}answer/", {"grant": False, "reason": "No."})
        assert (late.status_code, late.json()["type"]) == (409, "/problems/appeal-not-open")

    def test_what_waits_is_listed_and_one_waits_at_a_time(self, as_contributor, as_moderator, appealed):
        sent = {"block": appealed.json()["block"], "says": "Please."}
        assert as_contributor.post(APPEALS, sent).status_code == 409
        assert len(as_moderator.get(APPEALS, {"waiting": "true"}).json()["items"]) == 1
        assert as_moderator.get(APPEALS, {"waiting": "false"}).json()["items"] == []
        assert with_token(AccountFactory(), "read").get(APPEALS).json()["items"] == []

    def test_nobody_appeals_for_someone_else(self, blocked):
        stranger = with_token(AccountFactory(), "read", "submit")
        answer = stranger.post(APPEALS, {"block": blocked.json()["id"], "says": "Let them."})
        assert (answer.status_code, answer.json()["type"]) == (403, "/problems/not-yours")

    @pytest.mark.parametrize("about", [{}, {"block": 1, "image": "9qk2m7x4wd"}])
    def test_it_is_about_one_thing(self, as_contributor, about):
        answer = as_contributor.post(APPEALS, {"says": "Please."} | about)
        assert (answer.status_code, answer.json()["type"]) == (422, "/problems/one-thing-needed")

    def test_a_hidden_picture_is_shown_again_once_granted(self, as_contributor, as_moderator):
        report = ReportFactory(state=ReportState.SUBMITTED, submitted_at=timezone.now(), grades={8: 0})
        image = SampleImageFactory(report=report, owner=report.author, state="measured")
        flag = {"report": report.public_id, "image": image.public_id, "reason_code": "person"}
        made = as_contributor.post("/api/v1/flags/", flag)
        as_moderator.post(made["Location"] + "settle/", {"outcome": "hidden", "reason": "A face."})
        owner = with_token(report.author, "read", "submit")
        asked = owner.post(APPEALS, {"image": image.public_id, "says": "It is a statue."})
        assert asked.status_code == 201
        answer = asked["Location"] + "answer/"
        assert as_moderator.post(answer, {"grant": True, "reason": "Oh."}).status_code == 403
        assert moderating().post(answer, {"grant": True, "reason": "A statue."}).status_code == 200
        image.refresh_from_db()
        assert image.picture


def test_an_account_is_shown_to_moderators_with_what_they_need(
    as_moderator, as_contributor, contributor, blocked
):
    report = ReportFactory(author=contributor, state=ReportState.SUBMITTED, submitted_at=timezone.now())
    ReportFactory(author=contributor)  # a draft
    address = f"/api/v1/accounts/{contributor.public_id}/"
    shown = as_moderator.get(address).json()
    assert (shown["name"], shown["role"], shown["reports"]) == (
        contributor.name,
        "contributor",
        [report.public_id],
    )
    assert [block["reason"] for block in shown["blocks"]] == ["Advertises."]
    assert "email" not in shown
    assert as_contributor.get(address).status_code == 403


@pytest.mark.django_db(transaction=True)
def test_of_two_answers_to_an_appeal_at_once_one_stands(tmp_path):
    moderator, clients = AccountFactory(moderator=True), [moderating() for _ in range(2)]
    blocks = [
        Block.objects.create(account=AccountFactory(), by=moderator, reason="Advertises.") for _ in range(6)
    ]
    appeals = [Appeal.objects.create(by=block.account, block=block, says="Please.") for block in blocks]
    with separate_connections(tmp_path):
        for appeal in appeals:
            answers = at_once(
                [
                    lambda client=client, grant=grant, appeal=appeal: (
                        client.post(
                            f"{APPEALS}{appeal.pk}/answer/", {"grant": grant, "reason": "At once."}
                        ).status_code
                    )
                    for client, grant in zip(clients, (True, False), strict=True)
                ]
            )
            assert sorted(answers) == [200, 409]
        stands = at_once([lambda: [(row.granted, row.block.is_over) for row in Appeal.objects.all()]])[0]
    assert all(granted is is_over for granted, is_over in stands)
