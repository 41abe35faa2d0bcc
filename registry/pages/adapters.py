"""How the accounts library makes our people."""

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest

from registry.accounts.addresses import note_address


class AccountAdapter(DefaultAccountAdapter):
    """A new account takes the public name that its sign-up form asks for."""

    def save_user(self, request: HttpRequest, user, form, commit: bool = True):
        user.name = form.cleaned_data["name"]
        account = super().save_user(request, user, form, commit)
        if commit:
            note_address(account)
        return account
