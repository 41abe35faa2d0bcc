"""What was said stays said: the database itself refuses to change replies and earlier revisions."""

import pytest
from django.db import DatabaseError, transaction

from registry.reports import services
from registry.reports.models import Reply, ReportRevision
from registry.reports.services.replies import reply_on_report
from tests.factories import AccountFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def report():
    """A report with one earlier revision and one reply."""
    report = ReportFactory(grades={2.8: 0, 5.6: 1, 8: 2}, notes="dusk")
    services.submit_report(report=report, by=report.author)
    services.revise_report(report=report, by=report.author, reason="a slip", changes={"notes": "dawn"})
    reply_on_report(report=report, by=report.author, says="It was foggy.")
    return report


@pytest.mark.parametrize("kind", [Reply, ReportRevision])
def test_no_row_is_deleted(report, kind):
    with pytest.raises(DatabaseError, match=r"a reply stays|a revision is kept"), transaction.atomic():
        kind.objects.all().delete()
    assert kind.objects.count() == 1


@pytest.mark.parametrize("change", [{"says": "It was sunny."}, {"about": "draft"}, {"by": None}])
def test_a_reply_is_not_reworded(report, change):
    if "by" in change:
        change = {"by": AccountFactory()}
    with pytest.raises(DatabaseError, match="a reply stays as it was said"), transaction.atomic():
        Reply.objects.update(**change)


@pytest.mark.parametrize(
    "change",
    [{"reason": "another"}, {"number": 7}, {"content": {}}, {"by": None}, {"content": {"notes": "x"}}],
)
def test_a_revision_is_not_rewritten(report, change):
    with pytest.raises(DatabaseError, match="a revision is kept as it was"), transaction.atomic():
        ReportRevision.objects.update(**change)


@pytest.mark.parametrize("member", ["notes", "sweeps", "citation_title"])
def test_of_what_a_revision_says_nothing_changes(report, member):
    revision = report.revisions.get()
    revision.content[member] = "otherwise"
    with pytest.raises(DatabaseError, match="a revision is kept as it was"), transaction.atomic():
        revision.save()


def test_only_a_persons_name_in_it_gives_way(report):
    revision = report.revisions.get()
    revision.content["tester_name"] = "Former contributor 7"
    revision.save()
    assert report.revisions.get().content["tester_name"] == "Former contributor 7"
