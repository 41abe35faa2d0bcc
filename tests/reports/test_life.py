"""The life of a report: draft, submitted, revised, set aside, restored, withdrawn."""

import pytest

from registry.errors import Conflict, InvalidInput, NotAllowed
from registry.ledger.models import Event
from registry.reports import services
from registry.reports.models import Report, ReportState
from tests.factories import AccountFactory, FilterFactory, LensFactory
from tests.report_factories import ClaimFactory, FindingFactory, ReportFactory, RigFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def moderator():
    return AccountFactory(moderator=True)


@pytest.fixture
def draft():
    return ReportFactory(grades={5.6: 0, 8: 1, 11: 2})


@pytest.fixture
def submitted(draft):
    return services.submit_report(report=draft, by=draft.author)


def test_a_draft_begins_with_what_follows_from_rig_and_filter():
    rig, filter_item = RigFactory(cut_on_nm=665), FilterFactory(cut_on_nm=720)
    lens = LensFactory()
    report = services.start_draft(
        author=rig.owner, lens=lens, basis="measured", rig=rig, filter=filter_item, filter_position="front"
    )
    assert (report.state, report.cut_on_nm, report.light_group) == ("draft", 720, "")
    assert report.body == rig.body


def test_a_submitted_report_counts_at_once_and_the_ledger_says_so(draft):
    report = services.submit_report(report=draft, by=draft.author)
    assert report.state == ReportState.SUBMITTED
    assert report.submitted_at is not None
    event = Event.objects.get(name="report.submitted")
    assert (event.subject_kind, event.subject_id) == ("report", report.public_id)
    assert event.data["lens"] == report.lens.slug


def test_a_report_that_says_nothing_is_not_taken():
    draft = ReportFactory()
    with pytest.raises(InvalidInput) as refused:
        services.submit_report(report=draft, by=draft.author)
    assert refused.value.first.code == "nothing-said"
    assert Report.objects.get().state == ReportState.DRAFT


def test_a_measured_report_needs_a_measured_frame():
    draft = ReportFactory(basis="measured", grades={8: 0})
    with pytest.raises(InvalidInput) as refused:
        services.submit_report(report=draft, by=draft.author)
    assert refused.value.first.code == "nothing-measured"


def test_a_relay_names_its_source_and_its_tester():
    draft = ReportFactory(relayed=True, citation_title="", tester_name="", grades={8: 0})
    with pytest.raises(InvalidInput) as refused:
        services.submit_report(report=draft, by=draft.author)
    assert {problem.field for problem in refused.value.problems} == {"citation_title", "tester_name"}


def test_having_searched_and_found_nothing_is_worth_filing():
    draft = ReportFactory(relayed=True)
    services.enter_claim(report=draft, by=draft.author, says="nothing_found")
    assert services.submit_report(report=draft, by=draft.author).state == ReportState.SUBMITTED


def test_visible_light_is_no_infrared_test():
    author = AccountFactory()
    draft = ReportFactory(author=author, rig=RigFactory(owner=author, unconverted=True), grades={8: 0})
    with pytest.raises(InvalidInput) as refused:
        services.submit_report(report=draft, by=draft.author)
    assert refused.value.first.code == "not-infrared"


def test_only_its_author_changes_or_submits_a_draft(draft):
    stranger = AccountFactory()
    with pytest.raises(NotAllowed):
        services.submit_report(report=draft, by=stranger)
    with pytest.raises(NotAllowed):
        services.change_draft(report=draft, by=stranger, notes="mine now")


def test_a_submitted_report_is_not_edited_but_revised(submitted):
    with pytest.raises(Conflict) as refused:
        services.change_draft(report=submitted, by=submitted.author, notes="quietly changed")
    assert "Revise" in refused.value.first.remedy


def test_a_revision_keeps_what_was_said_before(submitted):
    ClaimFactory(report=submitted, f_number=8)
    FindingFactory(report=submitted)
    services.revise_report(
        report=submitted,
        by=submitted.author,
        reason="looked again at f/11",
        changes={
            "sweeps": [{"readings": [{"f_number": 11, "grade": 1}]}],
            "claims": [],
            "notes": "fog that day",
        },
    )
    before = submitted.revisions.get()
    assert (before.number, before.reason) == (1, "looked again at f/11")
    assert [reading["grade"] for reading in before.content["sweeps"][0]["readings"]] == [0, 1, 2]
    assert before.content["claims"] == [{"says": "clean_to", "f_number": 8.0, "focal_length_mm": None}]
    submitted.refresh_from_db()
    assert (submitted.revision, submitted.notes) == (2, "fog that day")
    assert [(r.f_number, r.grade) for r in submitted.sweeps.get().readings.all()] == [(11, 1)]
    assert not submitted.claims.exists()
    assert submitted.findings.count() == 1
    assert Event.objects.filter(name="report.revised").count() == 1


