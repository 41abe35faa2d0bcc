"""A stamp changes with everything that a page about a lens is made from, and with nothing else."""

import pytest

from registry.gear.models import FactSource, Lens
from registry.ledger.services import record
from registry.ledger.worker import drain_tasks
from registry.reports import services
from registry.standings.models import PriorsEdition, Standing
from registry.standings.queries import StampStatement, catalogue_figures, catalogue_stamp, lens_stamp
from registry.standings.services import renew_priors
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def lens():
    return LensFactory()


def report_on(lens):
    report = ReportFactory(lens=lens, grades={4: 0, 8: 0, 11: 3})
    return services.submit_report(report=report, by=report.author)


def test_an_unknown_lens_has_none():
    assert lens_stamp("no-such-lens") is None


def test_nothing_done_changes_nothing(lens):
    report_on(lens)
    drain_tasks()
    assert lens_stamp(lens.slug) == lens_stamp(lens.slug)


def test_a_report_changes_it_when_it_comes_in_and_when_its_standing_does(lens):
    before = lens_stamp(lens.slug)
    report_on(lens)
    between = lens_stamp(lens.slug)
    drain_tasks()
    assert len({before.text, between.text, lens_stamp(lens.slug).text}) == 3


def test_setting_a_report_aside_changes_it_at_once(lens):
    report = report_on(lens)
    drain_tasks()
    before = lens_stamp(lens.slug)
    services.set_aside(report=report, by=AccountFactory(moderator=True), reason="a scene")
    assert lens_stamp(lens.slug) != before


def test_other_lenses_change_the_catalogues_stamp_only(lens):
    report_on(lens)
    drain_tasks()
    own, every = lens_stamp(lens.slug), catalogue_stamp()
    report_on(LensFactory())
    drain_tasks()
    assert lens_stamp(lens.slug) == own and catalogue_stamp() != every


def test_a_source_of_a_fact_a_corrected_fact_and_new_priors_change_it(lens):
    report_on(lens)
    drain_tasks()
    stamps = {lens_stamp(lens.slug).text}
    FactSource.objects.create(
        gear_kind="lens", gear_slug=lens.slug, fact="mass_g", value="300", source="scales"
    )
    stamps.add(lens_stamp(lens.slug).text)
    Lens.objects.filter(pk=lens.pk).update(version=lens.version + 1)
    stamps.add(lens_stamp(lens.slug).text)
    PriorsEdition.objects.update(in_force=False)
    PriorsEdition.objects.create(number=99, method_version="x", content={}, in_force=True)
    stamps.add(lens_stamp(lens.slug).text)
    assert len(stamps) == 4


def test_a_closed_account_changes_every_lens_whose_page_may_name_it(lens):
    before = lens_stamp(lens.slug)
    record("account.closed", actor=None, subject_kind="account", subject_id="x")
    assert lens_stamp(lens.slug) != before


def test_a_page_can_ask_for_more_in_the_same_statement(lens, django_assert_num_queries):
    statement = StampStatement(catalogue_figures)
    statement.of(lens.slug)
    with django_assert_num_queries(1):
        stamp = statement.of(lens.slug)
    assert stamp.text == lens_stamp(lens.slug).text and stamp.more


def test_the_catalogue_has_no_stamp_before_its_first_standing(lens):
    assert catalogue_stamp() is None
    renew_priors()
    assert catalogue_stamp() is not None and not Standing.objects.exists()
