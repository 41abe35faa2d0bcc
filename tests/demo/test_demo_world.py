"""The demo world: what it holds, that it is the same each time, and that it goes in as a user's evidence would."""

from collections import Counter

import pytest

from fixtures_demo import loading
from fixtures_demo.behaviour import grade_of, read_behaviours
from fixtures_demo.interests import BAG_LENSES, USE, WATCHED, keep_interests
from registry.accounts.models import Account
from registry.bags.queries import bag_of
from registry.bags.services import change_bag
from registry.errors import Conflict
from registry.gear.models import Body, Lens, Teleconverter
from registry.ledger.models import Event
from registry.picks.models import PickList
from registry.reports.models import Report, ReportState, SampleImage
from tests.factories import LensFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def world():
    loading.begin()
    return loading.plans()


def test_the_circle_has_the_gear_and_people_that_the_design_describes(world):
    assert 38 <= Lens.objects.count() <= 44
    assert Body.objects.count() == 12
    assert Teleconverter.objects.count() == 2
    assert Account.objects.count() == 25
    assert {"moderator", "steward"} <= set(Account.objects.values_list("role", flat=True))


def test_some_three_hundred_reports_are_planned_and_some_fifty_with_frames(world):
    by_basis = Counter(plan.basis for plan in world)
    assert 280 <= len(world) <= 320
    assert 45 <= by_basis["measured"] <= 60
    assert by_basis["relayed"] >= 15


def test_every_trouble_a_registry_meets_is_in_the_world():
    stories = {behaviour.story for behaviour in read_behaviours()}
    assert {
        "settled", "thin", "untested", "filter-position", "wavelength", "bad-copy", "twenty", "relayed-source", "scene",
    } <= stories  # fmt: skip


def test_the_plans_are_the_same_each_time(world):
    assert world == loading.plans()


def test_planned_light_paths_have_the_cut_on_they_say(world):
    for plan in world:
        if plan.rig is not None and plan.filter_position == "sensor":
            assert plan.rig.cut_on_nm == plan.cut_on_nm
        if plan.rig is not None and plan.filter:
            assert plan.rig.cut_on_nm is None or plan.rig.cut_on_nm <= plan.cut_on_nm


def test_an_evening_goes_in_as_a_users_would_and_only_once(world):
    graded = next(plan for plan in world if plan.basis == "graded")
    framed = next(plan for plan in world if plan.basis == "measured" and not plan.scene_instead_of_target)
    list(loading.tell([graded, framed]))
    assert Report.objects.filter(state=ReportState.SUBMITTED).count() == 2
    measured = SampleImage.objects.filter(state__in=["measured", "uncertain"])
    assert measured.count() == len(framed.lens.stops_at(framed.focal_lengths[0]))
    list(loading.tell([graded, framed]))
    assert Report.objects.count() == 2


def test_a_scene_in_place_of_a_target_is_refused_and_graded_by_eye(world):
    scene = next(plan for plan in world if plan.scene_instead_of_target)
    list(loading.tell([scene]))
    report = Report.objects.get()
    assert report.state == ReportState.SUBMITTED
    assert set(report.images.values_list("state", flat=True)) == {"rejected"}
    readings = [reading for sweep in report.sweeps.all() for reading in sweep.readings.all()]
    assert readings
    assert all(reading.excess_ev is None and reading.grade is not None for reading in readings)


def test_the_demo_never_goes_into_a_database_that_holds_other_data():
    LensFactory()
    with pytest.raises(Conflict, match="empty one"):
        loading.begin()
    assert not Event.objects.filter(name=loading.BEGUN).exists()


def test_grades_follow_the_bounds_that_testers_are_told():
    # Project convention: 0 below 0.05 EV, 1 below 0.10, 2 below 0.30, 3 below 0.70, else 4.
    assert [grade_of(excess) for excess in (0.02, 0.07, 0.2, 0.5, 1.0)] == [0, 1, 2, 3, 4]


def test_the_shown_contributor_has_a_bag_and_watches_and_someone_has_picks(world):
    keep_interests()
    shown = Account.objects.get(name=loading.SHOWN_ACCOUNTS["contributor"])
    bag = bag_of(shown)
    assert bag.slugs == tuple(one.lens for one in BAG_LENSES)
    assert [one["lens"] for one in bag.use["lenses"]] == list(USE)
    assert set(shown.watches.values_list("lens__slug", flat=True)) == set(WATCHED)
    assert PickList.objects.get().picks.count() == 3


def test_interests_told_again_after_an_interruption_undo_nothing_that_someone_changed(world):
    keep_interests()
    shown = Account.objects.get(name=loading.SHOWN_ACCOUNTS["contributor"])
    change_bag(owner=shown, change=lambda bag: bag.without_lens(BAG_LENSES[0].lens))
    keep_interests()
    assert len(bag_of(shown).lenses) == len(BAG_LENSES) - 1
    assert PickList.objects.count() == 1 and shown.watches.count() == len(WATCHED)
