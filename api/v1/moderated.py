"""What the desk's resources share: whose rows an asker sees, an act on a row that is what they saw, who is named."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

from django.db import transaction
from django.db.models import QuerySet
from drf_spectacular.utils import extend_schema_field
from rest_framework import serializers
from rest_framework.request import Request
from rest_framework.response import Response

from api.conditional import require_match, tagged
from api.scopes import scopes_of
from api.strict import StrictSerializer
from registry.accounts.models import Account
from registry.moderation.queries.log import name_of
from registry.moderation.rules import check_may_moderate

Row = TypeVar("Row")


@extend_schema_field(str)
class Named(serializers.Field):
    """A moderator, as this installation lets them be named; null for none."""

    def to_representation(self, account: Account) -> str:
        return name_of(account)


def sees_all(request: Request) -> bool:
    """Whether the asker sees everyone's rows rather than their own. Raises NotAllowed for a moderator whom this
    installation asks for a second factor first."""
    if "moderate" not in scopes_of(request):
        return False
    check_may_moderate(request.user)
    return True


def sent_as(kind: type[StrictSerializer], request: Request) -> dict[str, Any]:
    """What a request's body says. Raises InvalidInput with every problem."""
    sent = kind(data=request.data)
    sent.is_valid(raise_exception=True)
    return sent.validated_data


def act_on(
    request: Request,
    *,
    held: QuerySet,
    read: Callable[[], Row],
    act: Callable[[Row], Any],
    shown: Callable[[Row], dict[str, Any]],
) -> Response:
    """Do something to what is read, once the rows of held are locked, and answer with what it has become.

    Of two at once the second reads what the first did. If-Match may name what the asker saw. Raises HttpProblem.
    """
    with transaction.atomic():
        list(held.order_by("pk").select_for_update(no_key=True).values_list("pk", flat=True))
        row = read()
        if "If-Match" in request.headers:
            require_match(request, shown(row))
        act(row)
        return tagged(request, shown(read()))
