"""Lists of picks: signed, changed by their author only, and gone but for their address once withdrawn."""

import pytest

from registry.accounts.services import close_account
from registry.errors import Conflict, InvalidInput, NotAllowed
from registry.ledger.models import Event
from registry.picks import services
from registry.picks.queries import pick_lists, picks_in, picks_of_lens
from registry.picks.rules import PickGiven
from tests.factories import AccountFactory, LensFactory

pytestmark = pytest.mark.django_db


@pytest.fixture
def author():
    return AccountFactory(name="knot")


def made_by(author, *lenses, title="Dunes at 720 nm"):
    return services.publish_list(
        author=author, title=title, about="", picks=[PickGiven(lens, "I take it out.") for lens in lenses]
    )


def test_a_list_keeps_its_order_and_its_author(author):
    lenses = [LensFactory() for _ in range(3)]
    made = made_by(author, *reversed(lenses))
    assert [pick.lens for pick in picks_in(made)] == lenses[::-1]
    assert list(pick_lists(lens=lenses[0])) == [made]
    assert Event.objects.get(name="pick-list.published").actor == author.public_id


def test_everything_that_is_wrong_is_said_at_once(author):
    lens = LensFactory()
    with pytest.raises(InvalidInput) as refusal:
        services.publish_list(
            author=author, title=" ", about="", picks=[PickGiven(lens, "Good."), PickGiven(lens, "")]
        )
    assert [problem.code for problem in refusal.value.problems] == [
        "title-missing",
        "picked-twice",
        "reason-missing",
    ]
    with pytest.raises(InvalidInput) as refusal:
        made_by(author)
    assert refusal.value.first.code == "picks-missing"


def test_only_its_author_changes_a_list_and_never_over_another_change(author):
    lens, other = LensFactory(), LensFactory()
    made = made_by(author, lens)
    said = {"title": "Marsh", "about": "", "picks": [PickGiven(other, "Sharper.")]}
    with pytest.raises(NotAllowed):
        services.change_list(pick_list=made, by=AccountFactory(), **said)
    changed = services.change_list(pick_list=made, by=author, expected_version=1, **said)
    assert [pick.lens for pick in picks_in(changed)] == [other]
    with pytest.raises(Conflict) as refusal:
        services.change_list(pick_list=made, by=author, expected_version=1, **said)
    assert refusal.value.first.code == "changed-meanwhile"


def test_a_withdrawn_list_keeps_its_address_and_none_of_its_words(author):
    lens = LensFactory()
    made = services.withdraw_list(pick_list=made_by(author, lens), by=author)
    assert made.is_withdrawn and picks_in(made) == []
    assert not pick_lists().exists()
    with pytest.raises(Conflict):
        services.withdraw_list(pick_list=made, by=author)


def test_a_lens_tells_who_recommends_it_without_a_statement_once_known(
    author, django_assert_num_queries, django_capture_on_commit_callbacks
):
    lens = LensFactory()
    assert picks_of_lens(lens) == []
    with django_capture_on_commit_callbacks(execute=True):
        made = made_by(author, lens)
    assert picks_of_lens(lens) == [
        {
            "list": made.public_id,
            "title": "Dunes at 720 nm",
            "author": "knot",
            "reason": "I take it out.",
        }
    ]
    with django_assert_num_queries(0):
        picks_of_lens(lens)
    with django_capture_on_commit_callbacks(execute=True):
        services.withdraw_list(pick_list=made, by=author)
    assert picks_of_lens(lens) == []


def test_there_is_an_end_to_what_one_may_publish(author, monkeypatch):
    monkeypatch.setattr(services, "LISTS_PER_ACCOUNT", 1)
    made_by(author, LensFactory())
    with pytest.raises(Conflict) as refusal:
        made_by(author, LensFactory())
    assert refusal.value.first.code == "too-many-lists"


def test_an_authors_former_name_is_soon_gone_from_a_lenss_page(
    author, drain, django_capture_on_commit_callbacks
):
    lens = LensFactory()
    with django_capture_on_commit_callbacks(execute=True):
        made_by(author, lens)
    assert picks_of_lens(lens)[0]["author"] == "knot"
    with django_capture_on_commit_callbacks(execute=True):
        pseudonym = close_account(account=author)
        drain()
    assert picks_of_lens(lens)[0]["author"] == pseudonym
