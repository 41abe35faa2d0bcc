"""Two rows of the catalogue that mean one thing are made one; nothing said is lost, and it can be taken back."""

from datetime import date, timedelta

import pytest
from django.utils import timezone

from registry.bags.models import BagLens, KeptBag
from registry.errors import Conflict, InvalidInput, NotAllowed, NotFound
from registry.gear.carrying import values_of
from registry.gear.doubles import doubles, likeness_of
from registry.gear.imports import import_gear
from registry.gear.merging import merge_gear, set_apart, take_back_merge
from registry.gear.models import FactSource, GearKind, GearStatus, Lens, Merge
from registry.gear.queries import find_lenses, gear_by_slug, match_exif_lens, where_now
from registry.gear.services import add_fact_source, propose_lens
from registry.ledger.models import Event
from registry.ledger.services import verify
from registry.picks.models import Pick, PickList
from registry.reports.models import Copy, Report, ReportState
from registry.reports.services import file_report
from registry.standings.models import Standing, StandingChange
from registry.standings.services import refresh_lens
from registry.wanted.models import LookUpCount, Reservation
from registry.watching.models import Watch
from tests.factories import AccountFactory, BodyFactory, FilterFactory, LensFactory
from tests.report_factories import CopyFactory, ReportFactory, RigFactory

pytestmark = pytest.mark.django_db

HOT = {2.8: 0, 4: 0, 5.6: 1, 8: 3, 11: 4, 16: 4}


@pytest.fixture
def moderator():
    return AccountFactory(moderator=True)


@pytest.fixture
def kept():
    return LensFactory(name="Marram 35 mm f/1.4", slug="osterby-marram-35", narrowest_f=None)


@pytest.fixture
def double():
    return LensFactory(name="Maram 35/1.4", slug="osterby-maram-35", status=GearStatus.PROPOSED, mass_g=410)


def reported(lens, **more):
    return ReportFactory(
        lens=lens, state=ReportState.SUBMITTED, submitted_at=timezone.now(), grades=HOT, **more
    )


def everything():
    """Every row that can name a lens, as it stands."""
    tables = (
        Lens, Report, Copy, Standing, StandingChange, Watch, BagLens, Pick, LookUpCount, Reservation, FactSource,
    )  # fmt: skip
    return {
        table.__name__: sorted(
            ({**values_of(row), "version": 0} for row in table.objects.all()), key=lambda row: row["id"]
        )
        for table in tables
    }


