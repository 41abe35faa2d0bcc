"""Merging doubles in the catalogue, taking a merge back, and noting that two are no doubles."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from registry.accounts.models import Account
from registry.errors import Conflict, InvalidInput, NotAllowed, NotFound, Problem
from registry.gear.carrying import Log, carry, values_of
from registry.gear.doubles import in_order
from registry.gear.holding import gives_way
from registry.gear.models import FactSource, GearItem, GearStatus, Lens, LensAlias, Merge, SetApart
from registry.gear.queries import gear_by_slug, kind_of
from registry.ledger.services import record

LONGEST_REASON = 300


@gives_way
@transaction.atomic
def merge_gear(*, double: GearItem, into: GearItem, by: Account, reason: str = "") -> Merge:
    """Make one of two rows that mean one piece of gear: all that names the double names the kept one from now on.

    The kept one keeps its facts and is given those that only the double states; the double's name stays as a way
    to find it, its address leads to the kept one for as long as the merge holds. Standings follow by event.
    Raises NotAllowed unless `by` moderates, InvalidInput for two kinds or one and the same, Conflict where one of
    them is gone.
    """
    _check_moderates(by)
    if type(double) is not type(into) or double.pk == into.pk:
        raise InvalidInput(
            Problem(
                code="not-two-of-a-kind",
                field="double",
                value=double.slug,
                says=f"{double} and {into} are not two of a kind.",
                remedy="Name two rows of the catalogue, both lenses, or both of another kind.",
            )
        )
    double, into = _held(double, into)
    log, kind = Log(), kind_of(into)
    _complete(into, double, log)
    carry(double, into, log)
    _carry_sources(kind, double, into, log)
    merge = Merge(
        kind=kind, former_slug=double.slug, former_name=str(double), kept_slug=into.slug, by=by,
        reason=_short(reason),
    )  # fmt: skip
    log.dropped(double)
    _name_also(into, merge.former_name, log)
    merge.log = {"steps": log.steps}
    merge.save()
    _tell("gear.merged", merge, by)
    return merge


@gives_way
@transaction.atomic
def take_back_merge(*, merge: Merge, by: Account) -> GearItem:
    """Make two of them again, with everything that was the double's; returns it.

    What was written since the merge stays with the kept one. Repeating it does nothing more.
    Raises NotAllowed unless `by` moderates, Conflict while the kept one is itself merged into another.
    """
    _check_moderates(by)
    merge = Merge.objects.select_for_update(no_key=True).get(pk=merge.pk)
    if merge.taken_back_at is None:
        try:
            kept = gear_by_slug(merge.kind, merge.kept_slug)
        except NotFound as refusal:
            raise Conflict(_kept_gone(merge)) from refusal
        type(kept)._base_manager.select_for_update(no_key=True).get(pk=kept.pk)
        Log(merge.log["steps"]).take_back()
        merge.taken_back_at, merge.taken_back_by = timezone.now(), by
        merge.save(update_fields=["taken_back_at", "taken_back_by"])
        _tell("gear.merge-taken-back", merge, by)
    return gear_by_slug(merge.kind, merge.former_slug)


@transaction.atomic
def set_apart(*, one: GearItem, other: GearItem, by: Account) -> None:
    """Note that two which look alike are two, so that nobody is asked again. Raises NotAllowed, InvalidInput."""
    _check_moderates(by)
    if type(one) is not type(other) or one.pk == other.pk:
        raise InvalidInput(
            Problem(
                code="not-two-of-a-kind",
                field="other",
                value=other.slug,
                says=f"{one} and {other} are not two of a kind.",
                remedy="Name two different rows of one kind.",
            )
        )
    first, second = in_order(one.slug, other.slug)
    _, fresh = SetApart.objects.get_or_create(
        kind=kind_of(one), first_slug=first, second_slug=second, defaults={"by": by}
    )
    if fresh:
        record(
            "gear.set-apart", actor=by, subject_kind=kind_of(one), subject_id=first, data={"other": second}
        )


def _check_moderates(by: Account) -> None:
    if not by.moderates:
        raise NotAllowed(
            Problem(
                code="moderators-only",
                says="Only a moderator may say which rows of the catalogue are one.",
                remedy="Tell a moderator which two you mean.",
            )
        )


def _held(double: GearItem, into: GearItem) -> list[GearItem]:
    """Both, locked in one order whoever asks, and read afresh."""
    rows = type(into).objects.select_for_update(of=("self",)).select_related("maker")
    held = {row.pk: row for row in rows.filter(pk__in=[double.pk, into.pk]).order_by("pk")}
    for item in (double, into):
        if item.pk not in held:
            raise Conflict(
                Problem(
                    code="merged-meanwhile",
                    field="double",
                    value=item.slug,
                    says=f"{item} was merged or removed meanwhile.",
                    remedy="Load the list of doubles again.",
                )
            )
    return [held[double.pk], held[into.pk]]


def _complete(into: GearItem, double: GearItem, log: Log) -> None:
    """Give the kept one the facts that only the double states; listed it is if either was."""
    before = values_of(into)
    for field in into._meta.concrete_fields:
        optional = (field.null and field.name != "proposed_by") or field.name == "exif_model"
        if optional and getattr(into, field.attname) in (None, ""):
            setattr(into, field.attname, getattr(double, field.attname))
    if isinstance(into, Lens) and into.filter_seat != double.filter_seat:
        into.filter_thread_mm = before.get(
            "filter_thread_mm"
        )  # a thread belongs to the seat it was stated for
    if GearStatus.LISTED in (into.status, double.status):
        into.status = GearStatus.LISTED
    into.updated_at = timezone.now()
    log.changed(into, before)


def _carry_sources(kind: str, double: GearItem, into: GearItem, log: Log) -> None:
    """Sources name gear by its address."""
    for source in FactSource.objects.filter(gear_kind=kind, gear_slug=double.slug):
        before = values_of(source)
        source.gear_slug = into.slug
        log.changed(source, before)


def _name_also(into: GearItem, name: str, log: Log) -> None:
    if isinstance(into, Lens) and not LensAlias.objects.filter(written__iexact=name).exists():
        log.added(LensAlias.objects.create(lens=into, written=name[:160]))


def _kept_gone(merge: Merge) -> Problem:
    return Problem(
        code="merged-meanwhile",
        field="merge",
        value=merge.kept_slug,
        says=f"{merge.kept_slug} has itself been merged into another since.",
        remedy="Take that merge back first.",
    )


def _short(reason: str) -> str:
    reason = " ".join(reason.split())
    if len(reason) > LONGEST_REASON:
        raise InvalidInput(
            Problem(
                code="text-too-long",
                field="reason",
                value=reason[:60],
                says=f"The reason has {len(reason)} characters.",
                remedy=f"Shorten it to {LONGEST_REASON}.",
            )
        )
    return reason


def _tell(name: str, merge: Merge, by: Account) -> None:
    data = {
        "former": merge.former_slug, "kept": merge.kept_slug, "name": merge.former_name, "reason": merge.reason,
    }  # fmt: skip
    record(name, actor=by, subject_kind=merge.kind, subject_id=merge.kept_slug, data=data)
