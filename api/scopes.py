"""What a request may do: reading is open to anyone, the rest needs an account and the scope."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rest_framework import permissions
from rest_framework.exceptions import NotAuthenticated, PermissionDenied
from rest_framework.request import Request

from registry.accounts.rules import effective_scopes, scopes_allowed

if TYPE_CHECKING:  # the framework's views import this module while they load
    from rest_framework.views import APIView


def scopes_of(request: Request) -> frozenset[str]:
    """What this request may do: all that the account may, narrowed by its token's grant."""
    if not request.user.is_authenticated:
        return frozenset({"read"})
    if request.auth is None:
        return frozenset(scopes_allowed(request.user))
    grant = request.auth.known_grant
    return effective_scopes(request.user, grant.scopes if grant else ("read",))


class ScopePermission(permissions.BasePermission):
    """Views may set `scopes = {"POST": "moderate", "GET": "read"}` by method or by action, and
    `signed_in = True` where even reading is one's own affair."""

    def has_permission(self, request: Request, view: APIView) -> bool:
        scope = needed_scope(view, request.method)
        signed_in = request.user.is_authenticated
        if not signed_in and (scope != "read" or getattr(view, "signed_in", False)):
            raise NotAuthenticated()
        if scope not in scopes_of(request):
            raise PermissionDenied(
                f"This needs the scope “{scope}”, which this account or token doesn't have."
            )
        return True


def needed_scope(view: APIView, method: str) -> str:
    """The scope that a method of a view needs: read for safe methods and submit for others, unless it says."""
    stated = getattr(view, "scopes", {})
    default = "read" if method in permissions.SAFE_METHODS else "submit"
    return stated.get(getattr(view, "action", None)) or stated.get(method) or default
