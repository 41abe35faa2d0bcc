"""A lens whose reports contradict each other, and moderators who have no part in it."""

import pytest

from registry.standings.queries import open_conflicts
from registry.standings.services import refresh_lens
from tests.factories import AccountFactory, LensFactory
from tests.standings.evidence import report_on


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
    """Three say f/11, two say f/2.8."""
    reports = [report_on(lens, limit=limit) for limit in (11, 11, 11, 2.8, 2.8)]
    refresh_lens(lens)
    return reports


@pytest.fixture
def conflict(lens, divided):
    return open_conflicts(lens).get()
