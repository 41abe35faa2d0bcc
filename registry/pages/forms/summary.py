"""What contributors would say of the lens themselves, beside what was measured."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from django import forms

from registry.pages.forms.evidence import NUMBER
from registry.reports.models import OwnSummary, SummarySays
from registry.reports.models.summary import ABOUT_A_STOP

# Its fields belong to the form at the foot of the page, wherever they stand.
FORM = {"form": "submit-form"}
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
        widget=forms.RadioSelect(FORM),
    )
    f_number = forms.CharField(
        label="f-number", required=False, max_length=20, widget=forms.TextInput(NUMBER | FORM)
    )
    stands = forms.BooleanField(
        label="I have looked at those frames again: my summary stands",
        required=False,
        widget=forms.CheckboxInput(FORM),
    )
    answer = forms.CharField(
        label="Why, in a few words", required=False, max_length=300, widget=forms.TextInput(FORM)
    )

    @classmethod
    def of(cls, summary: OwnSummary | None) -> SummaryForm:
        if summary is None:
            return cls()
        stop = "" if summary.f_number is None else f"{summary.f_number:g}"
        said = {"says": summary.says, "f_number": stop, "stands": summary.stands, "answer": summary.answer}
        return cls(initial=said)

    def said(self) -> Mapping[str, Any]:
        """What registry.reports.services.say_summary takes; a stop typed for a word that has none is left out."""
        says = self.cleaned_data["says"]
        about_a_stop = says in ABOUT_A_STOP
        return {"says": says, "f_number": self.cleaned_data["f_number"] if about_a_stop else None}