class TestMerging:
    def test_reports_copies_and_history_go_over_and_the_standing_counts_them_all(
        self, kept, double, moderator, drain
    ):
        for lens in (kept, double, double):
            reported(lens, copy=CopyFactory(lens=lens))
        refresh_lens(kept), refresh_lens(double)
        merge_gear(double=double, into=kept, by=moderator)
        drain()
        assert not Lens.objects.filter(pk=double.pk).exists()
        assert Report.objects.filter(lens=kept).count() == Copy.objects.filter(lens=kept).count() == 3
        standing = Standing.objects.get(lens=kept, leads=True)
        assert standing.n_reports == 3

    def test_bags_watches_picks_and_counts_stand_for_both_once(self, kept, double, moderator):
        reader, other = AccountFactory(), AccountFactory()
        bag = KeptBag.objects.create(owner=reader)
        BagLens.objects.create(bag=bag, lens=kept, state="considered", place=0)
        BagLens.objects.create(bag=bag, lens=double, state="owned", hood=True, place=1)
        for lens in (kept, double):
            Watch.objects.create(account=reader, lens=lens)
            LookUpCount.objects.create(lens=lens, cut_on_group="720", day=date(2024, 6, 1), count=3)
        Watch.objects.create(account=other, lens=double)
        picks = PickList.objects.create(author=other, title="For dunes")
        Pick.objects.create(pick_list=picks, place=1, lens=double, reason="It stays clean.")
        merge_gear(double=double, into=kept, by=moderator)
        held = BagLens.objects.get()
        assert (held.lens, held.state, held.hood) == (kept, "owned", True)
        assert set(Watch.objects.values_list("account", "lens")) == {
            (reader.pk, kept.pk),
            (other.pk, kept.pk),
        }
        assert LookUpCount.objects.get().count == 6
        assert Pick.objects.get().lens == kept

    def test_a_second_reservation_of_the_same_test_ends_and_is_kept(self, kept, double, moderator):
        for lens in (kept, double):
            Reservation.objects.create(
                lens=lens, cut_on_group="720", account=AccountFactory(),
                until=timezone.now() + timedelta(days=9),
            )  # fmt: skip
        merge_gear(double=double, into=kept, by=moderator)
        assert sorted(Reservation.objects.filter(lens=kept).values_list("ended", flat=True)) == [
            "",
            "released",
        ]

    def test_copies_of_one_label_are_one_copy_unless_their_serial_numbers_differ(
        self, kept, double, moderator
    ):
        holder, careful = AccountFactory(), AccountFactory()
        for lens, serial in ((kept, "a"), (double, "b")):
            CopyFactory(lens=lens, holder=holder, label="my copy")
            CopyFactory(lens=lens, holder=careful, label="my copy", serial_hash=serial)
        merge_gear(double=double, into=kept, by=moderator)
        assert (Copy.objects.filter(holder=holder).count(), Copy.objects.filter(holder=careful).count()) == (
            1,
            2,
        )

    def test_the_kept_one_keeps_its_facts_and_gains_those_only_the_double_states(
        self, kept, double, moderator
    ):
        add_fact_source(item=double, fact="mass_g", value=410, source="kitchen scales", by=moderator)
        merge_gear(double=double, into=kept, by=moderator)
        kept.refresh_from_db()
        assert (kept.mass_g, kept.narrowest_f, kept.name) == (410, 16, "Marram 35 mm f/1.4")
        assert FactSource.objects.get().gear_slug == kept.slug

    def test_it_is_still_found_by_the_double_s_name_as_people_and_cameras_write_it(
        self, kept, double, moderator
    ):
        merge_gear(double=double, into=kept, by=moderator)
        assert find_lenses("osterby maram 35")[0].lens == kept
        assert match_exif_lens("Osterby Maram 35/1.4") == kept

    def test_the_former_address_leads_on_through_a_chain_and_is_never_given_again(
        self, kept, double, moderator
    ):
        last = LensFactory(slug="osterby-marram-35-f1-4")
        merge_gear(double=double, into=kept, by=moderator)
        merge_gear(double=kept, into=last, by=moderator)
        assert where_now(GearKind.LENS, "osterby-maram-35") == last.slug
        again = propose_lens(
            by=moderator, maker="Osterby", name="Maram 35", mounts="Teal", focal_min_mm=35, widest_f=1.8
        )
        assert again.slug == "osterby-maram-35-2"
        with pytest.raises(NotFound, match="osterby-marram-35-f1-4"):
            gear_by_slug(GearKind.LENS, "osterby-maram-35")

    def test_a_program_that_files_under_the_former_address_is_understood(self, kept, double, moderator):
        merge_gear(double=double, into=kept, by=moderator)
        author = AccountFactory()
        report = file_report(
            author=author,
            data={"basis": "graded", "lens": "osterby-maram-35", "rig": RigFactory(owner=author)},
            submit=False,
        )
        assert report.lens == kept

    def test_an_import_that_still_names_the_double_makes_no_new_one(self, kept, double, moderator):
        merge_gear(double=double, into=kept, by=moderator)
        row = {
            "maker": "Osterby",
            "name": "Maram 35/1.4",
            "mounts": "Teal",
            "focal_min_mm": 35,
            "widest_f": 1.4,
        }
        outcome = import_gear("lenses", [row])
        kept.refresh_from_db()
        assert (outcome.created, Lens.objects.count(), kept.name) == (0, 1, "Marram 35 mm f/1.4")

    def test_bodies_and_filters_merge_with_the_rigs_and_reports_that_name_them(self, moderator, drain):
        body, twin = BodyFactory(), BodyFactory()
        glass, same = FilterFactory(), FilterFactory()
        owner = AccountFactory()
        rig, other = (RigFactory(owner=owner, body=each) for each in (body, twin))
        report = reported(LensFactory(), author=owner, rig=other, filter=same)
        merge_gear(double=twin, into=body, by=moderator)
        merge_gear(double=same, into=glass, by=moderator)
        drain()
        report.refresh_from_db()
        assert (report.body, report.rig, report.filter) == (body, rig, glass)

    def test_only_a_moderator_merges_and_only_two_of_a_kind(self, kept, double, moderator):
        with pytest.raises(NotAllowed):
            merge_gear(double=double, into=kept, by=AccountFactory())
        for other in (kept, BodyFactory()):
            with pytest.raises(InvalidInput):
                merge_gear(double=other, into=kept, by=moderator)
        merge_gear(double=double, into=kept, by=moderator)
        with pytest.raises(Conflict, match="merged or removed"):
            merge_gear(double=double, into=kept, by=moderator)


