"""Answering on a report."""

from django import forms

from registry.reports.rules.replies import LONGEST_REPLY


class ReplyForm(forms.Form):
    says = forms.CharField(
        label="Your reply",
        required=False,
        max_length=LONGEST_REPLY,
        help_text="Everyone can read it, and it stays as it was said.",
        widget=forms.Textarea(attrs={"rows": 3}),
    )
