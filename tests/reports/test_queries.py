"""Who sees what of reports and frames."""

import pytest
from django.contrib.auth.models import AnonymousUser

from registry.errors import NotFound
from registry.reports import queries, services
from tests.factories import AccountFactory
from tests.report_factories import ReportFactory, jpeg_upload

pytestmark = pytest.mark.django_db


@pytest.fixture
def draft():
    return ReportFactory(basis="measured")


@pytest.fixture
def submitted(draft, drain):
    services.add_frame(report=draft, by=draft.author, file=jpeg_upload())
    drain()
    return services.submit_report(report=draft, by=draft.author)


@pytest.mark.parametrize("stranger", [None, AnonymousUser()])
def test_a_draft_is_its_author_s_only(draft, stranger):
    assert queries.report_page(draft.public_id, draft.author).report == draft
    with pytest.raises(NotFound):
        queries.report_page(draft.public_id, stranger)
    with pytest.raises(NotFound):
        queries.report_page(draft.public_id, AccountFactory())


def test_a_submitted_report_is_everyone_s_with_its_frames(submitted):
    page = queries.report_page(submitted.public_id, None)
    assert [len(sweep.readings) for sweep in page.sweeps] == [1]
    assert page.frames[0].shown.ev is not None
    assert not page.may_edit
    image = page.frames[0].image
    assert queries.image_for(image.public_id, None) == image


def test_a_withdrawn_report_only_says_that_it_was_there(submitted):
    image = submitted.images.get()
    services.withdraw_report(report=submitted, by=submitted.author, reason="wrong lens")
    page = queries.report_page(submitted.public_id, None)
    assert (page.report, page.sweeps, page.frames) == (submitted, [], [])
    with pytest.raises(NotFound):
        queries.image_for(image.public_id, AccountFactory())
    assert queries.image_for(image.public_id, submitted.author) == image


def test_frames_of_a_draft_are_shown_to_their_owner_only(draft):
    image = services.add_frame(report=draft, by=draft.author, file=jpeg_upload())
    assert queries.image_for(image.public_id, draft.author) == image
    with pytest.raises(NotFound):
        queries.image_for(image.public_id, AccountFactory())


def test_progress_counts_frames_that_wait(draft):
    services.add_frame(report=draft, by=draft.author, file=jpeg_upload())
    progress = queries.progress(draft)
    assert (progress.arrived, progress.waiting, progress.measured, progress.done) == (1, 1, 0, False)


def test_drafts_and_reports_of_an_account_are_apart(submitted):
    other = ReportFactory(author=submitted.author)
    assert list(queries.drafts_of(submitted.author)) == [other]
    assert list(queries.reports_of(submitted.author)) == [submitted]


def test_a_report_page_takes_few_statements_however_many_frames(submitted, django_assert_max_num_queries):
    with django_assert_max_num_queries(9):
        queries.report_page(submitted.public_id, None)
