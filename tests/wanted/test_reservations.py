"""Taking a wanted test on, so that others take another."""

from datetime import timedelta

import pytest
from django.utils import timezone

from registry.errors import Conflict, NotAllowed
from registry.reports.services import submit_report
from registry.wanted import services
from registry.wanted.models import Ended, Reservation, WantedTest
from registry.wanted.queries import open_reservations, wanted_test, wanted_tests
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import ReportFactory, RigFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def test():
    LensFactory(widest_f=2)
    services.rank_wanted_tests()
    return WantedTest.objects.get(cut_on_group="700-780")


@pytest.fixture
def samphire():
    return AccountFactory(name="samphire")


def test_a_reservation_holds_for_thirty_days(test, samphire):
    held = services.reserve_test(account=samphire, test=test)
    assert timedelta(days=29) < held.until - timezone.now() <= timedelta(days=30)
    assert wanted_test(test.pk).taken == held
    later = timezone.now() + timedelta(days=31)
    assert not open_reservations(later).exists()


def test_others_see_who_holds_it_and_until_when(test, samphire):
    services.reserve_test(account=samphire, test=test)
    with pytest.raises(Conflict) as refusal:
        services.reserve_test(account=AccountFactory(), test=test)
    assert refusal.value.first.code == "already-reserved"
    assert "samphire" in refusal.value.first.says


def test_reserving_ones_own_again_changes_nothing(test, samphire):
    assert services.reserve_test(account=samphire, test=test) == services.reserve_test(
        account=samphire, test=test
    )
    assert Reservation.objects.count() == 1


def test_a_lapsed_reservation_lets_others_in_and_stays_on_record(test, samphire):
    services.reserve_test(account=samphire, test=test)
    later = timezone.now() + timedelta(days=31)
    other = AccountFactory()
    assert services.reserve_test(account=other, test=test, now=later).account == other
    assert Reservation.objects.get(account=samphire).ended == Ended.LAPSED


def test_only_its_holder_gives_it_back(test, samphire):
    services.reserve_test(account=samphire, test=test)
    with pytest.raises(NotAllowed):
        services.release_test(account=AccountFactory(), test=test)
    assert services.release_test(account=samphire, test=test).ended == Ended.RELEASED
    assert services.release_test(account=samphire, test=test) is None


def test_five_at_once_are_enough(samphire):
    lenses = [LensFactory() for _ in range(2)]
    services.rank_wanted_tests()
    *allowed, beyond = WantedTest.objects.filter(lens__in=lenses)[:6]
    for test in allowed:
        services.reserve_test(account=samphire, test=test)
    with pytest.raises(Conflict) as refusal:
        services.reserve_test(account=samphire, test=beyond)
    assert refusal.value.first.code == "too-many-reservations"


def test_submitting_the_report_ends_the_reservation(test, samphire, drain):
    services.reserve_test(account=samphire, test=test)
    elsewhere = ReportFactory(
        lens=test.lens, author=samphire, rig=RigFactory(owner=samphire, cut_on_nm=590), grades={4: 0, 8: 1}
    )
    submit_report(report=elsewhere, by=samphire)
    drain()
    assert open_reservations().exists()
    report = ReportFactory(lens=test.lens, author=samphire, grades={2: 0, 4: 0, 8: 1})
    submit_report(report=report, by=samphire)
    drain()
    assert Reservation.objects.get().ended == Ended.REPORTED


def test_reserved_tests_can_be_listed_apart(test, samphire):
    services.reserve_test(account=samphire, test=test)
    assert list(wanted_tests(reserved=True)) == [test]
    assert test not in wanted_tests(reserved=False)
