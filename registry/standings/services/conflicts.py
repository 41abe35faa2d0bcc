"""Conflicts: opened where independent evidence can't be reconciled, kept up, and closed when it no longer shows."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from itertools import pairwise

from django.utils import timezone

from registry.consensus.assessment import assess_lens
from registry.consensus.constants import CAUSE_LIKELY
from registry.consensus.evidence import Lens as Optics
from registry.consensus.evidence import Report as Entry
from registry.consensus.sentences import verdict_words
from registry.standings.models import Conflict, Standing
from registry.standings.rules import report_id_of

NO_LONGER_SHOWN = "the evidence no longer shows it"
# Splits that cells already keep apart need no moderator.
BETWEEN_CELLS = {"cut_on", "focal"}


def update_conflicts(row: Standing, optics: Optics, entries: Sequence[Entry]) -> None:
    """Open, update and close the conflicts of one standing, from what is stored in it.

    entries: the evidence in this cell, from which the camps are told.
    """
    splits = {key: (kind, entry_ids) for kind, key, entry_ids in _splits(row)}
    camps = camps_of(optics, entries) if splits else {}
    known = {conflict.key: conflict for conflict in row.conflicts.filter(open=True)}
    for key, (kind, entry_ids) in splits.items():
        content = {"explanations": row.causes, "camps": _camps_for(kind, camps, entry_ids)}
        if key in known:
            _update(known[key], content)
        elif not _settled(row, key, content["camps"]):
            Conflict.objects.create(standing=row, kind=kind, key=key, **content)
    for key, conflict in known.items():
        if key not in splits:
            _close(conflict)


def _splits(row: Standing) -> list[tuple[str, str, list[str]]]:
    """(kind, key, entries it is about) of every split that a standing shows; the key names the split."""
    found: list[tuple[str, str, list[str]]] = []
    if row.verdict == "reports-differ":
        found.append(("reports-differ", "reports-differ", []))
    for suspect in row.suspects:
        named = hashlib.sha256(" ".join(suspect["entries"]).encode()).hexdigest()[:40]
        found.append(("suspect", f"suspect:{named}", suspect["entries"]))
    if row.leads and not found:
        found += [
            ("cause", f"cause:{cause['factor']}", [])
            for cause in row.causes[:1]
            if cause["posterior"] >= CAUSE_LIKELY and cause["factor"] not in BETWEEN_CELLS
        ]
    return found


def camps_of(optics: Optics, entries: Sequence[Entry]) -> dict[str, list[dict]]:
    """The two camps of a cell's evidence: what each entry alone says, parted where the gap is widest."""
    told = [said for entry in entries if (said := _alone(optics, entry))]
    told.sort(key=lambda said: (said["limit_av"], said["entry"]))
    if len(told) < 2:
        return {"sooner": told, "later": []}
    gaps = [after["limit_av"] - before["limit_av"] for before, after in pairwise(told)]
    cut = gaps.index(max(gaps)) + 1
    return {"sooner": told[:cut], "later": told[cut:]}


def _alone(optics: Optics, entry: Entry) -> dict | None:
    cells = assess_lens(optics, [entry]).cells
    if not cells or not cells[0].n_independent:
        return None
    verdict = cells[0].verdict
    return {
        "entry": entry.id,
        "report": report_id_of(entry.id),
        "says": verdict_words(verdict.says or verdict),
        "limit_av": round(cells[0].limit_av.median, 4),
        "filter_position": entry.filter_position,
        "cut_on_nm": entry.cut_on_nm,
        "focal_mm": entry.focal_mm,
        "body": entry.body,
        "copy": entry.copy,
        "method": entry.method,
    }


def _camps_for(kind: str, camps: dict[str, list[dict]], entry_ids: list[str]) -> dict[str, list[dict]]:
    if kind != "suspect":
        return camps
    told = camps["sooner"] + camps["later"]
    return {
        "suspect": [said for said in told if said["entry"] in entry_ids],
        "others": [said for said in told if said["entry"] not in entry_ids],
    }


def _update(conflict: Conflict, content: dict) -> None:
    if (conflict.explanations, conflict.camps) != (content["explanations"], content["camps"]):
        conflict.explanations, conflict.camps = content["explanations"], content["camps"]
        conflict.save(update_fields=["explanations", "camps", "updated_at"])


def _close(conflict: Conflict) -> None:
    conflict.open = False
    conflict.closed_at = timezone.now()
    conflict.close_reason = NO_LONGER_SHOWN
    conflict.save(update_fields=["open", "closed_at", "close_reason", "updated_at"])


def _settled(row: Standing, key: str, camps: dict) -> bool:
    """Whether a moderator closed this very split: the same reports on each side stay settled."""
    last = row.conflicts.filter(open=False, key=key).order_by("-closed_at", "-id").first()
    return last is not None and last.close_reason != NO_LONGER_SHOWN and _sides(last.camps) == _sides(camps)


def _sides(camps: dict) -> dict[str, list[str]]:
    return {side: sorted(said["entry"] for said in told) for side, told in camps.items()}
