"""Accounts that may be one person's: signs are shown, decide nothing, and what is decided can be taken back."""

from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from registry.accounts.addresses import acting_from, code_of, forget_addresses
from registry.accounts.belongings import belongings_of
from registry.accounts.models import AddressTrace
from registry.accounts.services import close_account, register
from registry.errors import Conflict as Refused
from registry.errors import InvalidInput, NotAllowed
from registry.ledger.services import verify
from registry.moderation.models import Ground, VoiceSign
from registry.moderation.queries.decisions import decisions_of_lens, status_of
from registry.moderation.queries.start import piles
from registry.moderation.queries.voices import finding_of, findings
from registry.moderation.services import answer_proposal, undo_decision
from registry.moderation.services.voices import (
    decide_voices,
    forget_address_signs,
    let_all_count,
    look_for_one_voice,
)
from registry.reports.models import FrameGrain, ReportState
from registry.reports.rules.newcomers import HELD_IN_BURST
from registry.reports.services import submit_report
from registry.reports.services.confirming import confirm_report
from registry.standings.models import Standing
from registry.standings.services import refresh_lens
from registry.watching.models import Notice
from tests.factories import PASSWORD, AccountFactory, LensFactory
from tests.moderation.test_alike import grain
from tests.moderation.test_deciding import said
from tests.pages.conftest import SampleImageFactory
from tests.report_factories import ReportFactory
from tests.standings.evidence import relay_on, report_on

pytestmark = pytest.mark.django_db
CLUB_ROOM, ELSEWHERE = "9.1.2.3", "9.9.8.7"


def joined(minutes_ago=0, **more):
    return AccountFactory(joined_at=timezone.now() - timedelta(days=100, minutes=minutes_ago), **more)


def three_apart():
    """Accounts that registered weeks apart."""
    return [joined(weeks * 7 * 24 * 60) for weeks in (3, 2, 1)]


def tested(lens, *accounts, limit=8):
    """Each account's test, submitted an hour after the first of them joined; and what is seen of it."""
    for account in accounts:
        at = account.joined_at + timedelta(hours=1)
        report_on(lens, author=account, limit=limit, submitted_at=at)
    for account in accounts:
        look_for_one_voice(account, lens)


def grounds():
    return [(sign.first, sign.second, sign.ground) for sign in VoiceSign.objects.all()]


class TestSigns:
    def test_two_that_registered_within_an_hour_and_first_tested_one_lens(self, lens):
        one, other, later = joined(3030), joined(3000), joined(0)
        tested(lens, one, other, later)
        assert grounds() == [(one, other, Ground.TOGETHER)]
        assert VoiceSign.objects.get().figures == {
            "minutes_apart": 30, "accounts": 2, "alike_stops": 7, "shared_stops": 7,
        }  # fmt: skip

    def test_three_within_a_day_are_a_burst(self, lens):
        accounts = [joined(hours * 60) for hours in (20, 11, 2)]
        tested(lens, *accounts)
        assert {sign[:2] for sign in grounds()} == {
            (accounts[0], accounts[1]), (accounts[0], accounts[2]), (accounts[1], accounts[2]),
        }  # fmt: skip

    def test_who_registered_together_but_tested_other_lenses_first_is_no_sign(self, lens):
        one, other = joined(10), joined(0)
        for day in range(3):
            report_on(
                LensFactory(widest_f=2), author=one, submitted_at=one.joined_at + timedelta(minutes=day)
            )
        tested(lens, one, other)
        assert grounds() == []

    def test_one_address(self, lens):
        one, other, third = three_apart()
        for account, address in ((one, CLUB_ROOM), (other, CLUB_ROOM), (third, ELSEWHERE)):
            draft = ReportFactory(author=account, lens=lens, grades={8: 0})
            with acting_from(address):
                submit_report(report=draft, by=account)
        look_for_one_voice(other, lens)
        assert grounds() == [(one, other, Ground.ADDRESS)]

    def test_the_same_frames(self, lens):
        one, other, third = three_apart()
        for account, seed in ((one, 1), (other, 1), (third, 2)):
            report = report_on(lens, author=account, submitted_at=account.joined_at)
            image = SampleImageFactory(
                report=report, owner=account, state="measured", content_hash=f"{account.pk:064d}"
            )
            FrameGrain.objects.create(
                image=image, residual=grain(seed, noise_seed=1000 + account.pk, noise=4.0)
            )
        look_for_one_voice(other, lens)
        assert grounds() == [(one, other, Ground.FRAMES)]
        assert VoiceSign.objects.get().figures["frames"] == 1

    def test_nothing_follows_from_a_sign_and_looking_again_adds_none(self, lens):
        one, other = joined(5), joined(0)
        tested(lens, one, other)
        refresh_lens(lens)
        assert look_for_one_voice(other, lens) == 0
        assert Standing.objects.get(lens=lens).n_independent == 2

    def test_who_only_passes_on_others_tests_has_no_voice_to_compare(self, lens):
        one, other = joined(5), joined(0)
        for account in (one, other):
            relay_on(lens, author=account, tester=f"Tester {account.pk}")
            look_for_one_voice(account, lens)
        assert grounds() == []

    def test_submitting_looks_by_itself(self, lens, drain):
        one, other = AccountFactory(), AccountFactory()
        for account in (one, other):
            submit_report(report=ReportFactory(author=account, lens=lens, grades={8: 0}), by=account)
        drain()
        assert grounds() == [(one, other, Ground.TOGETHER)]


