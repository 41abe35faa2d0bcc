"""Whoever proposed gear hears what became of it."""

import pytest

from registry.gear.services import propose_lens
from registry.moderation.services.catalogue import list_gear, merge_doubles
from registry.moderation.services.refusing import refuse_gear
from registry.watching.models import Notice, Why
from registry.watching.queries import notices_of, notices_told
from tests.factories import AccountFactory, LensFactory

pytestmark = pytest.mark.django_db
FACTS = {"focal_min_mm": 40, "focal_max_mm": 40, "widest_f": 2, "widest_f_tele": 2}


@pytest.fixture(autouse=True)
def without_second_factors(settings):
    settings.MODERATORS_NEED_SECOND_FACTOR = False


@pytest.fixture
def moderator():
    return AccountFactory(moderator=True)


@pytest.fixture
def proposer():
    return AccountFactory()


@pytest.fixture
def lens(proposer):
    return propose_lens(by=proposer, maker="Osterby", name="Sedge 40 mm f/2", new_maker=True, **FACTS)


def told_to(account):
    (told,) = notices_told(notices_of(account))
    assert told.notice.why == Why.PROPOSED
    return told


def test_that_it_was_refused_and_why(lens, proposer, moderator, drain):
    refuse_gear(item=lens, by=moderator, reason="It was never made.")
    drain()
    told = told_to(proposer)
    assert told.title == "What you proposed was refused: Osterby Sedge 40 mm f/2"
    assert (told.reason, told.lens) == ("It was never made.", None)


def test_that_it_was_one_with_another_and_which(client, lens, proposer, moderator, drain):
    kept = LensFactory()
    merge_doubles(double=lens, into=kept, by=moderator, reason="One lens.")
    drain()
    told = told_to(proposer)
    assert "under another name" in told.title and (told.reason, told.lens) == ("One lens.", kept)
    client.force_login(proposer)
    assert f'href="/lenses/{kept.slug}/"' in client.get("/notices/").content.decode()


def test_that_it_is_listed_but_nobody_of_their_own_act(lens, proposer, moderator, drain):
    list_gear(item=lens, by=moderator)
    own = propose_lens(by=moderator, maker="Osterby", name="Sedge 50 mm f/2", **FACTS)
    list_gear(item=own, by=moderator)
    drain()
    assert "is in the catalogue" in told_to(proposer).title
    assert not Notice.objects.filter(account=moderator).exists()
