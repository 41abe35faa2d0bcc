"""Watching a lens is an account's own affair, and done once."""

import pytest

from registry.errors import Conflict
from registry.watching import services
from registry.watching.queries import is_watching, lenses_of, watches_of
from tests.factories import AccountFactory, LensFactory
from tests.standings.evidence import report_on

pytestmark = pytest.mark.django_db


def test_watching_twice_is_watching_once():
    account, lens = AccountFactory(), LensFactory()
    assert services.watch_lens(account=account, lens=lens) == services.watch_lens(account=account, lens=lens)
    assert list(watches_of(account).values_list("lens", flat=True)) == [lens.pk]


def test_stopping_is_harmless_where_nobody_watches():
    account, lens = AccountFactory(), LensFactory()
    services.unwatch_lens(account=account, lens=lens)
    services.watch_lens(account=account, lens=lens)
    services.unwatch_lens(account=account, lens=lens)
    assert not is_watching(account, lens)


def test_there_is_an_end_to_what_one_can_watch(monkeypatch):
    monkeypatch.setattr(services, "WATCHES_PER_ACCOUNT", 1)
    account = AccountFactory()
    services.watch_lens(account=account, lens=LensFactory())
    with pytest.raises(Conflict) as refusal:
        services.watch_lens(account=account, lens=LensFactory())
    assert refusal.value.first.code == "too-many-watches"


def test_my_lenses_are_those_i_watch_or_reported_on():
    account = AccountFactory()
    watched, reported, other = (LensFactory(widest_f=2) for _ in range(3))
    services.watch_lens(account=account, lens=watched)
    report_on(reported, author=account)
    report_on(other)
    assert set(lenses_of(account)) == {watched, reported}