class TestAddresses:
    def test_never_the_address_only_a_short_keyed_code(self, settings):
        with acting_from(CLUB_ROOM):
            register(email="dunlin@saltmarsh.example", name="Dunlin", password=PASSWORD)
        trace = AddressTrace.objects.get()
        assert len(trace.code) == 6 and CLUB_ROOM not in str(AddressTrace.objects.values())
        settings.ADDRESS_HASH_KEY = "another key"
        assert code_of(CLUB_ROOM) != trace.code

    @pytest.mark.parametrize(
        ("one", "other", "same"),
        [
            ("2001:db8:1:2::1", "2001:db8:1:2:ffff::9", True),
            ("2001:db8:1:2::1", "2001:db8:1:3::1", False),
            ("::ffff:9.1.2.3", "9.1.2.3", True),
            ("9.1.2.3", "9.1.2.4", False),
        ],
    )
    def test_one_network_of_ipv6_is_one_place(self, one, other, same):
        assert (code_of(one) == code_of(other)) is same

    @pytest.mark.parametrize(
        "address", ["", "unknown", "127.0.0.1", "10.1.2.3", "192.168.0.9", "::1", "fe80::1", "fd00::1"]
    )
    def test_what_tells_no_two_places_apart_is_not_noted(self, address):
        assert code_of(address) == ""

    def test_it_is_forgotten_after_ninety_days_and_what_was_seen_by_it_too(self, lens):
        AddressTrace.objects.create(
            account=AccountFactory(), code="abcdef", seen_at=timezone.now() - timedelta(days=89)
        )
        one, other = AccountFactory(), AccountFactory()
        VoiceSign.objects.create(first=one, second=other, lens=lens, ground=Ground.ADDRESS)
        assert (forget_addresses(), forget_address_signs()) == (0, 0)
        later = timezone.now() + timedelta(days=91)
        assert (forget_addresses(later), forget_address_signs(later)) == (1, 1)

    def test_signing_up_notes_it_as_our_proxy_tells_it_and_no_forged_header(self, client, settings):
        settings.TRUSTED_PROXIES = 1
        form = {"name": "Knot", "email": "knot@saltmarsh.example", "password1": PASSWORD}
        forged = f"{ELSEWHERE}, {CLUB_ROOM}"
        assert client.post(reverse("account_signup"), form, HTTP_X_FORWARDED_FOR=forged).status_code == 302
        assert AddressTrace.objects.get().code == code_of(CLUB_ROOM)

    def test_whoever_closes_their_account_takes_it_along(self):
        account = AccountFactory()
        AddressTrace.objects.create(account=account, code="abcdef", seen_at=timezone.now())
        close_account(account=account)
        assert not AddressTrace.objects.exists()

    def test_nobody_learns_from_their_data_whom_they_resemble(self, lens):
        one, other = joined(5), joined(0, name="Turnstone")
        tested(lens, one, other)
        assert "Turnstone" not in str(belongings_of(one))


