"""What a moderator finds unfit is kept out: gear that nobody needs, and newcomers’ reports that are no test."""

import pytest
from django.utils import timezone

from registry.errors import Conflict, InvalidInput, NotAllowed
from registry.gear.models import GearStatus, Lens
from registry.gear.services import propose_lens
from registry.ledger.models import Event
from registry.moderation.models import Handling
from registry.moderation.services import decide, take_on, undo_decision
from registry.moderation.services.refusing import refuse_gear
from registry.reports.models import ReportState
from registry.reports.services.confirming import confirm_report
from registry.watching.services import watch_lens
from tests.factories import AccountFactory, LensFactory, MakerFactory, MountFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def without_second_factors(settings):
    settings.MODERATORS_NEED_SECOND_FACTOR = False


@pytest.fixture
def proposed():
    return LensFactory(status=GearStatus.PROPOSED, slug="osterby-sedge", name="Sedge 40 mm f/2")


class TestProposedGear:
    def test_it_leaves_the_catalogue_and_the_event_log_keeps_what_it_said(self, moderator, proposed):
        take_on(by=moderator, kind="proposal", key="lens:osterby-sedge")
        refuse_gear(item=proposed, by=moderator, reason="There is no such lens.")
        assert not Lens.objects.exists() and not Handling.objects.exists()
        event = Event.objects.get(name="gear.refused")
        assert (event.subject_id, event.data["reason"]) == ("osterby-sedge", "There is no such lens.")
        assert event.data["facts"]["focal_min_mm"] == 35

    def test_its_address_is_given_to_no_other(self, moderator):
        MakerFactory(), MountFactory()
        facts = {
            "maker": "Osterby",
            "name": "Sedge 40 mm f/2",
            "mounts": "Teal",
            "focal_min_mm": 40,
            "widest_f": 2,
        }
        first = propose_lens(by=AccountFactory(), **facts)
        refuse_gear(item=first, by=moderator, reason="No thread is known.")
        assert propose_lens(by=AccountFactory(), **facts).slug != first.slug

    def test_what_a_report_names_or_someone_watches_is_merged_or_listed_instead(self, moderator, proposed):
        watched = LensFactory(status=GearStatus.PROPOSED)
        watch_lens(account=AccountFactory(), lens=watched)
        ReportFactory(lens=proposed)
        for lens in (proposed, watched):
            with pytest.raises(Conflict, match="named by reports, or kept"):
                refuse_gear(item=lens, by=moderator, reason="No such lens.")
        assert Lens.objects.count() == 2

    def test_listed_gear_is_not_refused_nor_without_a_reason_nor_by_anyone(self, moderator, proposed):
        with pytest.raises(Conflict):
            refuse_gear(item=LensFactory(), by=moderator, reason="No such lens.")
        with pytest.raises(InvalidInput):
            refuse_gear(item=proposed, by=moderator, reason=" ")
        with pytest.raises(NotAllowed):
            refuse_gear(item=proposed, by=AccountFactory(), reason="No such lens.")


class TestReportsThatWait:
    @pytest.fixture
    def waiting(self):
        return ReportFactory(
            state=ReportState.WAITING, submitted_at=timezone.now(), grades={4: 0, 8: 0, 11: 2}
        )

    @pytest.fixture
    def refused(self, moderator, waiting):
        why = {"reason_code": "not-a-target", "reason": "A street."}
        return decide(by=moderator, act="set-aside", reports=[waiting], **why)

    def test_one_that_is_no_test_is_set_aside_without_a_second_moderator(self, refused, waiting, drain):
        drain()
        waiting.refresh_from_db()
        assert not refused.proposed
        assert (waiting.state, waiting.state_reason) == (ReportState.SET_ASIDE, "A street.")

    def test_taken_back_it_waits_again_rather_than_count(self, refused, waiting, moderator, drain):
        undo_decision(decision=refused, by=moderator, reason="It was a wall.")
        drain()
        waiting.refresh_from_db()
        assert waiting.state == ReportState.WAITING
        confirm_report(report=waiting, by=moderator)
        assert waiting.state == ReportState.SUBMITTED
