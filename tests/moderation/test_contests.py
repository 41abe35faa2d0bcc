"""Scripted contests: twelve planted conflicts among settled lenses, each with its own cause.

Every contested lens has sixteen independent testers, and its cause moves the limit by three stops. What else differs
between tests (bodies, filter positions) differs at random.
"""

import random

import pytest

from registry.gear.models import Lens
from registry.moderation.services import answer_proposal, decide, undo_decision
from registry.reports.models import Report
from registry.standings.models import Conflict, Standing
from registry.standings.queries import open_conflicts
from registry.standings.queries.conflicts import sides_told
from registry.standings.services import refresh_lens
from tests.factories import AccountFactory, BodyFactory, LensFactory
from tests.report_factories import CopyFactory, ReadingFactory, RigFactory
from tests.standings.evidence import STOPS, report_on

pytestmark = [pytest.mark.django_db, pytest.mark.slow]
TESTERS = 16
POSITIONS = ("front", "rear", "clip-in")
LATE, SOON = 11, 4  # f-numbers, three stops apart


def measured_report(lens, limit, **conditions):
    """As report_on, with measured excess in place of grades."""
    report = report_on(lens, grades={2: 0}, basis="measured", **conditions)
    sweep = report.sweeps.get()
    sweep.readings.all().delete()
    for stop in STOPS:
        ReadingFactory(
            sweep=sweep, f_number=stop, grade=None, excess_ev=0.01 if stop <= limit else 0.3, excess_se=0.02
        )
    return report


class World:
    """Lenses tested by the same dozen kinds of people, with bodies and filter positions as they come."""

    def __init__(self, seed):
        self.chance = random.Random(seed)
        self.bodies = [BodyFactory() for _ in range(4)]

    def conditions(self, **fixed):
        author = AccountFactory()
        cut_on_nm = fixed.pop("cut_on_nm", 720)
        body = fixed.pop("body", None) or self.chance.choice(self.bodies)
        rig = RigFactory(owner=author, body=body, cut_on_nm=cut_on_nm)
        return {"author": author, "rig": rig, "filter_position": self.chance.choice(POSITIONS)} | fixed

    def limit(self, about):
        """A stop sooner for one tester in eight."""
        return STOPS[STOPS.index(about) - (self.chance.random() < 1 / 8)]

    def settled(self, about):
        lens = LensFactory(widest_f=2)
        for _ in range(TESTERS):
            report_on(lens, limit=self.limit(about), **self.conditions())
        return lens

    def contested(self, factor, how):
        """A lens on which `how(place)` gives the conditions of the tester's place, and whether the limit is sooner."""
        zoom = {"focal_min_mm": 34, "focal_max_mm": 46, "widest_f_tele": 2} if factor == "focal" else {}
        lens = LensFactory(widest_f=2, **zoom)
        for place in range(TESTERS):
            fixed, sooner = how(self, lens, place)
            measured = fixed.pop("measured", False)
            limit = self.limit(SOON if sooner else LATE)
            file = measured_report if measured else report_on
            file(lens, limit=limit, **self.conditions(**fixed))
        return lens


def by_position(position):
    def how(world, lens, place):
        sooner = place % 2 == 0
        others = [one for one in POSITIONS if one != position]
        return {"filter_position": position if sooner else world.chance.choice(others)}, sooner

    return how


def by_body(place_of_body):
    def how(world, lens, place):
        sooner = place % 3 == 0
        others = [body for body in world.bodies if body != world.bodies[place_of_body]]
        return {"body": world.bodies[place_of_body] if sooner else world.chance.choice(others)}, sooner

    return how


def by_copy(world, lens, place):
    """Four people who tested one faulty copy, against twelve with their own."""
    faulty, _ = lens.copies.get_or_create(
        label="the faulty one", defaults={"holder": CopyFactory(lens=lens, label="another").holder}
    )
    return {"copy": faulty if place < 4 else CopyFactory(lens=lens)}, place < 4


def by_method(world, lens, place):
    return {"measured": place % 2 == 0}, place % 2 == 0


def by_cut_on(low, high):
    def how(world, lens, place):
        return {"cut_on_nm": low if place % 2 else high}, place % 2 == 0

    return how


def by_focal(world, lens, place):
    return {"focal_mm": 34 if place % 2 else 46}, place % 2 == 0


PLANTED = [
    *(("filter_position", by_position(position)) for position in POSITIONS),
    *(("body", by_body(place)) for place in (0, 1)),
    *(("copy", by_copy) for _ in range(2)),
    ("method", by_method),
    *(("cut_on", by_cut_on(low, high)) for low, high in ((700, 770), (705, 775))),
    *(("focal", by_focal) for _ in range(2)),
]


@pytest.fixture
def contests():
    """(factor, lens) of the twelve; and the settled lenses."""
    world = World(seed=7)
    planted = [(factor, world.contested(factor, how)) for factor, how in PLANTED]
    settled = [world.settled(about) for about in (2.8, 4, 5.6, 8, 8, 11, 11, 16)]
    for lens in Lens.objects.all():
        refresh_lens(lens)
    return planted, settled


def test_every_planted_conflict_is_found_explained_decided_and_undone_and_nothing_else(contests):
    planted, settled = contests
    assert len(planted) == 12
    found = {lens.pk: list(open_conflicts(lens)) for _, lens in planted}
    assert {pk: len(conflicts) for pk, conflicts in found.items()} == dict.fromkeys(found, 1)
    assert not Conflict.objects.filter(standing__lens__in=settled).exists()
    first = {(factor, lens.pk): found[lens.pk][0].explanations[0]["factor"] for factor, lens in planted}
    wrong = {key: told for key, told in first.items() if key[0] != told}
    assert len(wrong) <= 1, wrong
    for _, lens in planted:
        decided_and_undone(lens, found[lens.pk][0])


def decided_and_undone(lens, conflict):
    """Setting the smaller side aside settles the lens; taking it back restores every digit."""
    before = digits(lens)
    side = min(sides_told(conflict), key=lambda one: len(one.reports))
    moderator, second = AccountFactory(moderator=True), AccountFactory(moderator=True)
    decision = decide(
        by=moderator,
        act="set-aside",
        conflict=conflict,
        reports=side.reports,
        reason_code="other",
        reason="Contest.",
    )
    if decision.proposed:
        answer_proposal(decision=decision, by=second, agree=True, reason="Contest.")
    refresh_lens(lens)
    assert not open_conflicts(lens).filter(kind="reports-differ").exists()
    assert Report.objects.filter(lens=lens, state="set-aside").count() == len(side.reports)
    undo_decision(decision=decision, by=second, reason="Contest over.")
    refresh_lens(lens)
    assert digits(lens) == before


def digits(lens):
    names = ("words", "confidence", "stops", "limit", "causes", "suspects", "fingerprint", "priors_id")
    return list(Standing.objects.filter(lens=lens, n_reports__gt=0).order_by("pk").values_list(*names))
