"""One's own things on pages: reports by state with replies, account, tokens, all data, leaving."""

import io
import zipfile
from urllib.parse import urlsplit

import pytest
from allauth.mfa.totp.internal.auth import TOTP
from django.core import mail
from django.urls import reverse

from registry.accounts.models import Account, TokenGrant
from registry.accounts.services import issue_token
from registry.reports import services
from registry.reports.models import Reply, Report
from tests.factories import PASSWORD, AccountFactory, LensFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db
MINE, ACCOUNT, TOKENS, CLOSE = (
    reverse(name) for name in ("my-reports", "account", "account-tokens", "account-close")
)


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


@pytest.fixture
def submitted(contributor, lens):
    report = ReportFactory(author=contributor, lens=lens, grades={5.6: 0, 8: 2})
    return services.submit_report(report=report, by=contributor)


@pytest.fixture
def moderator():
    return AccountFactory(name="Harrier", moderator=True)


@pytest.fixture
def aside(submitted, moderator):
    return services.set_aside(report=submitted, by=moderator, reason="This shows a scene, not a target.")


# ---- my reports ----------------------------------------------------------------------------------


def test_reports_stand_under_their_state(signed_in, contributor, submitted):
    draft = ReportFactory(author=contributor, lens=LensFactory(name="Sedge 90 mm f/2"))
    gone = services.submit_report(report=ReportFactory(author=contributor, grades={8: 1}), by=contributor)
    services.withdraw_report(report=gone, by=contributor, reason="the wrong filter")
    page = text_of(signed_in.get(MINE))
    places = [
        page.index(words) for words in ("<h2>Drafts", str(draft.lens), "<h2>Submitted", str(submitted.lens))
    ]
    assert places == sorted(places)
    assert page.index("<h2>Withdrawn") < page.index("withdrawn: the wrong filter")


def test_a_report_that_was_set_aside_says_why_and_has_a_box_for_an_answer(signed_in, aside):
    page = text_of(signed_in.get(MINE))
    assert "Set aside: This shows a scene, not a target." in page
    assert reverse("report-reply", args=[aside.public_id]) in page
    assert page.index("<h2>Set aside") < page.index("<h2>Submitted")


def test_an_answer_is_shown_on_the_report_to_everyone(signed_in, client, aside):
    here = reverse("report-reply", args=[aside.public_id])
    response = signed_in.post(here, {"says": "It was a <wall>.\nTruly."})
    assert response.url == reverse("report", args=[aside.public_id]) + "#replies"
    client.logout()
    page = text_of(client.get(reverse("report", args=[aside.public_id])))
    assert "Wren, " in page and "It was a &lt;wall&gt;.<br>Truly." in page and "Your reply" not in page


def test_a_moderator_can_answer_back_on_the_report(client, aside, moderator):
    client.force_login(moderator)
    assert "Reply on this report" in text_of(client.get(reverse("report", args=[aside.public_id])))
    client.post(reverse("report-reply", args=[aside.public_id]), {"says": "Please send one more frame."})
    assert "Harrier, moderator, " in text_of(client.get(reverse("report", args=[aside.public_id])))


def test_an_empty_answer_is_asked_for_beside_its_field(signed_in, aside):
    response = signed_in.post(reverse("report-reply", args=[aside.public_id]), {"says": " "})
    assert response.status_code == 422 and 'id="id_says_error"' in text_of(response)
    assert not Reply.objects.exists()


def test_somebody_else_cannot_answer(client, aside):
    client.force_login(AccountFactory())
    response = client.post(reverse("report-reply", args=[aside.public_id]), {"says": "Me too."})
    assert response.status_code == 403 and not Reply.objects.exists()


def test_a_long_list_has_pages(signed_in, contributor, lens):
    for _ in range(51):
        services.submit_report(
            report=ReportFactory(author=contributor, lens=lens, grades={8: 1}), by=contributor
        )
    assert "Page 1 of 2" in text_of(signed_in.get(MINE))
    assert "Page 2 of 2" in text_of(signed_in.get(MINE, {"page": "2"}))


def test_someone_new_is_told_how_to_begin(signed_in):
    page = text_of(signed_in.get(MINE))
    for name in ("report-start", "report-relay", "bulk", "account"):
        assert reverse(name) in page


# ---- the account ---------------------------------------------------------------------------------


def test_the_account_page_leads_everywhere(signed_in):
    page = text_of(signed_in.get(ACCOUNT))
    for name in (
        "account-name", "account_email", "account_change_password", "mfa_index", "account-tokens", "account-data",
        "account-close",
    ):  # fmt: skip
        assert reverse(name) in page
    assert "not confirmed yet" in page and "Second factor</strong>: off" in page


@pytest.mark.parametrize(
    "name", ["account", "account-name", "account-tokens", "account-data", "account-close", "my-reports"]
)
def test_ones_own_pages_need_a_sign_in(client, name):
    assert client.get(reverse(name)).url.startswith(reverse("account_login"))


def test_the_public_name_can_be_changed_to_a_free_one(signed_in, contributor):
    AccountFactory(name="Rail")
    refused = signed_in.post(reverse("account-name"), {"name": "RAIL"})
    assert refused.status_code == 422 and "Someone is called" in text_of(refused)
    signed_in.post(reverse("account-name"), {"name": "Wren II"})
    contributor.refresh_from_db()
    assert contributor.name == "Wren II"


def test_a_token_is_shown_once_and_listed_without_its_secret(signed_in, contributor):
    response = signed_in.post(TOKENS, {"name": "desk", "scopes": ["read", "submit"], "days": "30"})
    secret = response.context["secret"]
    assert secret in text_of(response) and "no-store" in response["Cache-Control"]
    page = text_of(signed_in.get(TOKENS))
    assert secret not in page and "desk" in page and "read, submit" in page and "never" in page
    answer = signed_in.get(reverse("v1:me"), headers={"Authorization": f"Token {secret}", "Cookie": ""})
    assert answer.json()["name"] == "Wren"


