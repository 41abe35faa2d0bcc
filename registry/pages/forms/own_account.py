"""What people change about their own account, and how they leave."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

from django import forms

from registry.accounts.models import Account
from registry.accounts.rules import LONGEST_NAME, SHORTEST_NAME, scopes_allowed
from registry.reports.services.leaving import LEAVE, TAKE_DOWN

SCOPE_WORDS = {
    "read": "read what is yours",
    "submit": "file reports and frames in your name",
    "moderate": "act as a moderator",
}
LIVES = (("30", "30 days"), ("90", "90 days"), ("365", "a year"), ("", "until I revoke it"))


class NameForm(forms.Form):
    name = forms.CharField(
        label="Name shown on your reports",
        min_length=SHORTEST_NAME,
        max_length=LONGEST_NAME,
        help_text="Everyone can see it. Earlier reports show the new name too.",
        widget=forms.TextInput(attrs={"autocomplete": "nickname"}),
    )


class TokenForm(forms.Form):
    """A token for a program. What it may do is at most what the account may."""

    name = forms.CharField(
        label="What it is for", max_length=60, help_text="Such as “folder command on the desk”."
    )
    scopes = forms.MultipleChoiceField(label="What it may do", widget=forms.CheckboxSelectMultiple)
    days = forms.ChoiceField(label="How long it holds", choices=LIVES, required=False, initial="365")

    def __init__(self, *args: Any, account: Account, **kwargs: Any):
        super().__init__(*args, **kwargs)
        allowed = scopes_allowed(account)
        self.fields["scopes"].choices = [(scope, SCOPE_WORDS[scope]) for scope in allowed]
        self.fields["scopes"].initial = [scope for scope in allowed if scope != "moderate"]

    def lives(self) -> timedelta | None:
        days = self.cleaned_data["days"]
        return timedelta(days=int(days)) if days else None


class ClosingForm(forms.Form):
    pictures = forms.ChoiceField(
        label="My pictures in public reports",
        choices=[
            (LEAVE, "stay under CC BY 4.0, credited to the pseudonym"),
            (TAKE_DOWN, "are taken down; what was measured in them stays"),
        ],
        widget=forms.RadioSelect,
    )
    password = forms.CharField(
        label="Your password, once more",
        strip=False,
        widget=forms.PasswordInput(attrs={"autocomplete": "current-password"}),
    )
