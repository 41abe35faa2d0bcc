"""Counting look-ups, ranking what is wanted, and reserving a test."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date, datetime

from django.core.cache import cache
from django.db import IntegrityError, transaction
from django.db.models import Count, F, Max, Sum
from django.utils import timezone

from registry.accounts.models import Account
from registry.consensus.cells import band_label, cut_on_band
from registry.errors import Conflict, NotAllowed, Problem
from registry.gear.holding import held as held_lens
from registry.gear.holding import hold_gear, hold_those_left
from registry.gear.models import Lens
from registry.reports.models import Report, ReportState
from registry.standings.models import Standing
from registry.standings.queries import edition_in_force
from registry.standings.queries.information import information_of
from registry.wanted.models import Ended, LookUpCount, Reservation, WantedTest
from registry.wanted.queries import FRONT_KEY, open_reservations
from registry.wanted.rules import (
    LOOK_UPS_COUNT_FOR,
    LOOK_UPS_KEPT_FOR,
    RESERVATIONS_PER_ACCOUNT,
    RESERVED_FOR,
    score,
)
from registry.watching.models import Watch

LENSES_AT_ONCE = 200
RANKED = ["focal_zone", "information", "look_ups", "watches", "score", "basis", "counted_at"]


@transaction.atomic
def count_look_ups(counts: Mapping[tuple[str, str], int], *, day: date | None = None) -> None:
    """Add look-ups, by lens slug and cut-on group, to a day's counts; slugs that no lens has are passed over."""
    day = day or timezone.now().date()
    known = Lens.objects.filter(slug__in={slug for slug, _ in counts})
    lenses = {lens.slug: now.pk for lens, now in hold_gear(known).items()}
    for (slug, group), count in sorted(counts.items()):
        if slug in lenses:
            row, _ = LookUpCount.objects.get_or_create(lens_id=lenses[slug], cut_on_group=group, day=day)
            LookUpCount.objects.filter(pk=row.pk).update(count=F("count") + count)


def forget_old_look_ups(*, now: datetime | None = None) -> int:
    """Delete daily counts that no ranking will use any more; returns how many."""
    oldest = (now or timezone.now()).date() - LOOK_UPS_KEPT_FOR
    return LookUpCount.objects.filter(day__lt=oldest).delete()[0]


def rank_wanted_tests(*, lens: Lens | None = None, now: datetime | None = None) -> int:
    """Bring the ranking up to what is known and asked, of one lens or of all; returns how many rows were written.

    What a test would teach is only computed anew where the standings or the lens's facts have changed; rows that
    stay equal are not written.
    """
    lenses = Lens.objects.select_related("maker").order_by("pk")
    lenses = list(lenses if lens is None else lenses.filter(pk=lens.pk))
    written = 0
    for start in range(0, len(lenses), LENSES_AT_ONCE):
        written += _rank(lenses[start : start + LENSES_AT_ONCE], now or timezone.now())
    if written:
        cache.delete(FRONT_KEY)
    return written


@transaction.atomic
def _rank(lenses: Sequence[Lens], now: datetime) -> int:
    lenses = hold_those_left(lenses)
    stored: dict[int, dict[str, WantedTest]] = {lens.pk: {} for lens in lenses}
    for row in WantedTest.objects.filter(lens__in=lenses).select_for_update(no_key=True):
        stored[row.lens_id][row.cut_on_group] = row
    moved = _teach_anew(lenses, stored, now)
    look_ups, watches = _look_ups_of(lenses, now), _watches_of(lenses)
    changed = []
    for row in (row for mine in stored.values() for row in mine.values()):
        asked = (look_ups.get((row.lens_id, row.cut_on_group), 0), watches.get(row.lens_id, 0))
        if row.lens_id in moved or asked != (row.look_ups, row.watches):
            row.look_ups, row.watches, row.counted_at = *asked, now
            row.score = round(score(row.information, *asked), 6)
            changed.append(row)
    _store(changed)
    return len(changed)


def _teach_anew(lenses: Sequence[Lens], stored: dict[int, dict[str, WantedTest]], now: datetime) -> set[int]:
    """Compute information where its basis has changed, in the rows; returns the lenses concerned."""
    bases = _bases_of(lenses)
    moved = [lens for lens in lenses if {row.basis for row in stored[lens.pk].values()} != {bases[lens.pk]}]
    for pk, worths in information_of(moved).items():
        for worth in worths:
            row = stored[pk].setdefault(
                worth.cut_on_group,
                WantedTest(lens_id=pk, cut_on_group=worth.cut_on_group, counted_at=now),
            )
            row.focal_zone, row.information, row.basis = worth.focal_zone, round(worth.bits, 6), bases[pk]
    return {lens.pk for lens in moved}


def _store(changed: list[WantedTest]) -> None:
    fresh = [row for row in changed if row.pk is None]
    # Another worker may rank the same lens for the first time.
    WantedTest.objects.bulk_create(
        fresh, update_conflicts=True, unique_fields=["lens", "cut_on_group"], update_fields=RANKED
    )
    known = [row for row in changed if row.pk is not None]
    WantedTest.objects.bulk_update(known, RANKED, batch_size=100)


