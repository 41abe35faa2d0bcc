"""Stating a lens's standings apart for two conditions, and no longer doing so."""

from __future__ import annotations

from django.db import transaction
from django.utils import timezone

from registry.accounts.models import Account
from registry.errors import Conflict, Problem
from registry.ledger.services import record
from registry.standings.by_condition import ByCondition
from registry.standings.models import ConditionSplit
from registry.standings.rules import LightPath


@transaction.atomic
def state_by_condition(*, path: LightPath, condition: ByCondition, by: Account) -> ConditionSplit:
    """From the next refresh on, say what holds on either side of a condition.

    Raises errors.Conflict where the path is stated by a condition already.
    """
    type(path.lens).objects.select_for_update(no_key=True).get(pk=path.lens.pk)
    if ConditionSplit.objects.filter(**_of(path), ended_at=None).exists():
        raise Conflict(
            Problem(
                code="already-by-condition",
                field="factor",
                value=condition.factor,
                says=f"What holds for {path} is stated by a condition already.",
                remedy="Take that decision back first.",
            )
        )
    split = ConditionSplit.objects.create(
        **_of(path), factor=condition.factor, group=condition.group, labels=list(condition.labels)
    )
    _tell(path, "standing.split", by, split)
    return split


@transaction.atomic
def state_as_one(*, split: ConditionSplit, by: Account) -> None:
    """Say again what holds over all conditions; harmless where that is so already."""
    split = ConditionSplit.objects.select_for_update(no_key=True).get(pk=split.pk)
    if split.ended_at is None:
        split.ended_at = timezone.now()
        split.save(update_fields=["ended_at"])
        _tell(LightPath(split.lens, split.teleconverter, split.adapter), "standing.joined", by, split)


def _of(path: LightPath) -> dict:
    return {"lens": path.lens, "teleconverter": path.teleconverter, "adapter": path.adapter}


def _tell(path: LightPath, name: str, by: Account, split: ConditionSplit) -> None:
    data = {"lens": path.lens.slug, "factor": split.factor, "group": split.group}
    record(name, actor=by, subject_kind="lens", subject_id=path.lens.slug, data=data)