class TestTakingBack:
    def test_everything_is_as_it_was(self, kept, double, moderator, drain):
        reader = AccountFactory()
        bag = KeptBag.objects.create(owner=reader)
        for place, lens in enumerate((kept, double)):
            reported(lens, copy=CopyFactory(lens=lens, holder=reader, label="my copy"))
            BagLens.objects.create(bag=bag, lens=lens, state="owned", place=place)
            LookUpCount.objects.create(lens=lens, cut_on_group="720", day=date(2024, 6, 1), count=3)
            refresh_lens(lens)
        before = everything()
        merge = merge_gear(double=double, into=kept, by=moderator)
        take_back_merge(merge=merge, by=moderator)
        assert everything() == before
        assert Merge.objects.get().taken_back_by == moderator

    def test_standings_are_stated_again_to_the_last_digit(self, kept, double, moderator, drain):
        reported(kept), reported(double)
        refresh_lens(kept), refresh_lens(double)
        stops = {row.lens_id: row.stops for row in Standing.objects.filter(leads=True)}
        merge = merge_gear(double=double, into=kept, by=moderator)
        drain()
        take_back_merge(merge=merge, by=moderator)
        drain()
        assert {row.lens_id: row.stops for row in Standing.objects.filter(leads=True)} == stops

    def test_what_was_written_since_stays_with_the_kept_one(self, kept, double, moderator):
        merge = merge_gear(double=double, into=kept, by=moderator)
        since = reported(kept)
        take_back_merge(merge=merge, by=moderator)
        since.refresh_from_db()
        assert since.lens == kept and where_now(GearKind.LENS, double.slug) is None

    def test_merges_are_taken_back_in_reverse_order(self, kept, double, moderator):
        last = LensFactory()
        first = merge_gear(double=double, into=kept, by=moderator)
        second = merge_gear(double=kept, into=last, by=moderator)
        with pytest.raises(Conflict, match="Take that merge back first"):
            take_back_merge(merge=first, by=moderator)
        take_back_merge(merge=second, by=moderator)
        assert take_back_merge(merge=first, by=moderator).slug == double.slug

    def test_the_event_log_tells_both(self, kept, double, moderator):
        take_back_merge(
            merge=merge_gear(double=double, into=kept, by=moderator, reason="a slip"), by=moderator
        )
        assert list(Event.objects.values_list("name", flat=True)) == [
            "gear.merged",
            "gear.merge-taken-back",
        ]
        assert verify() == []


class TestFindingDoubles:
    def test_a_slip_of_the_pen_is_found_with_what_both_state(self, kept, double):
        (pair,) = doubles()
        assert {pair.first, pair.second} == {kept, double}
        assert ("focal_min_mm", 35.0) in pair.shared and not pair.differing

    def test_other_figures_or_another_generation_are_other_lenses(self):
        assert likeness_of("Osterby Marram 35 f/1.4", "Osterby Marram 50 f/1.4") == 0
        assert likeness_of("Osterby Marram 35 f/1.4 II", "Osterby Marram 35 f/1.4") == 0
        assert likeness_of("Osterby Marram 35 f/1.4", "Osterby Sedge 35 f/1.4") < 0.82
        assert likeness_of("Osterby Marram Macro 35 f/1.4", "Osterby Marram 35 f/1.4") > 0.82

    def test_two_that_were_set_apart_are_not_shown_again(self, kept, double, moderator):
        set_apart(one=kept, other=double, by=moderator)
        set_apart(one=double, other=kept, by=moderator)
        assert doubles() == []