def _bases_of(lenses: Sequence[Lens]) -> dict[int, str]:
    """What each lens's information rests on: its facts, its evidence's fingerprint, the priors in force."""
    edition = edition_in_force()
    prints = dict(
        Standing.objects.filter(lens__in=lenses, teleconverter=None, adapter=None)
        .order_by()
        .values_list("lens")
        .annotate(Max("fingerprint"))
    )
    number = edition.number if edition else 0
    return {
        lens.pk: f"{number}:{lens.updated_at.timestamp():.6f}:{prints.get(lens.pk, '')}" for lens in lenses
    }


def _look_ups_of(lenses: Sequence[Lens], now: datetime) -> dict[tuple[int, str], int]:
    recent = LookUpCount.objects.filter(lens__in=lenses, day__gte=now.date() - LOOK_UPS_COUNT_FOR)
    counted = recent.values_list("lens", "cut_on_group").annotate(Sum("count"))
    return {(lens, group): count for lens, group, count in counted}


def _watches_of(lenses: Sequence[Lens]) -> dict[int, int]:
    return dict(Watch.objects.filter(lens__in=lenses).order_by().values_list("lens").annotate(Count("pk")))


@transaction.atomic
def reserve_test(*, account: Account, test: WantedTest, now: datetime | None = None) -> Reservation:
    """Take a wanted test on for 30 days. Reserving one's own again gives the same reservation.

    Raises Conflict when someone else holds it, or the account holds five already.
    """
    now = now or timezone.now()
    Account.objects.select_for_update(no_key=True).get(pk=account.pk)
    test.lens = held_lens(test.lens)
    _end_lapsed(test, now)
    held = open_reservations(now).filter(lens=test.lens, cut_on_group=test.cut_on_group).first()
    if held is not None and held.account_id == account.pk:
        return held
    if held is not None:
        raise Conflict(_taken(held))
    if open_reservations(now).filter(account=account).count() >= RESERVATIONS_PER_ACCOUNT:
        raise Conflict(
            Problem(
                code="too-many-reservations",
                says=f"You have reserved {RESERVATIONS_PER_ACCOUNT} tests already.",
                remedy="Give one back, or report it, before you take on another.",
            )
        )
    transaction.on_commit(lambda: cache.delete(FRONT_KEY))
    try:
        with transaction.atomic():
            return Reservation.objects.create(
                lens=test.lens, cut_on_group=test.cut_on_group, account=account, until=now + RESERVED_FOR
            )
    except IntegrityError as race:  # someone else's transaction was first
        held = Reservation.objects.get(lens=test.lens, cut_on_group=test.cut_on_group, ended_at=None)
        raise Conflict(_taken(held)) from race


@transaction.atomic
def release_test(*, account: Account, test: WantedTest, now: datetime | None = None) -> Reservation | None:
    """Give a reserved test back; harmless when nobody holds it. Raises NotAllowed for someone else's."""
    held = open_reservations(now).filter(lens=test.lens, cut_on_group=test.cut_on_group).first()
    if held is None:
        return None
    if held.account_id != account.pk:
        raise NotAllowed(
            Problem(
                code="not-your-reservation",
                value=str(test),
                says=f"{test} is reserved by {held.account}.",
                remedy="Only whoever reserved it can give it back; it lapses by itself.",
            )
        )
    _end(Reservation.objects.filter(pk=held.pk), Ended.RELEASED, now or timezone.now())
    held.refresh_from_db()
    return held


@transaction.atomic
def fulfil_reservation(report: Report, *, now: datetime | None = None) -> int:
    """End the reservations that a submitted report, or another that its author submitted on its lens since they
    reserved it, fulfils: those at its cut-on. Of many that come in at once, one is told of for each lens."""
    fulfilled = []
    for held in open_reservations(now).filter(account=report.author, lens=report.lens):
        came_in = Report.objects.filter(
            author=report.author,
            lens=report.lens,
            state=ReportState.SUBMITTED,
            submitted_at__gte=held.made_at,
        )
        cut_ons = came_in.exclude(cut_on_nm=None).values_list("cut_on_nm", flat=True).distinct()
        if held.cut_on_group in {cut_on_band(cut_on) for cut_on in cut_ons}:
            fulfilled.append(held.pk)
    return _end(Reservation.objects.filter(pk__in=fulfilled), Ended.REPORTED, now)


def end_lapsed_reservations(*, now: datetime | None = None) -> int:
    """Close reservations whose time is up; they no longer hold anyway."""
    now = now or timezone.now()
    return _end(Reservation.objects.filter(ended_at__isnull=True, until__lte=now), Ended.LAPSED, now)


def _end_lapsed(test: WantedTest, now: datetime) -> None:
    lapsed = Reservation.objects.filter(lens=test.lens, cut_on_group=test.cut_on_group, until__lte=now)
    _end(lapsed.filter(ended_at__isnull=True), Ended.LAPSED, now)


def _end(reservations, how: Ended, now: datetime | None) -> int:
    return reservations.update(ended_at=now or timezone.now(), ended=how)


def _taken(held: Reservation) -> Problem:
    return Problem(
        code="already-reserved",
        value=f"{held.lens.slug} {held.cut_on_group}",
        says=f"{held.lens} at {band_label(held.cut_on_group)} is reserved by {held.account} "
        f"until {held.until:%d %B %Y}.",
        remedy="Take another; a second report is welcome all the same.",
    )
