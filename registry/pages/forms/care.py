"""Flagging, settling flags, appealing."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta
from typing import Any

from django import forms

from registry.moderation.models import FlagReason
from registry.moderation.rules import LONGEST_REASON
from registry.moderation.services.appeals import LONGEST_APPEAL
from registry.reports.models import SampleImage


class FlagForm(forms.Form):
    """What a reader thinks is wrong with a report or one of its pictures."""

    image = forms.ChoiceField(label="What", required=False)
    reason_code = forms.ChoiceField(label="What may be wrong", choices=[("", "choose"), *FlagReason.choices])
    says = forms.CharField(
        label="What a moderator should look at",
        required=False,
        max_length=LONGEST_REASON,
        help_text="Only moderators read this, and only they see who flagged it.",
        widget=forms.Textarea(attrs={"rows": 3}),
    )

    def __init__(self, *arguments: Any, images: list[SampleImage], **named: Any):
        super().__init__(*arguments, **named)
        shown = [
            (image.public_id, f"picture {number}: {_called(image)}") for number, image in enumerate(images, 1)
        ]
        self.fields["image"].choices = [("", "the whole report"), *shown]


class BlockForm(forms.Form):
    """Why an account is to submit nothing, and until when."""

    reason = forms.CharField(
        label="Reason",
        max_length=LONGEST_REASON,
        help_text="Whom it concerns reads it.",
        widget=forms.Textarea(attrs={"rows": 2}),
    )
    until = forms.DateField(
        label="Until the end of",
        required=False,
        help_text="Without a day it lasts until someone lifts it.",
        widget=forms.DateInput(attrs={"type": "date", "class": "narrow"}),
    )

    def ends(self) -> datetime | None:
        """The midnight after the day, in UTC."""
        day = self.cleaned_data["until"]
        return day and datetime.combine(day, time(), tzinfo=UTC) + timedelta(days=1)


class AppealForm(forms.Form):
    says = forms.CharField(
        label="Why it should be looked at again",
        max_length=LONGEST_APPEAL,
        help_text="A moderator reads it who did not make the decision.",
        widget=forms.Textarea(attrs={"rows": 4}),
    )


def _called(image: SampleImage) -> str:
    stop = f"f/{image.f_number:g}" if image.f_number else "aperture not known"
    return f"{stop}, {image.focal_length_mm:g} mm" if image.focal_length_mm else stop
