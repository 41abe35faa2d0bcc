import pytest
from django.core import mail
from django.core.cache import cache
from django.urls import reverse

from registry.accounts.models import Account
from tests.factories import PASSWORD, AccountFactory

pytestmark = pytest.mark.django_db
SIGN_UP, SIGN_IN = reverse("account_signup"), reverse("account_login")
WREN = {"name": "Wren", "email": "wren@saltmarsh.example", "password1": PASSWORD}


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def test_signing_up_takes_a_public_name(client):
    client.post(SIGN_UP, WREN)
    account = Account.objects.get()
    assert (account.name, account.email, account.role) == ("Wren", "wren@saltmarsh.example", "contributor")


def test_the_email_address_is_confirmed_by_a_letter(client):
    client.post(SIGN_UP, WREN)
    assert mail.outbox[0].to == ["wren@saltmarsh.example"]


def test_a_name_is_one_persons_whatever_its_case(client):
    AccountFactory(name="wren")
    response = client.post(SIGN_UP, WREN)
    assert "is taken" in text_of(response) and Account.objects.count() == 1


def test_nothing_but_the_password_has_to_be_typed_again(client):
    page = text_of(client.post(SIGN_UP, WREN | {"password1": "short"}))
    assert 'value="Wren"' in page and 'value="wren@saltmarsh.example"' in page
    assert 'id="id_password1_error"' in page


@pytest.mark.parametrize("missing", ["name", "email", "password1"])
def test_every_field_is_needed(client, missing):
    page = text_of(client.post(SIGN_UP, WREN | {missing: ""}))
    assert f'id="id_{missing}_error"' in page and Account.objects.count() == 0


def test_signing_in_leads_to_where_one_was_going(client):
    account = AccountFactory()
    response = client.post(
        SIGN_IN, {"login": account.email, "password": PASSWORD, "next": reverse("report-start")}
    )
    assert response.url == reverse("report-start")


def test_a_wrong_password_does_not_tell_whether_the_account_exists(client):
    known = client.post(SIGN_IN, {"login": AccountFactory().email, "password": "wrong-wrong"})
    unknown = client.post(SIGN_IN, {"login": "nobody@saltmarsh.example", "password": "wrong-wrong"})
    assert "not correct" in text_of(known) and "not correct" in text_of(unknown)


def test_after_five_wrong_passwords_even_the_right_one_has_to_wait(client):
    cache.clear()
    account = AccountFactory()
    for _ in range(5):
        client.post(SIGN_IN, {"login": account.email, "password": "wrong-wrong"})
    answer = client.post(SIGN_IN, {"login": account.email, "password": PASSWORD})
    assert answer.status_code == 200 and "Too many failed" in text_of(answer)
    assert "_auth_user_id" not in client.session
    cache.clear()


def test_signing_out_is_a_button_not_a_link(client):
    client.force_login(AccountFactory())
    client.get(reverse("account_logout"))
    assert "_auth_user_id" in client.session
    client.post(reverse("account_logout"))
    assert "_auth_user_id" not in client.session


@pytest.mark.parametrize("name", ["account_login", "account_signup", "account_reset_password"])
def test_account_pages_wear_our_look(client, name):
    page = text_of(client.get(reverse(name)))
    assert 'class="masthead"' in page and "<main" in page


@pytest.mark.parametrize("name", ["account_email", "account_change_password", "mfa_index", "account_logout"])
def test_pages_about_ones_account_wear_our_look(client, name):
    client.force_login(AccountFactory())
    assert 'class="masthead"' in text_of(client.get(reverse(name), follow=True))