def test_a_refused_revision_leaves_the_report_as_it_was(submitted):
    version = submitted.version
    with pytest.raises(InvalidInput):
        services.revise_report(
            report=submitted, by=submitted.author, reason="empty it", changes={"sweeps": []}
        )
    kept = Report.objects.get()
    assert (kept.version, kept.revision, kept.revisions.count()) == (version, 1, 0)
    assert kept.sweeps.get().readings.count() == 3


def test_a_revision_needs_a_reason(submitted):
    with pytest.raises(InvalidInput) as refused:
        services.revise_report(report=submitted, by=submitted.author, reason="  ", changes={"notes": "x"})
    assert refused.value.first.field == "reason"


def test_correcting_the_lens_tells_which_one_it_was_before(submitted):
    before, other = submitted.lens, LensFactory()
    services.revise_report(
        report=submitted, by=submitted.author, reason="wrong lens picked", changes={"lens": other.slug}
    )
    data = Event.objects.get(name="report.revised").data
    assert (data["lens"], data["lens_before"]) == (other.slug, before.slug)


def test_a_report_set_aside_stays_public_with_the_reason_and_can_be_restored(submitted, moderator):
    services.set_aside(report=submitted, by=moderator, reason="the frames show a hedge")
    assert (submitted.state, submitted.state_reason) == (ReportState.SET_ASIDE, "the frames show a hedge")
    services.restore(report=submitted, by=moderator, reason="the author sent new frames")
    assert (submitted.state, submitted.state_reason) == (ReportState.SUBMITTED, "")
    names = Event.objects.values_list("name", flat=True)
    assert list(names) == ["report.submitted", "report.set-aside", "report.restored"]


def test_contributors_set_nothing_aside(submitted):
    with pytest.raises(NotAllowed):
        services.set_aside(report=submitted, by=AccountFactory(), reason="I disagree")


def test_nobody_decides_on_their_own_report(moderator):
    own = ReportFactory(author=moderator, grades={8: 0})
    services.submit_report(report=own, by=moderator)
    with pytest.raises(NotAllowed) as refused:
        services.set_aside(report=own, by=moderator, reason="second thoughts")
    assert refused.value.first.code == "own-report"


def test_a_withdrawn_report_leaves_a_note_and_never_comes_back(submitted, moderator):
    services.withdraw_report(report=submitted, by=submitted.author, reason="wrong lens on the camera")
    assert submitted.state == ReportState.WITHDRAWN
    for act in (services.restore, services.set_aside):
        with pytest.raises(Conflict):
            act(report=submitted, by=moderator, reason="undo")
    with pytest.raises(Conflict):
        services.revise_report(report=submitted, by=submitted.author, reason="again", changes={"notes": "x"})


def test_of_two_who_change_one_version_the_second_is_told(draft):
    seen = draft.version
    services.change_draft(report=draft, by=draft.author, notes="first", expected_version=seen)
    with pytest.raises(Conflict) as refused:
        services.change_draft(report=draft, by=draft.author, notes="second", expected_version=seen)
    assert refused.value.first.code == "changed-meanwhile"
    assert Report.objects.get().notes == "first"


def test_every_write_counts_in_the_version(draft):
    versions = [draft.version]
    services.change_draft(report=draft, by=draft.author, notes="wind")
    versions.append(draft.version)
    services.enter_finding(report=draft, by=draft.author, kind="flare", grade=2)
    versions.append(draft.version)
    services.submit_report(report=draft, by=draft.author)
    versions.append(draft.version)
    assert versions == sorted(set(versions))


def test_a_failing_ledger_undoes_the_submission(draft, monkeypatch):
    def fail(*args, **named):
        raise RuntimeError("disk full")

    monkeypatch.setattr("registry.reports.services.submission.record", fail)
    with pytest.raises(RuntimeError):
        services.submit_report(report=draft, by=draft.author)
    assert Report.objects.get().state == ReportState.DRAFT


def test_a_discarded_draft_is_gone(draft):
    services.discard_draft(report=draft, by=draft.author)
    assert not Report.objects.exists()


def test_a_submitted_report_cannot_be_discarded(submitted):
    with pytest.raises(Conflict):
        services.discard_draft(report=submitted, by=submitted.author)
