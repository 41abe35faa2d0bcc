"""A merge at the very moment at which others file, copy, pack, watch and pick: nobody is refused, nothing is lost."""

import pytest
from django.db import OperationalError, connection

from registry.bags.contents import Bag, Carried
from registry.bags.models import BagLens
from registry.bags.queries import bag_now, lenses_of
from registry.bags.services import change_bag
from registry.gear.holding import gives_way, hold_gear, hold_those_left
from registry.gear.imports import import_gear
from registry.gear.merging import merge_gear
from registry.gear.models import Lens
from registry.ledger.services import verify
from registry.picks.rules import PickGiven
from registry.picks.services import publish_list
from registry.reports.models import Copy, Report
from registry.reports.services import file_report, revise_report, save_copy
from registry.reports.services.batch import Line, ReportBatch
from registry.wanted.models import WantedTest
from registry.wanted.services import rank_wanted_tests
from registry.watching.models import Watch
from registry.watching.services import watch_lens
from tests.api.parallel import at_once, separate_connections
from tests.factories import AccountFactory, LensFactory
from tests.report_factories import RigFactory
from tests.standings.evidence import report_on

ROUNDS = 12
SWEEP = [{"focal_length_mm": 35, "readings": [{"f_number": 8, "grade": 0}]}]


def outcome(act):
    """None, or how it failed."""
    try:
        act()
    except Exception as error:  # whatever it is, it is shown
        return f"{type(error).__name__}: {error}"
    return None


def filed(batch, *lines):
    return batch.file(batch.read(lines))


def writers(double, author, rig, report):
    """Every way in which someone names a lens."""
    graded = {
        "basis": "graded",
        "rig": rig.public_id,
        "lens": double.slug,
        "shot_on": "2024-06-21",
        "sweeps": SWEEP,
    }
    revised = {"lens": double, "notes": "It was this one."}
    return [
        lambda: file_report(author=author, data=graded, submit=True),
        lambda: filed(ReportBatch(author=author), Line("1", graded)),
        lambda: revise_report(report=report, by=report.author, reason="Mixed up.", changes=revised),
        lambda: save_copy(holder=author, lens=double, label="the club’s"),
        lambda: change_bag(owner=author, change=lambda bag: bag.with_lens(Carried(double.slug))),
        lambda: watch_lens(account=author, lens=double),
        lambda: publish_list(author=author, title="Dunes", about="", picks=[PickGiven(double, "It stays clean.")]),
    ]  # fmt: skip


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_whoever_names_a_lens_while_it_is_merged_names_the_kept_one(tmp_path, settings):
    settings.LEDGER_FOLLOWERS = "tests.report_factories.NOBODY_FOLLOWS"
    moderator = AccountFactory(moderator=True)
    rounds = []
    for _ in range(ROUNDS):
        kept, double = LensFactory(), LensFactory()
        author = AccountFactory()
        report = report_on(LensFactory())
        rounds.append((kept, double, author, RigFactory(owner=author), report))
    failed = []
    with separate_connections(tmp_path):
        for kept, double, author, rig, report in rounds:
            acts = [
                lambda kept=kept, double=double: merge_gear(double=double, into=kept, by=moderator),
                *writers(double, author, rig, report),
            ]
            failed += [told for told in at_once([lambda act=act: outcome(act) for act in acts]) if told]
        assert failed == []
        connection.close()
        for kept, double, author, *_ in rounds:
            assert not Lens.objects.filter(pk=double.pk).exists()
            assert Report.objects.filter(lens=kept).count() == 3
            assert Copy.objects.filter(lens=kept).count() == 1
            assert BagLens.objects.filter(lens=kept, bag__owner=author).count() == 1
            assert Watch.objects.filter(lens=kept, account=author).count() == 1
        assert verify() == []


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_a_lens_is_merged_while_its_facts_are_imported_and_its_tests_are_ranked(tmp_path, settings):
    settings.LEDGER_FOLLOWERS = "tests.report_factories.NOBODY_FOLLOWS"
    moderator = AccountFactory(moderator=True)
    rounds = [(LensFactory(), LensFactory()) for _ in range(ROUNDS)]
    with separate_connections(tmp_path):
        for kept, double in rounds:
            row = {"maker": str(double.maker), "name": double.name, "mass_g": 213}
            imported = []
            acts = [
                lambda kept=kept, double=double: merge_gear(double=double, into=kept, by=moderator),
                lambda row=row, told=imported: told.append(import_gear("lenses", [row])),
                lambda double=double: rank_wanted_tests(lens=double),
                lambda kept=kept: rank_wanted_tests(lens=kept),
            ]
            assert at_once([lambda act=act: outcome(act) for act in acts]) == [None] * 4
            assert imported[0].problems == []
        connection.close()
        for kept, double in rounds:
            assert not Lens.objects.filter(pk=double.pk).exists()
            assert Lens.objects.get(pk=kept.pk).mass_g == 213
            rank_wanted_tests(lens=kept)
            assert WantedTest.objects.filter(lens=kept).exists()


@pytest.mark.django_db
def test_what_was_merged_away_is_not_ranked_but_what_stands_for_it():
    kept, double = LensFactory(), LensFactory()
    merge_gear(double=double, into=kept, by=AccountFactory(moderator=True))
    gone = Lens(pk=double.pk or 10**6, slug=double.slug)
    assert hold_those_left([gone, kept]) == [kept]


@pytest.mark.django_db
class TestHolding:
    def test_gear_that_was_merged_is_what_stands_for_it_now(self):
        kept, double, other = LensFactory(), LensFactory(), LensFactory()
        merge_gear(double=double, into=kept, by=AccountFactory(moderator=True))
        gone = Lens(pk=10**6, slug=double.slug)
        assert hold_gear([gone, other]) == {gone: kept, other: other}

    def test_a_bag_packed_before_the_merge_holds_the_kept_lens_once(self):
        kept, double = LensFactory(), LensFactory()
        bag = Bag(lenses=(Carried(double.slug, hood=True), Carried(kept.slug)))
        merge_gear(double=double, into=kept, by=AccountFactory(moderator=True))
        assert bag_now(bag).lenses == (Carried(kept.slug, hood=True),)
        assert [lens for lens, _ in lenses_of(bag)] == [kept]


@pytest.mark.django_db(transaction=True)
def test_a_merge_that_is_in_the_way_begins_again_and_other_troubles_are_told(monkeypatch):
    class Busy(Exception):
        sqlstate = "55P03"

    tries = []

    @gives_way
    def work():
        tries.append(1)
        if len(tries) < 3:
            raise OperationalError("busy") from Busy()
        return "done"

    @gives_way
    def broken():
        raise OperationalError("the disk is full")

    monkeypatch.setattr("registry.gear.holding.time.sleep", lambda seconds: None)
    assert (work(), len(tries)) == ("done", 3)
    with pytest.raises(OperationalError, match="disk"):
        broken()
