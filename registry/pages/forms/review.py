"""Deciding on a conflict or a report."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django import forms

from registry.accounts.models import Account
from registry.moderation.rules import LONGEST_REASON, REASONS
from registry.reports.models import FilterPosition, Report

REASON_HELP = "Everyone reads it beside the decision, the author with it."
ACTS = (
    ("ask", "Ask the author"),
    ("set-aside", "Set aside"),
    ("restore", "Let it count again"),
    ("same-copy", "Count as tests of one copy"),
    ("same-source", "Count as one source"),
    ("same-frames", "Count as the same frames"),
    ("split", "State what holds by condition"),
    ("accept", "Accept as unexplained copy variation"),
)


class DecisionForm(forms.Form):
    """One decision. version: of the conflict as it was seen; seen: the last event that was told."""

    act = forms.ChoiceField(label="Decision", choices=ACTS, widget=forms.RadioSelect)
    reports = forms.MultipleChoiceField(
        label="Which reports", required=False, widget=forms.CheckboxSelectMultiple
    )
    factor = forms.ChoiceField(label="By which condition", required=False, choices=())
    reason_code = forms.ChoiceField(
        label="Kind of reason",
        required=False,
        choices=[("", "only for setting aside"), *REASONS.items()],
    )
    reason = forms.CharField(
        label="Reason, or the question",
        required=False,
        max_length=LONGEST_REASON,
        help_text=REASON_HELP,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    due = forms.DateField(
        label="Answer wanted by",
        required=False,
        help_text="Of a question; two weeks from now unless stated.",
        widget=forms.DateInput(attrs={"type": "date", "class": "narrow"}),
    )
    version = forms.IntegerField(required=False, widget=forms.HiddenInput)
    seen = forms.IntegerField(required=False, widget=forms.HiddenInput)

    def __init__(
        self, *arguments: Any, reports: list[tuple[str, str]], factors: list[tuple[str, str]], **named: Any
    ):
        super().__init__(*arguments, **named)
        self.fields["reports"].choices = reports
        if factors:
            self.fields["factor"].choices = [("", "only for that decision"), *factors]
        else:
            del self.fields["factor"]
            self.fields["act"].choices = [choice for choice in ACTS if choice[0] != "split"]


class ReasonForm(forms.Form):
    """Why one agrees, declines or takes back."""

    reason = forms.CharField(
        label="Reason",
        required=False,
        max_length=LONGEST_REASON,
        help_text=REASON_HELP,
        widget=forms.Textarea(attrs={"rows": 2}),
    )


class VoicesForm(forms.Form):
    """Whether accounts are one person's."""

    act = forms.ChoiceField(
        label="Decision",
        choices=[
            ("own-voices", "They are people of their own: don’t raise it again"),
            ("same-voice", "Count them as one voice"),
        ],
        widget=forms.RadioSelect,
    )
    accounts = forms.MultipleChoiceField(label="Which accounts", widget=forms.CheckboxSelectMultiple)
    reason = forms.CharField(
        label="Reason",
        required=False,
        max_length=LONGEST_REASON,
        help_text="Everyone reads it beside the decision, those concerned with it: name no address.",
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, *arguments: Any, accounts: Sequence[Account], **named: Any):
        super().__init__(*arguments, **named)
        self.fields["accounts"].choices = [(one.public_id, str(one)) for one in accounts]
        self.fields["accounts"].initial = [one.public_id for one in accounts]


class GearForm(forms.Form):
    """What gear was really used. Fields that stay as they are, are not sent on."""

    lens = forms.CharField(
        label="Lens", max_length=140, help_text="Its name, or its short name in the address."
    )
    filter = forms.CharField(
        label="Filter", max_length=140, required=False, help_text="Empty for none on the lens."
    )
    filter_position = forms.ChoiceField(
        label="Where the filter sat",
        required=False,
        choices=[("", "no filter, or not stated"), *FilterPosition.choices],
    )
    body = forms.CharField(
        label="Camera body",
        max_length=140,
        required=False,
        help_text="Only where the report names no camera of its author’s.",
    )
    reason = forms.CharField(
        label="Reason",
        required=False,
        max_length=LONGEST_REASON,
        help_text=REASON_HELP,
        widget=forms.Textarea(attrs={"rows": 3}),
    )
    version = forms.IntegerField(required=False, widget=forms.HiddenInput)

    @classmethod
    def of(cls, report: Report, data: Any = None) -> GearForm:
        form = cls(
            data,
            initial={
                "lens": report.lens.slug,
                "filter": report.filter.slug if report.filter else "",
                "filter_position": report.filter_position,
                "body": report.body.slug if report.body else "",
                "version": report.version,
            },
        )
        if report.rig_id:
            del form.fields["body"]
        return form

    def changes(self) -> dict[str, Any]:
        gear = ("lens", "filter", "filter_position", "body")
        return {name: self.cleaned_data[name] for name in self.changed_data if name in gear}


class InterestForm(forms.Form):
    """A lens or a maker that one earns by."""

    lens = forms.CharField(label="A lens", max_length=140, required=False)
    maker = forms.ChoiceField(label="Or all lenses of a maker", required=False, choices=())

    def __init__(self, *arguments: Any, makers: list[tuple[str, str]], **named: Any):
        super().__init__(*arguments, **named)
        self.fields["maker"].choices = [("", "choose"), *makers]
