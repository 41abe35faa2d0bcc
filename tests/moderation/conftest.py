"""A lens whose reports contradict each other, and moderators who have no part in it."""

import pytest

from registry.standings.queries import open_conflicts
from tests.factories import AccountFactory, LensFactory
from tests.standings.evidence import divide


@pytest.fixture
def moderator(db):
    return AccountFactory(moderator=True, name="Avocet")


@pytest.fixture
def second(db):
    return AccountFactory(moderator=True, name="Curlew")


@pytest.fixture
def lens(db):
    return LensFactory(widest_f=2)


@pytest.fixture
def divided(lens):
    return divide(lens)


@pytest.fixture
def conflict(lens, divided):
    return open_conflicts(lens).get()
