"""The catalogue's upkeep by moderators, a piece of gear's history, and the event log for everyone."""

import pytest

from registry.gear.models import Lens, Merge
from registry.gear.services import complete_fact, propose_lens
from registry.ledger.services import record
from tests.factories import AccountFactory, LensFactory, MakerFactory, MountFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def moderator(client, settings):
    settings.MODERATORS_NEED_SECOND_FACTOR = False
    account = AccountFactory(moderator=True)
    client.force_login(account)
    return account


@pytest.fixture
def twins():
    return (
        LensFactory(name="Marram 35 mm f/1.4", slug="marram", mass_g=400),
        LensFactory(name="Maram 35/1.4", slug="maram", mass_g=410),
    )


def text_of(answer):
    return " ".join(answer.content.decode().split())


def settle(client, act, kind="lens"):
    sent = {"kind": kind, "first": "marram", "second": "maram", "act": act, "reason": "A slip of the pen"}
    return client.post("/review/gear/doubles/", sent, follow=True)


def test_nobody_but_moderators_sees_the_upkeep(client):
    assert client.get("/review/gear/").status_code == 302
    client.force_login(AccountFactory())
    assert client.get("/review/gear/").status_code == 403


def test_doubles_are_shown_with_what_both_state_and_where_they_differ(client, moderator, twins):
    shown = text_of(client.get("/review/gear/"))
    assert "Osterby Marram 35 mm f/1.4 · Osterby Maram 35/1.4" in shown
    assert "They differ in: mass, g (400.0, 410.0)" in shown


def test_merging_keeps_the_chosen_one_and_taking_back_makes_two(client, moderator, twins):
    settle(client, "first")
    assert list(Lens.objects.values_list("slug", flat=True)) == ["marram"]
    merge = Merge.objects.get()
    assert (merge.reason, merge.by) == ("A slip of the pen", moderator)
    assert client.get("/gear/lens/maram/history/")["Location"] == "/gear/lens/marram/history/"
    client.post(f"/review/gear/merges/{merge.pk}/undo/")
    assert Lens.objects.count() == 2


def test_two_that_are_two_are_not_asked_about_again(client, moderator, twins):
    assert "No two rows look like one" in text_of(settle(client, "apart"))


def test_a_nonsense_choice_is_refused_and_changes_nothing(client, moderator, twins):
    assert settle(client, "third").status_code == 422
    assert settle(client, "first", kind="cat").status_code == 422
    assert Lens.objects.count() == 2


def test_a_proposal_is_listed_and_its_history_tells_by_whom(client, moderator):
    MakerFactory(), MountFactory()
    member = AccountFactory()
    lens = propose_lens(
        by=member, maker="Osterby", name="Sedge 40", mounts="Teal", focal_min_mm=40, widest_f=2
    )
    complete_fact(item=lens, fact="mass_g", value=300, source="kitchen scales", by=member)
    client.post("/review/gear/list/", {"kind": "lens", "slug": lens.slug})
    client.logout()
    shown = text_of(client.get(f"/gear/lens/{lens.slug}/history/"))
    assert f'Taken into the catalogue</p> <p class="small faint">{moderator.name}' in shown
    assert f'Proposed</p> <p class="small faint">{member.name}' in shown and "kitchen scales" in shown


def test_where_moderators_are_not_named_neither_history_nor_log_names_them(
    client, moderator, twins, settings
):
    settings.DECISIONS_NAME_MODERATORS = False
    settle(client, "first")
    client.logout()
    for address in ("/gear/lens/marram/history/", "/events/"):
        shown = text_of(client.get(address))
        assert moderator.name not in shown and "a moderator" in shown


def test_the_event_log_is_public_paged_and_can_be_read_by_subject(client, django_capture_on_commit_callbacks):
    for number in range(120):
        record("gear.listed", actor=None, subject_kind="lens", subject_id=f"lens-{number % 3}")
    assert "page 1 of 3" in text_of(client.get("/events/"))
    assert "page 3 of 3" in text_of(client.get("/events/?page=3"))
    assert "Only about lens:lens-1" in text_of(client.get("/events/?subject=lens:lens-1"))
    assert "Nothing of the kind" in text_of(client.get("/events/?name=nothing"))
