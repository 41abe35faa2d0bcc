"""Everything that a submitted report says, to be corrected with a reason."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from django import forms

from registry.errors import CleanstopError
from registry.pages.forms.check import FrameForm
from registry.pages.forms.evidence import ClaimForm, ReadingForm
from registry.pages.forms.relay import RelayForm
from registry.pages.forms.report import FIELD_NAMES, StartForm
from registry.pages.forms.summary import SummaryForm
from registry.reports.models import Basis, OwnSummary, Report, Sweep
from registry.reports.rules.summary import contradiction_problems


class ReasonForm(forms.Form):
    """Why a report changes, or goes. version: which state of it the reader saw."""

    reason = forms.CharField(
        required=False,
        max_length=1000,
        help_text="It stays on record beside the report, for everyone to read.",
    )
    version = forms.IntegerField(required=False, widget=forms.HiddenInput)


class Revision:
    """The forms of one report's revision, together. data: what was sent."""

    def __init__(self, report: Report, data: Any = None):
        details = RelayForm if report.basis == Basis.RELAYED else StartForm
        self.reason = ReasonForm(data, initial={"version": report.version}, prefix="why")
        self.details = details.of(report, data)
        self.sweeps: list[tuple[Sweep, list[ReadingForm]]] = [
            (sweep, forms)
            for sweep in report.sweeps.prefetch_related("readings")
            if (forms := [ReadingForm.of(row, data) for row in sweep.readings.all() if row.image_id is None])
        ]
        self.frames = [
            (image, FrameForm.of(image, data, prefix=f"frame-{image.public_id}"))
            for image in report.images.all()
        ]
        known = OwnSummary.objects.filter(report=report).first()
        asked = known is not None or self.frames
        self.summary = SummaryForm.anew(known, data) if asked else None
        self.open_questions = contradiction_problems(report)
        claims = [*report.claims.all(), None]
        self.claims = [ClaimForm.of(claim, f"claim-{place}", data) for place, claim in enumerate(claims)]

    def __iter__(self) -> Iterator[forms.Form]:
        yield self.reason
        yield self.details
        yield from (form for _, rows in self.sweeps for form in rows)
        yield from (form for _, form in self.frames)
        yield from self.claims
        if self.summary is not None:
            yield self.summary

    @property
    def asks_about_summary(self) -> bool:
        """Whether what was measured contradicts its author's summary, who has not stood by it."""
        if self.summary is None or not self.summary.is_bound:
            return bool(self.open_questions)
        return bool(self.summary.non_field_errors() or self.summary["stands"].value())

    @property
    def is_bound(self) -> bool:
        return self.reason.is_bound

    @property
    def has_claims(self) -> bool:
        """Whether the report states anything without readings, or is about to."""
        return len(self.claims) > 1 or any(form.has_changed() for form in self.claims)

    def is_valid(self) -> bool:
        checked = [form.is_valid() for form in self]  # every form, so that every error shows
        return all(checked)

    def changes(self) -> dict[str, Any]:
        """What registry.reports.services.revise_report takes: the details and lists in which something changed."""
        changes = self.details.details() if self.details.has_changed() else {}
        if any(form.has_changed() for _, rows in self.sweeps for form in rows):
            changes["sweeps"] = [content for content in map(_sweep, self.sweeps) if content["readings"]]
        if any(form.has_changed() for _, form in self.frames):
            changes["images"] = [{"image": image.public_id} | form.changes() for image, form in self.frames]
        if any(form.has_changed() for form in self.claims):
            changes["claims"] = [content for form in self.claims if (content := form.content())]
        if self.summary is not None and self.summary.has_changed():
            changes["own_summary"] = self.summary.content()
        return changes

    def put_beside_fields(self, error: CleanstopError) -> None:
        """Attach each problem to the field that it concerns, by its path; else to the whole."""
        for problem in error.problems:
            form, name = self._place_of(problem.field)
            form.add_error(name if name in form.fields else None, str(problem))

    def _place_of(self, path: str) -> tuple[forms.Form, str]:
        head, _, name = path.rpartition(".")
        form = self._by_path().get(head) if head else None
        if form is not None:
            return form, name
        if path == "own_summary" and self.summary is not None:
            return self.summary, path
        if path in self.reason.fields:
            return self.reason, path
        return self.details, FIELD_NAMES.get(path, path)

    def _by_path(self) -> dict[str, forms.Form]:
        """The forms by the paths under which the services know what they hold."""
        kept = [[form for form in rows if form.content()] for _, rows in self.sweeps]
        stated = [form for form in self.claims if form.content()]
        return (
            {
                f"sweeps[{place}].readings[{row}]": form
                for place, rows in enumerate(rows for rows in kept if rows)
                for row, form in enumerate(rows)
            }
            | {f"images[{place}]": form for place, (_, form) in enumerate(self.frames)}
            | {f"claims[{place}]": form for place, form in enumerate(stated)}
            | ({"own_summary": self.summary} if self.summary is not None else {})
        )


def _sweep(sent: tuple[Sweep, list[ReadingForm]]) -> dict[str, Any]:
    sweep, rows = sent
    return {
        "focal_length_mm": sweep.focal_length_mm,
        "focus_distance_m": sweep.focus_distance_m,
        "readings": [content for form in rows if (content := form.content())],
    }