def test_a_token_can_be_revoked_by_its_owner_only(signed_in, client, contributor):
    mine, _ = issue_token(account=contributor, name="desk", scopes=["read"])
    other, _ = issue_token(account=AccountFactory(), name="theirs", scopes=["read"])
    for grant in (mine, other):
        signed_in.post(reverse("account-token-revoke", args=[grant.pk]))
    assert list(TokenGrant.objects.values_list("name", flat=True)) == ["theirs"]


def test_a_contributor_is_offered_no_moderators_scope(signed_in, client, moderator):
    assert "moderate" not in [
        value for value, _ in signed_in.get(TOKENS).context["form"].fields["scopes"].choices
    ]
    refused = signed_in.post(TOKENS, {"name": "desk", "scopes": ["moderate"], "days": ""})
    assert refused.status_code == 422 and not TokenGrant.objects.exists()
    client.force_login(moderator)
    assert "act as a moderator" in text_of(client.get(TOKENS))


def test_all_that_is_mine_comes_as_one_zip(signed_in, submitted):
    response = signed_in.get(reverse("account-data"))
    archive = zipfile.ZipFile(io.BytesIO(b"".join(response.streaming_content)))
    assert response["Content-Type"] == "application/zip" and "attachment" in response["Content-Disposition"]
    assert f"reports/{submitted.public_id}.json" in archive.namelist()


# ---- leaving -------------------------------------------------------------------------------------


def test_what_leaving_means_is_said_before(signed_in, submitted):
    page = text_of(signed_in.get(CLOSE))
    assert "Your 1 report with" in page and "no verdict changes" in page and "can’t be undone" in page


def test_leaving_closes_the_account_and_signs_out(signed_in, client, submitted):
    response = signed_in.post(CLOSE, {"pictures": "leave", "password": PASSWORD}, follow=True)
    assert "Your account is closed." in text_of(response)
    assert client.get(ACCOUNT).status_code == 302
    assert Report.objects.get().author.name.startswith("Former contributor")
    again = client.post(
        reverse("account_login"), {"login": "member100@saltmarsh.example", "password": PASSWORD}
    )
    assert again.status_code == 200 and "not correct" in text_of(again)
    page = text_of(client.get(reverse("report", args=[submitted.public_id])))
    assert "Wren" not in page and "Former contributor" in page


@pytest.mark.parametrize("sent", [{"password": "guessed"}, {"password": ""}, {"pictures": ""}])
def test_leaving_needs_the_password_and_a_choice(signed_in, contributor, sent):
    response = signed_in.post(CLOSE, {"pictures": "leave", "password": PASSWORD} | sent)
    contributor.refresh_from_db()
    assert response.status_code == 422 and contributor.is_active and "guessed" not in text_of(response)


def test_the_password_cannot_be_guessed_there(signed_in, contributor):
    answers = [signed_in.post(CLOSE, {"pictures": "leave", "password": f"guess {n}"}) for n in range(12)]
    assert "tried too often" in text_of(answers[-1])
    signed_in.post(CLOSE, {"pictures": "leave", "password": PASSWORD})
    contributor.refresh_from_db()
    assert contributor.is_active


# ---- a confirmed address -------------------------------------------------------------------------


def test_where_letters_are_sent_a_confirmed_address_is_asked_for_before_submitting(client, lens, settings):
    settings.SUBMIT_NEEDS_CONFIRMED_EMAIL = True
    client.post(
        reverse("account_signup"),
        {"name": "Dunlin", "email": "dunlin@saltmarsh.example", "password1": PASSWORD},
    )
    dunlin = Account.objects.get(name="Dunlin")
    draft = ReportFactory(author=dunlin, lens=lens, grades={8: 1})
    submit = reverse("report-submit", args=[draft.public_id])
    refused = client.post(submit)
    assert refused.status_code == 422
    assert "email address is not confirmed" in text_of(refused)
    link = next(word for word in mail.outbox[0].body.split() if "/confirm-email/" in word)
    client.post(urlsplit(link).path)
    assert "confirmed." in text_of(client.get(ACCOUNT))
    client.post(submit)
    draft.refresh_from_db()
    assert draft.state == "submitted"


def test_letters_on_the_console_are_not_waited_for(settings):
    assert settings.SUBMIT_NEEDS_CONFIRMED_EMAIL is False


def test_signing_in_is_not_tried_without_end(client, contributor):
    wrong = {"login": contributor.email, "password": "guessed-at-dusk"}
    answers = [client.post(reverse("account_login"), wrong) for _ in range(12)]
    assert "Too many failed login attempts" in text_of(answers[-1])
    assert "_auth_user_id" not in client.session


def test_a_second_factor_once_set_up_is_asked_for(client, contributor):
    TOTP.activate(contributor, "JBSWY3DPEHPK3PXP")
    response = client.post(reverse("account_login"), {"login": contributor.email, "password": PASSWORD})
    assert response.url.startswith(reverse("mfa_authenticate"))
    assert client.get(ACCOUNT).status_code == 302
    client.force_login(contributor)
    assert "Second factor</strong>: on" in text_of(client.get(ACCOUNT))


def test_password_rules_are_said_where_one_is_chosen(client):
    for weak in ("short", "password1234", "1234567890"):
        page = client.post(
            reverse("account_signup"), {"name": "Rail", "email": "rail@saltmarsh.example", "password1": weak}
        )
        assert 'id="id_password1_error"' in text_of(page)
    assert not Account.objects.exists()
