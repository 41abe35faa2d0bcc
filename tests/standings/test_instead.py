"""For a hot or unknown lens: the nearest clean ones for the same mount and angle of view."""

import math

import pytest

from registry.ledger.worker import drain_tasks
from registry.reports import services
from registry.standings.queries import instead_of, lens_answer, needs_alternatives
from registry.standings.queries.instead import angle_off
from tests.factories import LensFactory, MakerFactory, MountFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db
STOPS = (2.8, 4, 5.6, 8, 11, 16)


def lens_of(focal_mm, tele_mm=None, hot_from=None, reports=5, **fields):
    """A lens that so many people found clean before a stop."""
    lens = LensFactory(focal_min_mm=focal_mm, focal_max_mm=tele_mm or focal_mm, widest_f=2.8, **fields)
    for _ in range(reports):
        grades = {stop: 3 if hot_from and stop >= hot_from else 0 for stop in STOPS}
        report = ReportFactory(lens=lens, grades=grades)
        services.submit_report(report=report, by=report.author)
    drain_tasks()
    return lens


def found(lens, mount=""):
    return [one.row.lens for one in instead_of(lens, mount=mount, cut_on_nm=720, group="700-780")]


@pytest.mark.parametrize(
    "hot_from, reports, wanted",
    [(None, 5, False), (16, 5, False), (5.6, 5, True), (2.8, 5, True), (None, 0, True)],
)
def test_alternatives_are_for_lenses_that_are_hot_before_f8_or_unknown(hot_from, reports, wanted):
    assert needs_alternatives(lens_answer(lens_of(35, hot_from=hot_from, reports=reports))) is wanted


def test_the_nearest_angle_of_view_comes_first_and_the_hot_ones_not_at_all():
    hot = lens_of(35, hot_from=4)
    near, further = lens_of(35), lens_of(50)
    lens_of(35, hot_from=5.6)
    lens_of(200)
    assert found(hot) == [near, further]


def test_of_equally_near_lenses_the_surer_comes_first():
    hot = lens_of(35, hot_from=4)
    fair, firm = lens_of(35, reports=3), lens_of(36, reports=7)
    assert found(hot) == [firm, fair]


def test_one_report_recommends_nothing():
    hot = lens_of(35, hot_from=4)
    lens_of(35, reports=1)
    assert found(hot) == []


def test_lenses_that_need_an_adapter_follow_native_ones_and_those_without_one_are_left_out():
    from registry.gear.models import Adapter

    teal, curlew, plover = (MountFactory(name=name) for name in ("Teal", "Curlew", "Plover"))
    Adapter.objects.create(
        maker=MakerFactory(), name="Bridge", slug="bridge", lens_mount=curlew, body_mount=teal
    )
    hot = lens_of(35, hot_from=4, mounts=[teal])
    adapted, native = lens_of(35, mounts=[curlew]), lens_of(35, mounts=[teal])
    lens_of(35, mounts=[plover])
    alternatives = instead_of(hot, mount="teal", cut_on_nm=720, group="700-780")
    assert [(one.row.lens, one.adapted) for one in alternatives] == [(native, False), (adapted, True)]


def test_a_zoom_that_covers_the_angle_misses_nothing_of_it():
    prime, zoom = LensFactory(focal_min_mm=35), LensFactory(focal_min_mm=24, focal_max_mm=70)
    assert angle_off(prime, zoom) == 0
    assert angle_off(zoom, prime) > 1


def test_a_fisheye_replaces_only_a_fisheye():
    fisheye, plain = LensFactory(focal_min_mm=15, projection="fisheye"), LensFactory(focal_min_mm=15)
    assert angle_off(plain, fisheye) == math.inf and angle_off(fisheye, plain) == math.inf
    assert angle_off(fisheye, LensFactory(focal_min_mm=15, projection="fisheye")) == 0
