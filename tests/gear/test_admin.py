"""The steward's desk for gear, people and the event log."""

import pytest
from django.contrib.admin.sites import site
from django.test import RequestFactory

from registry.accounts.models import Account
from registry.gear.models import Lens
from registry.ledger.models import Event
from tests.factories import AccountFactory, LensFactory

pytestmark = pytest.mark.django_db


def test_every_model_of_gear_people_and_ledger_that_stewards_tend_is_there():
    names = {model.__name__ for model in site._registry}
    assert names >= {"Maker", "Mount", "Lens", "Body", "Filter", "Teleconverter", "Adapter", "FactSource"}
    assert names >= {"Account", "Event"}


def test_an_address_once_given_is_not_edited():
    desk = site._registry[Lens]
    assert desk.get_readonly_fields(None, LensFactory()) == ["slug"]
    assert desk.get_readonly_fields(None, None) == []


def test_nobody_edits_the_event_log():
    desk, request = site._registry[Event], RequestFactory().get("/")
    request.user = AccountFactory(steward=True)
    assert not desk.has_add_permission(request)
    assert not desk.has_change_permission(request)
    assert not desk.has_delete_permission(request)


def test_a_role_is_changed_by_an_action_that_the_event_log_records(monkeypatch):
    desk, request = site._registry[Account], RequestFactory().get("/")
    request.user = AccountFactory(steward=True)
    told = []
    monkeypatch.setattr(desk, "message_user", lambda request, text, level=None: told.append(text))
    member = AccountFactory()
    desk.make_moderator(request, Account.objects.filter(pk=member.pk))
    member.refresh_from_db()
    assert member.role == "moderator"
    assert Event.objects.get().name == "account.role-changed"
    desk.make_contributor(request, Account.objects.filter(pk=request.user.pk))
    assert "is the only steward" in told[-1]
