"""A standing stated apart for two conditions, once a moderator has decided that the condition matters. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from registry.consensus.assessment import CellAssessment, LensAssessment, assess_lens
from registry.consensus.beliefs import Priors
from registry.consensus.constants import VISIBLE_EV
from registry.consensus.evidence import Report
from registry.consensus.sentences import Tint, lens_sentence, verdict_words, worst_cell
from registry.standings.shapes import Cell, fields_by_cell

# By these, cells don't keep evidence apart already, and a reader knows which side they are on.
FACTORS_TO_STATE_BY = ("filter_position", "body", "method")
# What a reader acts on is taken from the less promising side.
_OF_THE_WORSE_SIDE = (
    "verdict",
    "f_number",
    "clean_to_av",
    "confidence",
    "stops",
    "limit",
    "expected_information",
)


@dataclass(frozen=True)
class ByCondition:
    """group: the factor's value on the first side; every other stated value is the second. labels: in words."""

    factor: str
    group: str
    labels: tuple[str, str]

    def side_of(self, entry: Report) -> int | None:
        """0 or 1; None where the evidence doesn't state the factor, and so tells about neither."""
        value = getattr(entry, self.factor)
        return None if value is None else int(value != self.group)


@dataclass(frozen=True)
class _Side:
    label: str
    assessment: LensAssessment
    fields: dict[Cell, dict]


def stated_fields(
    assessment: LensAssessment,
    entries: Sequence[Report],
    tints: Mapping[Cell, float],
    priors: Priors,
    *,
    condition: ByCondition | None = None,
    visible_ev: float = VISIBLE_EV,
) -> dict[Cell, dict]:
    """Values of Standing's fields for every assessed cell, by condition where that was decided.

    Each side is assessed from its own evidence alone. A cell then says both; its ladder, limit and verdict code are
    the less promising side's, so that nobody who filters by them is promised too much.
    """
    fields = fields_by_cell(assessment, entries, tints, visible_ev)
    if condition is None:
        return fields
    sides = [
        _side(condition, place, assessment, entries, tints, priors, visible_ev)
        for place in range(len(condition.labels))
    ]
    worse: list[CellAssessment] = []
    for cell in assessment.cells:
        key = (cell.band, cell.focal_zone)
        told = [
            (side, own)
            for side in sides
            if (own := side.assessment.cell(*key)) is not None and own.n_independent
        ]
        worst = worst_cell([own for _, own in told]) or cell
        worse.append(worst)
        if told:
            fields[key] = _by_side(fields[key], key, told, worst, condition)
    _lead_anew(fields, replace(assessment, cells=tuple(worse)), tints)
    return fields


def condition_in(details: Sequence[Mapping]) -> ByCondition | None:
    """The condition that stored standings of one light path were stated by, from their details."""
    stated = next((detail["by_condition"] for detail in details if detail.get("by_condition")), None)
    return stated and ByCondition(stated["factor"], stated["group"], tuple(stated["labels"]))


def _side(condition, place, assessment, entries, tints, priors, visible_ev) -> _Side:
    own = [entry for entry in entries if condition.side_of(entry) == place]
    alone = assess_lens(assessment.lens, own, priors, visible_ev=visible_ev)
    return _Side(condition.labels[place], alone, fields_by_cell(alone, own, tints, visible_ev))


def _by_side(pooled: dict, key: Cell, told: list[tuple[_Side, CellAssessment]], worst, condition) -> dict:
    of_worst = next(side.fields[key] for side, own in told if own is worst)
    stated = {name: of_worst[name] for name in _OF_THE_WORSE_SIDE}
    told_fields = [(side.label, side.fields[key]) for side, _ in told]
    detail = pooled["detail"] | {
        "says": of_worst["detail"]["says"],
        "by_condition": {
            "factor": condition.factor,
            "group": condition.group,
            "labels": list(condition.labels),
            "sides": [_told(label, fields) for label, fields in told_fields],
        },
    }
    return (
        pooled
        | stated
        | {
            "words": "; ".join(f"{fields['words']} {label}" for label, fields in told_fields),
            "suspects": [suspect for _, fields in told_fields for suspect in fields["suspects"]],
            "detail": detail,
        }
    )


def _told(label: str, fields: dict) -> dict:
    names = ("words", "verdict", "f_number", "confidence", "n_reports", "n_independent", "stops", "limit")
    return {"label": label} | {name: fields[name] for name in names}


def _lead_anew(fields: dict[Cell, dict], worse: LensAssessment, tints: Mapping[Cell, float]) -> None:
    """Let the least promising cell of each cut-on group lead, with its words in the group's sentence."""
    for group in dict.fromkeys(cell.band for cell in worse.cells):
        leading = worst_cell([cell for cell in worse.cells if cell.band == group])
        for cell in worse.cells:
            if cell.band == group:
                fields[group, cell.focal_zone] |= {"leads": False, "sentence": ""}
        if leading is None:
            continue
        here = [Tint(zone, f_number) for (band, zone), f_number in sorted(tints.items()) if band == group]
        sentence = lens_sentence(worse, band=group, tints=here)
        row = fields[group, leading.focal_zone]
        row |= {
            "leads": True,
            "sentence": row["words"] + sentence.removeprefix(verdict_words(leading.verdict)),
        }
