"""Readers flag; what may harm is hidden until a moderator has looked; blocks and hidden pictures can be appealed."""

from datetime import timedelta

import pytest
from django.utils import timezone

from registry.accounts.models import Block
from registry.accounts.queries import block_in_force
from registry.errors import Conflict, InvalidInput, NotAllowed
from registry.gear.services import propose_lens
from registry.ledger.models import Event
from registry.moderation.models import Flag, FlagOutcome
from registry.moderation.services.appeals import answer_appeal, appeal, block_account, lift_block
from registry.moderation.services.flags import FLAGS_A_DAY, HIDING_AT_ONCE, raise_flag, settle_flags
from registry.reports.models import ReportState
from registry.reports.services import submit_report
from registry.reports.services.leaving import leave_registry
from registry.watching.models import Notice
from tests.factories import PASSWORD, AccountFactory
from tests.pages.conftest import SampleImageFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db


@pytest.fixture(autouse=True)
def without_second_factors(settings):
    settings.MODERATORS_NEED_SECOND_FACTOR = False


@pytest.fixture
def moderator():
    return AccountFactory(moderator=True)


@pytest.fixture
def reader():
    return AccountFactory()


def public_report(**more):
    return ReportFactory(
        state=ReportState.SUBMITTED, submitted_at=timezone.now(), grades={8: 0, 11: 2}, **more
    )


def pictured(report):
    return SampleImageFactory(
        report=report,
        owner=report.author,
        state="measured",
        picture="frames/aa/a-picture.jpg",
        thumbnail="frames/aa/a-thumb.jpg",
    )


def flagged(reader, image, reason="person"):
    return raise_flag(by=reader, report=image.report, image=image, reason_code=reason, says="A face, left")


class TestFlagging:
    def test_a_picture_of_a_person_is_hidden_at_once_and_its_author_told(self, reader, drain):
        image = pictured(public_report())
        assert flagged(reader, image).hid
        image.refresh_from_db()
        assert (image.picture, image.thumbnail) == ("", "") and image.withheld
        drain()
        assert Notice.objects.get().account == image.owner

    def test_the_event_log_does_not_tell_who_flagged(self, reader):
        flagged(reader, pictured(public_report()))
        event = Event.objects.get()
        assert (event.name, event.actor) == ("report.picture-withheld", "")

    def test_a_doubtful_test_is_flagged_but_stays_visible(self, reader):
        image = pictured(public_report())
        assert not flagged(reader, image, "not-a-test").hid
        image.refresh_from_db()
        assert image.picture

    def test_flagging_twice_is_flagging_once(self, reader):
        image = pictured(public_report())
        assert flagged(reader, image) == flagged(reader, image)
        assert raise_flag(by=reader, report=image.report, reason_code="spam") == raise_flag(
            by=reader, report=image.report, reason_code="wrong"
        )
        assert Flag.objects.count() == 2

    def test_one_reader_cannot_hide_a_whole_report(self, reader):
        report = public_report()
        hidden = [flagged(reader, pictured(report)).hid for _ in range(HIDING_AT_ONCE + 2)]
        assert hidden.count(True) == HIDING_AT_ONCE

    def test_twenty_flags_a_day_are_enough(self, reader):
        for _ in range(FLAGS_A_DAY):
            raise_flag(by=reader, report=public_report(), reason_code="spam")
        with pytest.raises(Conflict, match="within a day"):
            raise_flag(by=reader, report=public_report(), reason_code="spam")

    def test_own_reports_drafts_and_nonsense_are_refused(self, reader):
        with pytest.raises(NotAllowed):
            raise_flag(by=reader, report=public_report(author=reader), reason_code="spam")
        with pytest.raises(Conflict):
            raise_flag(by=reader, report=ReportFactory(), reason_code="spam")
        with pytest.raises(InvalidInput):
            raise_flag(by=reader, report=public_report(), reason_code="dislike")


class TestSettling:
    def test_nothing_wrong_shows_the_picture_and_later_flags_no_longer_hide_it(self, reader, moderator):
        image = pictured(public_report())
        flagged(reader, image)
        settle_flags(by=moderator, report=image.report, image=image, outcome="nothing-wrong", reason="A post")
        image.refresh_from_db()
        assert image.picture == "frames/aa/a-picture.jpg" and not image.withheld
        assert not flagged(AccountFactory(), image).hid

    def test_every_open_flag_on_the_thing_is_settled_together(self, moderator):
        report = public_report()
        for _ in range(3):
            raise_flag(by=AccountFactory(), report=report, reason_code="wrong")
        assert settle_flags(by=moderator, report=report, image=None, outcome="seen-to", reason="Asked") == 3
        assert not Flag.objects.filter(outcome=FlagOutcome.OPEN).exists()

    def test_nobody_settles_flags_on_their_own_report(self, moderator):
        report = public_report(author=moderator)
        raise_flag(by=AccountFactory(), report=report, reason_code="wrong")
        with pytest.raises(NotAllowed):
            settle_flags(by=moderator, report=report, image=None, outcome="nothing-wrong", reason="Mine")
        with pytest.raises(NotAllowed):
            settle_flags(by=AccountFactory(), report=report, image=None, outcome="seen-to", reason="Hm")

    def test_closing_the_account_takes_the_hidden_files_along(self, reader):
        image = pictured(public_report())
        flagged(reader, image)
        image.owner.set_password(PASSWORD)
        image.owner.save()
        leave_registry(account=image.owner, password=PASSWORD, pictures="leave")
        image.refresh_from_db()
        assert image.withheld == {}


