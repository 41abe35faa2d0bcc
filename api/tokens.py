"""Tokens in the Authorization header."""

from __future__ import annotations

from knox.auth import TokenAuthentication
from rest_framework.exceptions import AuthenticationFailed

from registry.accounts.models import TokenGrant
from registry.accounts.services import note_token_use


class RegistryTokenAuthentication(TokenAuthentication):
    """The token library's, which also answers undecodable tokens politely and notes when a token was used."""

    def authenticate_credentials(self, token: bytes):
        try:
            account, found = super().authenticate_credentials(token)
        except UnicodeDecodeError as error:
            raise AuthenticationFailed("Invalid token.") from error
        found.known_grant = TokenGrant.objects.filter(token=found).first()
        if found.known_grant:
            note_token_use(found.known_grant)
        return account, found