class TestDeciding:
    def test_one_voice_counts_once_on_every_lens_and_moves_back_to_the_last_digit(self, lens, moderator):
        one, other = joined(5), joined(0)
        elsewhere = LensFactory(widest_f=2)
        for each in (lens, elsewhere):
            for _ in range(6):
                report_on(each)
            tested(each, one, other)
            refresh_lens(each)
        before = said(lens), said(elsewhere)
        decision = decide_voices(by=moderator, act="same-voice", accounts=[one, other], reason="One hand.")
        for each in (lens, elsewhere):
            refresh_lens(each)
            assert Standing.objects.get(lens=each).n_independent == 7
        assert list(decisions_of_lens(elsewhere)) == [decision]
        undo_decision(decision=decision, by=moderator, reason="Two people after all.")
        for each in (lens, elsewhere):
            refresh_lens(each)
        assert (said(lens), said(elsewhere)) == before
        assert [one.key for one in findings()] == [one.public_id]  # it waits again
        assert verify() == []

    def test_the_standing_follows_by_event_and_both_are_told(self, lens, moderator, drain):
        one, other = joined(5), joined(0)
        tested(lens, one, other)
        for _ in range(6):
            report_on(lens)
        refresh_lens(lens)
        decide_voices(by=moderator, act="same-voice", accounts=[one, other], reason="One hand.")
        drain()
        assert Standing.objects.get(lens=lens).n_independent == 7
        told = Notice.objects.filter(event__name="voices.joined").values_list("account", flat=True)
        assert set(told) == {one.pk, other.pk}

    def test_a_relay_of_one_of_them_is_the_same_voice(self, lens, moderator):
        one, other = joined(5, name="Dunlin"), joined(0)
        tested(lens, one, other)
        relay_on(lens, tester="dunlin", url="https://saltmarsh.example/dunlin")
        for _ in range(5):
            report_on(lens)
        decide_voices(by=moderator, act="same-voice", accounts=[one, other], reason="One hand.")
        refresh_lens(lens)
        assert Standing.objects.get(lens=lens).n_independent == 6

    def test_where_a_verdict_hangs_on_it_a_second_moderator_agrees(self, lens, moderator, second):
        accounts = [joined(minutes) for minutes in (9, 5, 0)]
        tested(lens, *accounts)
        refresh_lens(lens)
        decision = decide_voices(by=moderator, act="same-voice", accounts=accounts, reason="One hand.")
        assert status_of(decision).code == "waiting" and findings() == []
        refresh_lens(lens)
        assert Standing.objects.get(lens=lens).n_independent == 3
        answer_proposal(decision=decision, by=second, agree=True, reason="So it looks.")
        refresh_lens(lens)
        assert Standing.objects.get(lens=lens).words.startswith("one report so far")

    def test_a_club_evening_stands_and_is_not_raised_again(self, lens, moderator, drain):
        accounts = [joined(minutes) for minutes in (9, 5, 0)]
        tested(lens, *accounts)
        decision = decide_voices(by=moderator, act="own-voices", accounts=accounts, reason="A club evening.")
        tested(LensFactory(widest_f=2), *accounts)
        assert findings() == []
        late = joined(2)
        tested(lens, late)
        (finding,) = findings()  # only what links the newcomer to them
        assert all(late in (sign.first, sign.second) for sign in finding.signs)
        undo_decision(decision=decision, by=moderator, reason="I was told otherwise.")
        assert len(findings()[0].signs) == 9

    def test_nobody_decides_about_themselves_and_no_contributor_does(self, lens):
        one, other = joined(5, moderator=True), joined(0)
        tested(lens, one, other)
        for by in (one, other):
            with pytest.raises(NotAllowed):
                decide_voices(by=by, act="own-voices", accounts=[one, other], reason="We are two.")

    def test_what_is_no_decision_is_refused(self, lens, moderator):
        one, other = joined(5), joined(0)
        tested(lens, one, other)
        for wrong in ({"act": "ask"}, {"accounts": [one]}, {"reason": " "}):
            given = {"act": "same-voice", "accounts": [one, other], "reason": "One hand."} | wrong
            with pytest.raises(InvalidInput):
                decide_voices(by=moderator, **given)

    def test_decided_twice_the_second_is_refused(self, lens, moderator, second):
        one, other = joined(5), joined(0)
        tested(lens, one, other)
        for _ in range(6):
            report_on(lens)
        decide_voices(by=moderator, act="same-voice", accounts=[one, other], reason="One hand.")
        for act in ("same-voice", "own-voices"):
            with pytest.raises(Refused, match="one voice already"):
                decide_voices(by=second, act=act, accounts=[one, other], reason="One hand.")


class TestBursts:
    @pytest.fixture(autouse=True)
    def newcomers_wait(self, settings):
        settings.NEW_REPORTS_WAIT = True

    def submitted(self, lens, account):
        """With frames, so that it does not wait for want of them."""
        report = ReportFactory(author=account, lens=lens, grades={8: 0, 11: 2})
        SampleImageFactory(report=report, owner=account, state="measured", purpose="proof")
        return submit_report(report=report, by=account)

    def test_the_third_of_a_burst_is_held_and_only_a_moderator_confirms_it(self, lens, moderator):
        reports = [self.submitted(lens, AccountFactory()) for _ in range(4)]
        assert [report.state for report in reports] == ["submitted", "submitted", "waiting", "waiting"]
        assert reports[2].state_reason == HELD_IN_BURST
        with pytest.raises(NotAllowed):
            confirm_report(report=reports[2], by=reports[0].author)
        confirm_report(report=reports[2], by=moderator)
        assert (reports[2].state, reports[2].state_reason) == (ReportState.SUBMITTED, "")

    def test_a_burst_is_shown_once_and_let_count_together(self, lens, moderator, drain):
        reports = [self.submitted(lens, AccountFactory()) for _ in range(5)]
        drain()
        counts = {pile.kind: pile.count for pile in piles()}
        assert (counts["voices"], counts["waiting"]) == (1, 0)
        finding = finding_of(reports[3].author.public_id)
        assert len(finding.waiting) == 3
        assert let_all_count(by=moderator, accounts=finding.accounts) == 3
        drain()
        assert Standing.objects.get(lens=lens, leads=True).n_independent == 5

    def test_established_accounts_are_no_burst(self, lens):
        accounts = [AccountFactory() for _ in range(4)]
        for account in accounts:
            report_on(LensFactory(widest_f=2), author=account)
        assert {self.submitted(lens, account).state for account in accounts} == {"submitted"}
