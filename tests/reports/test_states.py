"""Whatever is done to a report, in whatever order, its life keeps its rules."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from registry.errors import CleanstopError
from registry.ledger.models import Event
from registry.reports import services
from registry.reports.models import Report, ReportState
from tests.factories import AccountFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db

# What leads where; anything else is refused and changes nothing.
MOVES = {
    ("submit", "draft"): "submitted",
    ("revise", "submitted"): "submitted",
    ("revise", "set-aside"): "set-aside",
    ("set aside", "submitted"): "set-aside",
    ("restore", "set-aside"): "submitted",
    ("withdraw", "submitted"): "withdrawn",
    ("withdraw", "set-aside"): "withdrawn",
    ("change", "draft"): "draft",
}
ACTS = {
    "submit": lambda report, author, moderator: services.submit_report(report=report, by=author),
    "revise": lambda report, author, moderator: services.revise_report(
        report=report, by=author, reason="clearer", changes={"notes": "again"}
    ),
    "set aside": lambda report, author, moderator: services.set_aside(
        report=report, by=moderator, reason="hedge"
    ),
    "restore": lambda report, author, moderator: services.restore(
        report=report, by=moderator, reason="new frames"
    ),
    "withdraw": lambda report, author, moderator: services.withdraw_report(
        report=report, by=author, reason="mistake"
    ),
    "change": lambda report, author, moderator: services.change_draft(report=report, by=author, notes="wind"),
}


@settings(
    max_examples=60,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(acts=st.lists(st.sampled_from(sorted(ACTS)), max_size=9))
def test_no_order_of_acts_leads_out_of_the_life_of_a_report(acts):
    moderator, report = AccountFactory(moderator=True), ReportFactory(grades={8: 1})
    state, revisions, events = "draft", 0, Event.objects.count()
    for act in acts:
        version = Report.objects.get(pk=report.pk).version
        allowed = (act, state) in MOVES
        try:
            ACTS[act](report, report.author, moderator)
            assert allowed, f"{act} must be refused when {state}"
        except CleanstopError:
            assert not allowed, f"{act} must be possible when {state}"
        state = MOVES.get((act, state), state)
        revisions += act == "revise" and allowed
        events += allowed and act != "change"
        stored = Report.objects.get(pk=report.pk)
        assert stored.state == state
        assert (stored.version > version) == allowed
        assert stored.revisions.count() == revisions == stored.revision - 1
        assert Event.objects.count() == events
        assert (stored.submitted_at is None) == (state == ReportState.DRAFT)
