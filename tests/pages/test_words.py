"""Pages that explain, error pages, and what every page promises."""

import ast
import html
import re
from pathlib import Path

import pytest
from django.core.exceptions import PermissionDenied, RequestDataTooBig
from django.test import Client
from django.urls import reverse

from registry.errors import Conflict, InvalidInput, NotAllowed, NotFound, Problem, TooLarge, Unreadable
from registry.pages.explanations import EXPLANATIONS, explanation_of
from registry.pages.problems import ProblemPages
from registry.pages.views import errors
from tests.factories import LensFactory
from tests.pages.conftest import frame

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).parents[2]
PUBLIC = ["home", "method", "problems", "account_login", "account_signup"]


def text_of(response) -> str:
    return " ".join(response.content.decode().split())


def test_the_method_page_takes_its_numbers_from_where_they_are_used(client, monkeypatch):
    assert "0.10 EV is 7 % more light" in text_of(client.get(reverse("method")))
    monkeypatch.setattr("registry.consensus.constants.SAFE_CHANCE", 0.66)
    assert "66 %" in text_of(client.get(reverse("method")))


def test_the_method_page_gives_the_cautions(client):
    page = text_of(client.get(reverse("method")))
    for danger in ("sun", "no eye protection", "flash capacitor", "IEC 62471", "local rules"):
        assert danger in page


def codes_in_the_source() -> set[str]:
    """Every literal code given to a Problem, or to the helpers that make one."""
    codes = set()
    for room in ("registry", "api"):
        for path in (ROOT / room).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text())):
                called = (
                    getattr(node.func, "id", getattr(node.func, "attr", ""))
                    if isinstance(node, ast.Call)
                    else ""
                )
                if called in ("Problem", "Refusal", "refusal", "refuse", "Kind", "_problem", "refused"):
                    place = 1 if called == "refused" else 0  # which says first what is wrong
                    given = [word.value for word in node.keywords if word.arg == "code"]
                    given = given or node.args[place : place + 1]
                    codes |= {
                        one.value
                        for one in given
                        if isinstance(one, ast.Constant) and isinstance(one.value, str)
                    }
    return codes


def test_every_kind_of_problem_in_the_source_is_explained():
    codes = codes_in_the_source()
    assert len(codes) > 60
    assert sorted(code for code in codes if explanation_of(code) is None) == []


def test_every_type_of_problem_is_the_address_of_a_page_that_says_what_to_do(client):
    for code in sorted(codes_in_the_source()):
        page = client.get(f"/problems/{code}", follow=True)
        assert page.status_code == 200, code
        assert html.escape(explanation_of(code).remedy[:30]).split("’")[0] in text_of(page), code


def test_no_explanation_is_for_nothing():
    codes = codes_in_the_source()
    unused = [
        known.title for known in EXPLANATIONS if not any(explanation_of(code) is known for code in codes)
    ]
    assert unused == []


def test_an_explanation_stands_at_the_problems_address(client):
    page = text_of(client.get(reverse("problem", args=["f-number-not-marked"])))
    assert "An f-number that no lens shows" in page and "f-number-not-marked" in page


def test_a_made_up_kind_of_problem_is_not_explained(client):
    assert client.get(reverse("problem", args=["made-up"])).status_code == 404


def test_a_wrong_address_helps_on(client):
    response = client.get("/lensen/")
    assert response.status_code == 404
    assert "/lensen/" in text_of(response) and 'role="search"' in text_of(response)


@pytest.mark.parametrize(
    ("error", "status"),
    [
        (InvalidInput, 422),
        (NotAllowed, 403),
        (NotFound, 404),
        (Conflict, 409),
        (TooLarge, 413),
        (Unreadable, 422),
    ],
)
def test_an_error_of_ours_becomes_a_page_that_says_what_to_do(rf, error, status):
    raised = error(Problem("some-code", "The tide is out.", "Wait for the flood."))
    response = ProblemPages(lambda request: None).process_exception(rf.get("/"), raised)
    assert response.status_code == status
    assert "The tide is out." in text_of(response) and "Wait for the flood." in text_of(response)


