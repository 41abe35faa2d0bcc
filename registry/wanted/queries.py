"""Reading wanted tests and their reservations."""

from __future__ import annotations

from datetime import datetime

from django.core.cache import cache
from django.db.models import Count, Exists, F, IntegerField, OuterRef, Q, QuerySet, Subquery, Sum
from django.db.models.functions import Coalesce
from django.utils import timezone

from registry.accounts.models import Account
from registry.errors import NotFound, Problem
from registry.gear.models import FilterSeat, Lens
from registry.wanted.models import LookUpCount, Reservation, WantedTest
from registry.wanted.rules import BITS_WORTH_A_TEST

FEW = 3
FRONT_KEY, FRONT_SECONDS = "wanted-few", 5 * 60


def wanted_tests(
    *, mount: str | None = None, cut_on_group: str | None = None, reserved: bool | None = None
) -> QuerySet[WantedTest]:
    """Wanted tests, the most wanted first.

    mount: slug of a mount that the lens has. reserved: only those that are, or only those that are not.
    """
    tests = WantedTest.objects.filter(information__gte=BITS_WORTH_A_TEST).select_related("lens__maker")
    if mount:
        tests = tests.filter(lens__mounts__slug=mount)
    if cut_on_group:
        tests = tests.filter(cut_on_group=cut_on_group)
    if reserved is not None:
        same = open_reservations().filter(lens=OuterRef("lens"), cut_on_group=OuterRef("cut_on_group"))
        tests = tests.filter(Exists(same) if reserved else ~Exists(same))
    return tests.order_by("-score", "pk")


def most_wanted_of_each_lens(tests: QuerySet[WantedTest]) -> QuerySet[WantedTest]:
    """Of these tests, each lens's most wanted one."""
    of_same_lens = tests.filter(lens=OuterRef("lens")).order_by("-score", "pk")
    return tests.filter(pk=Subquery(of_same_lens.values("pk")[:1]))


def with_other_cut_ons(tests: list[WantedTest]) -> list[WantedTest]:
    """Sets `others` of each to the other tests that are wanted of its lens, the most wanted first: one statement."""
    every = wanted_tests().filter(lens__in={test.lens_id for test in tests})
    for test in tests:
        test.others = [other for other in every if other.lens_id == test.lens_id and other.pk != test.pk]
    return tests


def open_reservations(now: datetime | None = None) -> QuerySet[Reservation]:
    """Reservations that hold: neither ended nor lapsed."""
    now = now or timezone.now()
    return Reservation.objects.filter(ended_at__isnull=True, until__gt=now).select_related("account")


def with_reservations(tests: list[WantedTest]) -> list[WantedTest]:
    """Sets `taken` of each to its open reservation or None: one statement for all."""
    held = {
        (held.lens_id, held.cut_on_group): held
        for held in open_reservations().filter(lens__in={test.lens_id for test in tests})
    }
    for test in tests:
        test.taken = held.get((test.lens_id, test.cut_on_group))
    return tests


def most_wanted() -> list[dict]:
    """A few unreserved tests for the front page, told plainly; kept in the cache, since the ranking is hourly and
    any of them will do: lens and slug, cut-on group, and the focal zone where it is a zoom."""
    told = cache.get(FRONT_KEY)
    if told is None:
        told = [
            {
                "lens": str(test.lens),
                "slug": test.lens.slug,
                "group": test.group_label,
                "zone": test.zone_label if test.lens.is_zoom else "",
            }
            for test in most_wanted_of_each_lens(wanted_tests(reserved=False))[:FEW]
        ]
        cache.set(FRONT_KEY, told, FRONT_SECONDS)
    return told


def reservations_of(account: Account) -> QuerySet[Reservation]:
    return open_reservations().filter(account=account).select_related("lens__maker").order_by("until")


def wanted_test(number: int) -> WantedTest:
    """Raises NotFound."""
    test = WantedTest.objects.filter(pk=number).select_related("lens__maker").first()
    if test is None:
        raise NotFound(
            Problem(
                code="unknown-wanted-test",
                field="id",
                value=number,
                says=f"There is no wanted test {number}.",
                remedy="Take one from the list of wanted tests.",
            )
        )
    return with_reservations([test])[0]


def wanted_on(lens: Lens) -> list[WantedTest]:
    """The wanted tests of one lens, the most wanted first."""
    return with_reservations(list(wanted_tests().filter(lens=lens)))


def lenses_lacking_facts(*, mount: str | None = None) -> QuerySet[Lens]:
    """Lenses of which the catalogue lacks what decides on filters and on how far a test goes, the most asked for
    first: by reports and by look-ups. Sets `asked_for` of each.

    mount: slug of a mount that the lens has.
    """
    reports = Lens.objects.filter(pk=OuterRef("pk")).annotate(n=Count("reports")).values("n")
    looked_up = LookUpCount.objects.filter(lens=OuterRef("pk")).values("lens").annotate(n=Sum("count"))
    lenses = Lens.objects.filter(
        Q(filter_thread_mm=None, filter_seat=FilterSeat.FRONT_THREAD)
        | Q(narrowest_f=None)
        | Q(mounts=None)
        | Q(mass_g=None)
    )
    if mount:
        lenses = lenses.filter(mounts__slug=mount)
    asked_for = F("reported") + Coalesce(Subquery(looked_up.values("n"), output_field=IntegerField()), 0)
    return (
        lenses.distinct()
        .annotate(reported=Subquery(reports, output_field=IntegerField()))
        .annotate(asked_for=asked_for)
        .select_related("maker")
        .prefetch_related("mounts")
        .order_by("-asked_for", "slug")
    )
