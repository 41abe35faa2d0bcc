"""How the accounts library makes our people."""

from allauth.account.adapter import DefaultAccountAdapter
from django.http import HttpRequest


class AccountAdapter(DefaultAccountAdapter):
    """A new account takes the public name that its sign-up form asks for."""

    def save_user(self, request: HttpRequest, user, form, commit: bool = True):
        user.name = form.cleaned_data["name"]
        return super().save_user(request, user, form, commit)
