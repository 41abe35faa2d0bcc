"""Programs ask which files are here already, so that an upload that broke off sends only the rest."""

import hashlib

import pytest

from registry.reports import services
from tests.api.conftest import with_token
from tests.factories import AccountFactory
from tests.report_factories import ReportFactory, jpeg_upload, photographed

pytestmark = pytest.mark.django_db
KNOWN = "/api/v1/images/known/"


@pytest.fixture
def contents():
    return [jpeg_upload(photographed(frame=number, size=(300, 200))).read() for number in range(2)]


def digest(content):
    return hashlib.sha256(content).hexdigest()


def test_a_program_learns_what_is_still_to_be_sent(as_contributor, contributor, contents):
    first, second = map(digest, contents)
    image = services.keep_image(by=contributor, file=jpeg_upload(photographed(frame=0, size=(300, 200))))
    answer = as_contributor.post(KNOWN, {"content_hashes": [first.upper(), second, second]})
    assert answer.status_code == 200
    assert [known["id"] for known in answer.json()["known"]] == [image.public_id]
    assert answer.json()["missing"] == [second]


def test_it_can_ask_about_one_report_only(as_contributor, contributor, contents):
    draft = ReportFactory(basis="measured", author=contributor)
    services.keep_image(by=contributor, file=jpeg_upload(photographed(frame=0, size=(300, 200))))
    answer = as_contributor.post(KNOWN, {"content_hashes": [digest(contents[0])], "report": draft.public_id})
    assert answer.json() == {"known": [], "missing": [digest(contents[0])]}


def test_other_people_s_files_are_not_admitted_to_be_here(as_contributor, contents):
    services.keep_image(by=AccountFactory(), file=jpeg_upload(photographed(frame=0, size=(300, 200))))
    answer = as_contributor.post(KNOWN, {"content_hashes": [digest(contents[0])]})
    assert answer.json()["known"] == []


def test_asking_needs_an_account_and_only_the_scope_to_read(anyone, contributor, contents):
    question = {"content_hashes": [digest(contents[0])]}
    assert anyone.post(KNOWN, question).status_code == 401
    assert with_token(contributor, "read").post(KNOWN, question).status_code == 200


@pytest.mark.parametrize("hashes", [[], ["abc"], "abc", [5], ["0" * 63 + "g"]])
def test_what_is_no_hash_is_refused(as_contributor, hashes):
    answer = as_contributor.post(KNOWN, {"content_hashes": hashes})
    assert answer.status_code == 422 and "content_hashes" in answer.content.decode()