def test_the_api_answers_for_its_own_errors(rf):
    raised = NotFound(Problem("some-code", "The tide is out.", "Wait."))
    assert ProblemPages(lambda request: None).process_exception(rf.get("/api/v1/lenses/x"), raised) is None


def test_too_much_at_once_is_answered_with_what_to_do(rf):
    response = errors.bad_request(rf.post("/"), RequestDataTooBig("too big"))
    assert response.status_code == 413 and "in several lots" in text_of(response)


def test_too_many_files_at_once_are_answered_with_what_to_do(signed_in, draft, settings):
    settings.DATA_UPLOAD_MAX_NUMBER_FILES = 2
    address = reverse("report-frames", args=[draft.public_id])
    response = signed_in.post(address, {"frames": [frame(8, f"{i}.jpg") for i in range(3)]})
    assert response.status_code == 413 and "in several lots" in text_of(response)


def test_a_forbidden_page_says_so(rf):
    response = errors.not_allowed(rf.get("/"), PermissionDenied())
    assert response.status_code == 403 and "Sign in" in text_of(response)


def test_a_form_that_was_open_too_long_says_so(contributor):
    client = Client(enforce_csrf_checks=True)
    client.force_login(contributor)
    response = client.post(reverse("report-start"), {"lens_name": "x"})
    assert response.status_code == 403 and "open too long" in text_of(response)


def test_our_own_failure_shows_no_traceback(client, monkeypatch):
    def break_it(*args, **kwargs):
        raise RuntimeError("secret detail")

    monkeypatch.setattr("registry.pages.views.look_up.LensList", break_it)
    client.raise_request_exception = False
    response = client.get(reverse("home"))
    assert response.status_code == 500
    assert "our side" in text_of(response) and "secret detail" not in text_of(response)


def test_even_a_broken_template_leaves_a_page_that_helps(rf, monkeypatch):
    monkeypatch.setattr("registry.pages.views.errors.loader.render_to_string", lambda *a, **k: 1 / 0)
    response = errors.broken(rf.get("/"))
    assert response.status_code == 500 and "safe" in text_of(response)


# ---- every page ----------------------------------------------------------------------------------


@pytest.mark.parametrize("name", PUBLIC)
def test_pages_allow_no_style_or_script_that_is_not_ours(client, name):
    LensFactory()
    response = client.get(reverse(name))
    policy = response["Content-Security-Policy"]
    assert "'unsafe-inline'" not in policy and "'unsafe-eval'" not in policy and "style-src 'self'" in policy
    page = response.content.decode()
    assert " style=" not in page and "<style" not in page and " onclick" not in page
    assert "http://" not in page.replace("http://www.w3.org", "") and "https://" not in page


@pytest.mark.parametrize("name", PUBLIC)
def test_pages_have_one_heading_a_title_a_language_and_a_way_past_the_menu(client, name):
    page = text_of(client.get(reverse(name)))
    assert page.count("<h1") == 1 and "<title>" in page and '<html lang="en">' in page
    assert 'class="skip" href="#content"' in page


@pytest.mark.parametrize("name", [*PUBLIC, "report-start", "propose-lens", "my-reports"])
def test_every_field_has_a_label(signed_in, name):
    page = signed_in.get(reverse(name), follow=True).content.decode()
    fields = re.findall(r"<(?:input|select|textarea)\b[^>]*>", page)
    labelled = set(re.findall(r'<label[^>]*\bfor="([^"]+)"', page))
    for field in fields:
        kind = re.search(r'type="([^"]+)"', field)
        if kind and kind[1] in ("hidden", "radio", "checkbox"):
            continue
        assert re.search(r'\bid="([^"]+)"', field)[1] in labelled, field
