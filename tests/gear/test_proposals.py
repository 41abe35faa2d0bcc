"""Anyone signed in may propose gear and complete facts with a source; a moderator lists it."""

import pytest

from registry.errors import Conflict, InvalidInput, NotAllowed
from registry.gear.models import FactSource, GearStatus, Lens, Maker
from registry.gear.queries import find_lenses, sources_of
from registry.gear.services import (
    add_fact_source,
    complete_fact,
    list_proposal,
    propose_body,
    propose_filter,
    propose_lens,
)
from registry.ledger.models import Event
from tests.factories import AccountFactory, LensFactory, MakerFactory, MountFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def member():
    return AccountFactory()


@pytest.fixture(autouse=True)
def maker_and_mount():
    MakerFactory(), MountFactory()


def proposed(by, **facts):
    stated = {
        "maker": "Osterby",
        "name": "Sedge 40 mm f/2",
        "mounts": "Teal",
        "focal_min_mm": 40,
        "widest_f": 2,
    }
    return propose_lens(by=by, **(stated | facts))


class TestProposing:
    def test_a_proposed_lens_waits_for_listing_and_can_be_found_at_once(self, member):
        lens = proposed(member)
        assert (lens.status, lens.proposed_by, lens.focal_max_mm) == (GearStatus.PROPOSED, member, 40)
        assert find_lenses("sedge 40")[0].lens == lens

    def test_the_event_log_knows(self, member):
        lens = proposed(member)
        event = Event.objects.get()
        assert (event.name, event.subject_kind, event.subject_id) == ("gear.proposed", "lens", lens.slug)
        assert event.actor == member.public_id

    def test_text_as_a_form_sends_it_is_understood(self, member):
        assert proposed(member, focal_min_mm="40", widest_f="2", narrowest_f="").widest_f == 2.0

    def test_every_problem_is_told_at_once(self, member):
        with pytest.raises(InvalidInput) as refusal:
            proposed(member, mounts="Tael", widest_f="wide", focal_min_mm=-1)
        assert {problem.field for problem in refusal.value.problems} == {"mounts", "widest_f", "focal_min_mm"}
        assert not Lens.objects.exists()

    def test_what_contradicts_itself_is_refused(self, member):
        with pytest.raises(InvalidInput, match="wider than the widest"):
            proposed(member, narrowest_f=1.4)

    def test_an_unknown_maker_is_refused_with_the_nearest_unless_said_to_be_new(self, member):
        with pytest.raises(InvalidInput, match="Did you mean Osterby"):
            proposed(member, maker="Osterbey")
        proposed(member, maker="Osterbey", new_maker=True)
        assert Maker.objects.filter(name="Osterbey").exists()

    def test_a_lens_that_the_catalogue_has_is_not_proposed_again(self, member):
        lens = proposed(member)
        with pytest.raises(Conflict) as refusal:
            proposed(member, name="SEDGE 40 MM F/2")
        assert lens.slug in refusal.value.first.remedy
        assert proposed(member, optical_revision="II").slug == f"{lens.slug}-ii"

    def test_a_fact_that_lenses_have_not_is_refused(self, member):
        with pytest.raises(InvalidInput, match="no fact about lenses"):
            proposed(member, status="listed")

    def test_a_source_named_with_the_proposal_is_kept_with_each_fact(self, member):
        lens = proposed(member, source="Engraving on the lens", mass_g=250)
        assert {entry.fact for entry in sources_of(lens)} >= {"mass_g", "widest_f"}

    def test_bodies_and_filters_are_proposed_alike(self, member):
        body = propose_body(by=member, maker="Osterby", name="Causey 9", mount="Teal")
        filter_ = propose_filter(by=member, maker="Ferrow", name="Dusk 665", cut_on_nm=665, new_maker=True)
        assert (body.status, filter_.status) == ("proposed", "proposed")
        assert filter_.cut_on_nm == 665

    def test_a_closed_account_proposes_nothing(self):
        with pytest.raises(NotAllowed):
            proposed(AccountFactory(is_active=False))


class TestListing:
    def test_a_moderator_lists_a_proposal_once(self, member):
        lens, moderator = proposed(member), AccountFactory(moderator=True)
        listed = list_proposal(item=lens, by=moderator)
        assert (listed.status, listed.version) == (GearStatus.LISTED, lens.version + 1)
        assert list_proposal(item=lens, by=moderator).version == listed.version
        assert Event.objects.filter(name="gear.listed").count() == 1

    def test_a_contributor_lists_nothing(self, member):
        lens = proposed(member)
        with pytest.raises(NotAllowed):
            list_proposal(item=lens, by=member)
        lens.refresh_from_db()
        assert lens.status == GearStatus.PROPOSED


class TestFactsAndTheirSources:
    def test_a_missing_fact_is_completed_with_its_source(self, member):
        lens = LensFactory(mass_g=None)
        complete_fact(item=lens, fact="mass_g", value="410", source="My kitchen scales", by=member)
        lens.refresh_from_db()
        assert lens.mass_g == 410
        entry = sources_of(lens).get()
        assert (entry.fact, entry.value, entry.source, entry.added_by) == (
            "mass_g",
            "410.0",
            "My kitchen scales",
            member,
        )

    def test_a_stated_fact_is_not_overwritten_but_may_get_another_source(self, member):
        lens = LensFactory(filter_thread_mm=67)
        with pytest.raises(Conflict, match="already states"):
            complete_fact(item=lens, fact="filter_thread_mm", value=72, source="A ring that fits", by=member)
        add_fact_source(item=lens, fact="filter_thread_mm", value=72, source="A ring that fits", by=member)
        lens.refresh_from_db()
        assert lens.filter_thread_mm == 67
        assert sources_of(lens).get().value == "72.0"

    def test_sources_are_added_never_replaced(self, member):
        lens = LensFactory()
        for page in (11, 12):
            add_fact_source(item=lens, fact="year", value=2016, source=f"Handbook, page {page}", by=member)
        assert [entry.source for entry in sources_of(lens)] == ["Handbook, page 11", "Handbook, page 12"]

    def test_a_source_may_state_a_list(self, member):
        entry = add_fact_source(
            item=LensFactory(), fact="mounts", value=["Teal"], source="Handbook", by=member
        )
        assert entry.value == "Teal"

    @pytest.mark.parametrize(
        "wrong, field",
        [
            ({"source": ""}, "source"),
            ({"source": "x" * 301}, "source"),
            ({"value": "heavy"}, "mass_g"),
            ({"value": ""}, "mass_g"),
            ({"fact": "version", "value": 9}, "version"),
        ],
    )
    def test_what_is_no_fact_or_has_no_source_is_refused(self, member, wrong, field):
        stated = {"fact": "mass_g", "value": 410, "source": "Handbook"} | wrong
        with pytest.raises(InvalidInput) as refusal:
            add_fact_source(item=LensFactory(), by=member, **stated)
        assert refusal.value.first.field == field
        assert not FactSource.objects.exists()

    def test_a_completed_fact_that_contradicts_another_changes_nothing(self, member):
        lens = LensFactory(narrowest_f=None)
        with pytest.raises(InvalidInput):
            complete_fact(item=lens, fact="narrowest_f", value=1.2, source="Handbook", by=member)
        assert not FactSource.objects.exists()
