"""Which test is wanted most: what one more report would teach × how many ask."""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from registry.consensus.assessment import assess_lens
from registry.consensus.evidence import Lens as Optics
from registry.standings.queries.information import information_of
from registry.standings.services import refresh_lens
from registry.wanted import services
from registry.wanted.models import LookUpCount, WantedTest
from registry.wanted.queries import wanted_tests
from registry.wanted.rules import demand, score
from registry.watching.services import watch_lens
from tests.factories import AccountFactory, LensFactory, MountFactory
from tests.standings.evidence import report_on

pytestmark = pytest.mark.django_db
USUAL = "700-780"


def ranked(**filters) -> list[WantedTest]:
    services.rank_wanted_tests()
    return list(wanted_tests(**filters))


def test_nobody_asking_counts_as_one_and_each_doubling_adds_about_one():
    assert demand(0, 0) == 1
    assert demand(62, 0) == 6
    assert demand(126, 0) == 7
    assert demand(0, 2) == demand(6, 0) == 3
    assert score(2.0, 62, 0) == 12


def test_an_untested_lens_teaches_more_than_a_settled_one():
    settled, untested = LensFactory(widest_f=2), LensFactory(widest_f=2)
    for _ in range(8):
        report_on(settled, limit=8)
    refresh_lens(settled)
    usual = [test.lens for test in ranked(cut_on_group=USUAL)]
    assert usual.index(untested) < usual.index(settled)


def test_information_is_what_the_consensus_expects_of_the_cell():
    lens = LensFactory(widest_f=2)
    optics = Optics(widest=2, narrowest=16, focal_min=35, focal_max=35, widest_tele=2)
    (cell,) = assess_lens(optics, [], asked=[(USUAL, "33-47")]).cells
    (worth,) = [worth for worth in information_of([lens])[lens.pk] if worth.cut_on_group == USUAL]
    assert worth.bits == pytest.approx(cell.expected_information)
    assert worth.focal_zone == "33-47"


def test_a_zoom_is_wanted_in_the_zone_that_nobody_has_tested():
    lens = LensFactory(zoom=True)
    for _ in range(6):
        report_on(lens, focal_mm=24, grades={4: 0, 5.6: 0, 8: 0, 11: 3, 16: 3})
    refresh_lens(lens)
    (test,) = ranked(cut_on_group=USUAL)
    assert test.zone_label != "24–33 mm"


def test_look_ups_raise_a_lens_at_the_cut_on_they_were_made_at():
    one, other = LensFactory(), LensFactory()
    services.count_look_ups({(other.slug, "640-700"): 30})
    first = ranked()[0]
    assert (first.lens, first.cut_on_group, first.look_ups) == (other, "640-700", 30)
    assert all(test.look_ups == 0 for test in wanted_tests().filter(lens=one))


def test_watches_raise_a_lens_at_every_cut_on():
    LensFactory()
    watched = LensFactory()
    watch_lens(account=AccountFactory(), lens=watched)
    assert {test.lens for test in ranked()[:4]} == {watched}


def test_look_ups_are_daily_counts_without_a_trace_of_who_looked():
    lens = LensFactory()
    services.count_look_ups({(lens.slug, USUAL): 2, ("no-such-lens", USUAL): 1}, day=date(2024, 6, 1))
    services.count_look_ups({(lens.slug, USUAL): 3}, day=date(2024, 6, 1))
    assert LookUpCount.objects.get().count == 5
    assert {field.name for field in LookUpCount._meta.get_fields()} == {
        "id", "lens", "cut_on_group", "day", "count",
    }  # fmt: skip


def test_old_look_ups_stop_counting_and_are_forgotten_later():
    lens, today = LensFactory(), timezone.now().date()
    services.count_look_ups({(lens.slug, USUAL): 9}, day=today - timedelta(days=91))
    services.count_look_ups({(lens.slug, USUAL): 9}, day=today - timedelta(days=500))
    assert all(test.look_ups == 0 for test in ranked())
    assert services.forget_old_look_ups() == 1


def test_ranking_again_writes_nothing_where_nothing_changed():
    lens = LensFactory()
    assert services.rank_wanted_tests() == 4
    assert services.rank_wanted_tests() == 0
    services.count_look_ups({(lens.slug, USUAL): 1})
    assert services.rank_wanted_tests() == 1


def test_what_is_settled_sinks_once_its_reports_are_in(drain):
    lens = LensFactory(widest_f=2)
    before = {test.cut_on_group: test.information for test in ranked()}
    for _ in range(5):
        report_on(lens, limit=8)
    refresh_lens(lens)
    drain()  # the follower of standing.changed ranks this lens anew
    after = {test.cut_on_group: test.information for test in wanted_tests()}
    assert after[USUAL] < before[USUAL]


def test_tests_can_be_narrowed_to_a_mount():
    plover = LensFactory(mounts=[MountFactory(name="Plover")])
    LensFactory()
    assert {test.lens for test in ranked(mount="plover")} == {plover}


def test_ranking_many_lenses_takes_a_constant_number_of_statements(django_assert_max_num_queries):
    for _ in range(12):
        LensFactory()
    with django_assert_max_num_queries(20):
        services.rank_wanted_tests()
