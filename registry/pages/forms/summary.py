"""What contributors would say of the lens themselves, beside what was measured."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms

from registry.pages.forms.evidence import NUMBER
from registry.reports.models import OwnSummary, SummarySays
from registry.reports.models.summary import ABOUT_A_STOP

LABELS = {
    SummarySays.CLEAN_TO: "clean to the f-number below",
    SummarySays.HOT_FROM: "hot from the f-number below on",
    SummarySays.CLEAN_ALL: "clean throughout",
    SummarySays.HOT_ALL: "hot throughout",
    SummarySays.NO_OPINION: "no opinion",
}


class SummaryForm(forms.Form):
    says = forms.ChoiceField(
        label="I would say it is",
        required=False,
        choices=list(LABELS.items()),
        widget=forms.RadioSelect,
    )
    f_number = forms.CharField(
        label="f-number", required=False, max_length=20, widget=forms.TextInput(NUMBER)
    )
    stands = forms.BooleanField(
        label="I have looked at those frames again: my summary stands",
        required=False,
    )
    answer = forms.CharField(label="Why, in a few words", required=False, max_length=300)

    @classmethod
    def of(cls, summary: OwnSummary | None) -> SummaryForm:
        if summary is None:
            return cls()
        stop = "" if summary.f_number is None else f"{summary.f_number:g}"
        said = {"says": summary.says, "f_number": stop, "stands": summary.stands, "answer": summary.answer}
        return cls(initial=said)

    @classmethod
    def anew(cls, summary: OwnSummary | None, data: Any) -> SummaryForm:
        """The form of a revision: what was said is filled in, standing by it is not. data: what was sent."""
        initial = cls.of(summary).initial
        return cls(data, initial={name: initial.get(name, "") for name in ("says", "f_number")}, prefix="own")

    def content(self) -> dict[str, Any] | None:
        """The summary as a report's contents hold it; None where it is taken away."""
        said = dict(self.said())
        standing = {name: self.cleaned_data[name] for name in ("stands", "answer")}
        return said | standing if said["says"] else None

    def said(self) -> Mapping[str, Any]:
        """What registry.reports.services.say_summary takes; a stop typed for a word that has none is left out."""
        says = self.cleaned_data["says"]
        about_a_stop = says in ABOUT_A_STOP
        return {"says": says, "f_number": self.cleaned_data["f_number"] if about_a_stop else None}
