"""Sign-up: an email address that stays private, and a name that everyone sees."""

from allauth.account.forms import SignupForm
from django import forms

from registry.accounts.models import Account


class SignUpForm(SignupForm):
    name = forms.CharField(
        label="Name shown on your reports",
        min_length=2,
        max_length=60,
        help_text="Everyone can see it. A pen name is fine; your email address is never shown.",
        widget=forms.TextInput(attrs={"autocomplete": "nickname"}),
    )
    field_order = ["name", "email", "password1"]

    def __init__(self, *args, **kwargs):
        super().__init__(*args, **kwargs)
        for field in self.fields.values():
            field.widget.attrs.pop("placeholder", None)

    def clean_name(self) -> str:
        name = " ".join(self.cleaned_data["name"].split())
        if Account.objects.filter(name__iexact=name).exists():
            raise forms.ValidationError(
                f"“{name}” is taken. Add your town or an initial so that readers can tell you apart."
            )
        return name