class TestBlocking:
    def test_a_blocked_account_submits_nothing_and_what_it_submitted_still_counts(self, reader, moderator):
        before, draft = public_report(author=reader), ReportFactory(author=reader, grades={8: 0})
        block_account(account=reader, by=moderator, reason="Advertises")
        with pytest.raises(NotAllowed, match="Advertises"):
            submit_report(report=draft, by=reader)
        with pytest.raises(NotAllowed):
            propose_lens(by=reader, maker="Osterby", name="Sedge", mounts="Teal", focal_min_mm=40, widest_f=2)
        with pytest.raises(NotAllowed):
            raise_flag(by=reader, report=public_report(), reason_code="spam")
        before.refresh_from_db()
        assert before.state == ReportState.SUBMITTED

    def test_lifted_it_submits_again(self, reader, moderator):
        block = block_account(account=reader, by=moderator, reason="Advertises")
        lift_block(block=block, by=moderator, reason="A misunderstanding")
        submit_report(report=ReportFactory(author=reader, grades={8: 0, 11: 2}), by=reader)

    def test_nobody_blocks_a_moderator_or_twice(self, reader, moderator):
        block_account(account=reader, by=moderator, reason="Advertises")
        with pytest.raises(Conflict):
            block_account(account=reader, by=moderator, reason="Advertises")
        for account, by in ((moderator, AccountFactory(moderator=True)), (AccountFactory(), reader)):
            with pytest.raises(NotAllowed):
                block_account(account=account, by=by, reason="Hm")


class TestAppealing:
    def test_another_moderator_grants_it_and_the_block_is_lifted(self, reader, moderator):
        block = block_account(account=reader, by=moderator, reason="Advertises")
        asked = appeal(by=reader, says="That was my own site’s test chart.", block=block)
        with pytest.raises(NotAllowed, match="your own decision"):
            answer_appeal(appeal=asked, by=moderator, grant=False, answer="No")
        answer_appeal(appeal=asked, by=AccountFactory(moderator=True), grant=True, answer="So it was")
        assert Block.objects.get().lifted_at
        with pytest.raises(Conflict):
            answer_appeal(appeal=asked, by=AccountFactory(moderator=True), grant=False, answer="No")

    def test_a_hidden_picture_is_shown_again_once_granted(self, reader, moderator):
        image = pictured(public_report())
        flagged(reader, image)
        settle_flags(by=moderator, report=image.report, image=image, outcome="hidden", reason="A face")
        asked = appeal(by=image.owner, says="It is a statue.", image=image)
        with pytest.raises(NotAllowed):
            answer_appeal(appeal=asked, by=moderator, grant=True, answer="Right")
        answer_appeal(appeal=asked, by=AccountFactory(moderator=True), grant=True, answer="A statue")
        image.refresh_from_db()
        assert image.picture

    def test_one_appeal_at_a_time_about_oneself_only(self, reader, moderator):
        block = block_account(account=reader, by=moderator, reason="Advertises")
        with pytest.raises(NotAllowed):
            appeal(by=AccountFactory(), says="Let them", block=block)
        with pytest.raises(InvalidInput):
            appeal(by=reader, says=" ", block=block)
        appeal(by=reader, says="Please look again", block=block)
        with pytest.raises(Conflict):
            appeal(by=reader, says="Please", block=block)


class TestBlockingForAWhile:
    @pytest.fixture
    def block(self, reader, moderator):
        until = timezone.now() + timedelta(days=3)
        return block_account(account=reader, by=moderator, reason="Advertises", until=until)

    def test_it_ends_by_itself_and_can_be_made_anew(self, block, reader, moderator):
        assert block_in_force(reader) == block
        Block.objects.update(until=timezone.now() - timedelta(minutes=1))
        assert block_in_force(reader) is None
        submit_report(report=ReportFactory(author=reader, grades={8: 0, 11: 2}), by=reader)
        again = block_account(account=reader, by=moderator, reason="Advertises again")
        assert block_in_force(reader) == again
        block.refresh_from_db()
        assert (block.lifted_at, block.lifted_by) == (block.until, None)

    def test_nobody_appeals_against_what_is_over(self, block, reader):
        Block.objects.update(until=timezone.now() - timedelta(minutes=1))
        block.refresh_from_db()
        with pytest.raises(Conflict):
            appeal(by=reader, says="Please look again", block=block)

    @pytest.mark.parametrize("days", [-1, 4000])
    def test_it_ends_within_five_years_or_is_lifted(self, reader, moderator, days):
        until = timezone.now() + timedelta(days=days)
        with pytest.raises(InvalidInput, match="five years"):
            block_account(account=reader, by=moderator, reason="Advertises", until=until)


def test_a_picture_kept_hidden_can_be_found_harmless_later(reader, moderator):
    image = pictured(public_report())
    flagged(reader, image)
    settle_flags(by=moderator, report=image.report, image=image, outcome="hidden", reason="A face")
    settle_flags(by=moderator, report=image.report, image=image, outcome="nothing-wrong", reason="A statue")
    image.refresh_from_db()
    assert image.picture
    assert Flag.objects.get().outcome == FlagOutcome.NOTHING_WRONG
    assert not flagged(AccountFactory(), image).hid
