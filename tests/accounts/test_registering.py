"""Opening an account, its public name and its role."""

import pytest
from django.db import IntegrityError, transaction

from registry.accounts.models import Account, Role
from registry.accounts.queries import account_by_public_id
from registry.accounts.rules import clean_public_name
from registry.accounts.services import change_role, register, rename
from registry.errors import Conflict, InvalidInput, NotAllowed, NotFound
from registry.ledger.models import Event
from tests.factories import PASSWORD, AccountFactory

pytestmark = pytest.mark.django_db


def registered(**changed):
    stated = {"email": "Wren@Saltmarsh.example", "name": "Wren of the Dunes", "password": PASSWORD}
    return register(**(stated | changed))


class TestRegistering:
    def test_an_account_is_a_contributor_s_and_can_sign_in(self):
        account = registered()
        assert (account.role, account.email) == (Role.CONTRIBUTOR, "wren@saltmarsh.example")
        assert account.check_password(PASSWORD)

    def test_the_event_log_names_no_email(self):
        account = registered()
        event = Event.objects.get()
        assert (event.name, event.subject_id, event.data) == ("account.registered", account.public_id, {})

    def test_every_wrong_field_is_told_at_once_and_the_password_is_not_repeated(self):
        with pytest.raises(InvalidInput) as refusal:
            registered(email="wren", name="", password="dunlin", role="owner")
        problems = refusal.value.problems
        assert {problem.field for problem in problems} == {"email", "name", "password", "role"}
        assert not any(
            "dunlin" in f"{problem} {problem.value}" for problem in problems if problem.field == "password"
        )

    @pytest.mark.parametrize(
        "same, field",
        [({"email": "WREN@saltmarsh.EXAMPLE"}, "email"), ({"name": "wren OF the dunes"}, "name")],
    )
    def test_an_address_or_name_is_taken_in_any_case(self, same, field):
        registered()
        with pytest.raises(Conflict) as refusal:
            registered(**({"email": "other@saltmarsh.example", "name": "Other"} | same))
        assert [problem.field for problem in refusal.value.problems] == [field]

    def test_the_database_itself_refuses_a_second_name_in_another_case(self):
        AccountFactory(name="Wren")
        with pytest.raises(IntegrityError), transaction.atomic():
            AccountFactory(name="WREN")


class TestPublicNames:
    @pytest.mark.parametrize(
        "text, name",
        [
            ("  Wren   of the Dunes ", "Wren of the Dunes"),
            ("Ｗｒｅｎ", "Wren"),
            ("Åsa", "Åsa"),
            ("王小明", "王小明"),
        ],
    )
    def test_are_brought_to_one_form(self, text, name):
        assert clean_public_name(text) == name

    @pytest.mark.parametrize(
        "text", ["", "W", "W" * 61, "Wr\u202een", "Wr\u200ben", "Wr\x00en", "wren@saltmarsh.example"]
    )
    def test_that_hide_something_or_are_no_name_are_refused(self, text):
        with pytest.raises(InvalidInput):
            clean_public_name(text)

    def test_can_be_changed_to_one_that_is_free(self):
        account, other = AccountFactory(name="Wren"), AccountFactory(name="Rail")
        assert rename(account=account, name="WREN").name == "WREN"
        with pytest.raises(Conflict):
            rename(account=account, name=other.name.upper())


class TestRoles:
    def test_a_steward_makes_a_moderator_and_the_event_log_knows(self):
        steward, member = AccountFactory(steward=True), AccountFactory()
        assert change_role(account=member, role=Role.MODERATOR, by=steward).moderates
        event = Event.objects.get()
        assert (event.actor, event.data) == (
            steward.public_id,
            {"before": "contributor", "after": "moderator"},
        )

    @pytest.mark.parametrize("by", [{}, {"moderator": True}, {"steward": True, "is_active": False}])
    def test_nobody_else_does(self, by):
        with pytest.raises(NotAllowed):
            change_role(account=AccountFactory(), role=Role.MODERATOR, by=AccountFactory(**by))

    def test_only_stewards_have_the_steward_s_desk(self):
        steward = AccountFactory(steward=True)
        second = change_role(account=AccountFactory(), role=Role.STEWARD, by=steward)
        assert second.is_staff
        assert not change_role(account=second, role=Role.CONTRIBUTOR, by=steward).is_staff

    def test_the_last_steward_cannot_step_down(self):
        steward = AccountFactory(steward=True)
        with pytest.raises(Conflict, match="only steward"):
            change_role(account=steward, role=Role.CONTRIBUTOR, by=steward)

    def test_an_unknown_role_is_refused(self):
        with pytest.raises(InvalidInput, match="Choose one of contributor"):
            change_role(account=AccountFactory(), role="owner", by=AccountFactory(steward=True))

    def test_a_closed_account_moderates_nothing(self):
        assert not AccountFactory(moderator=True, is_active=False).moderates


def test_accounts_are_found_by_public_id_only():
    account = AccountFactory()
    assert account_by_public_id(account.public_id) == account
    with pytest.raises(NotFound):
        account_by_public_id("nobody0000")


def test_a_superuser_made_by_django_s_command_is_a_steward():
    account = Account.objects.create_superuser("keeper@saltmarsh.example", PASSWORD)
    assert (account.role, account.is_staff, account.name) == (Role.STEWARD, True, "keeper")
