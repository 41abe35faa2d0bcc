"""How an account is written to."""

from __future__ import annotations

from django import forms

from registry.watching.models import MailChoice, NoticeMail, Rhythm, Scope


class MailForm(forms.Form):
    notices = forms.ChoiceField(
        label="Notices about my lenses and reports",
        choices=NoticeMail.choices,
        widget=forms.RadioSelect,
        help_text="They are always on the notices page; this is about mail.",
    )
    digest = forms.ChoiceField(
        label="A digest of what changed", choices=Rhythm.choices, widget=forms.RadioSelect
    )
    scope = forms.ChoiceField(
        label="The digest tells of",
        choices=Scope.choices,
        widget=forms.RadioSelect,
        help_text="My lenses: those you watch, reported on, or have in your bag.",
    )

    @staticmethod
    def initial_from(choice: MailChoice) -> dict[str, str]:
        return {"notices": choice.notices, "digest": choice.digest, "scope": choice.scope}
