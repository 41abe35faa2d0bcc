"""What moderators decided is part of what a release's standings follow from."""

import pytest

from registry.moderation.services import decide
from registry.publishing.queries import folder_of
from registry.publishing.services import make_release
from registry.publishing.verifying import verify_release
from registry.standings.by_condition import ByCondition
from registry.standings.queries import open_conflicts
from registry.standings.services import refresh_lens
from tests.factories import AccountFactory, LensFactory
from tests.standings.evidence import report_on

pytestmark = pytest.mark.django_db


def test_standings_by_condition_and_joined_reports_verify_from_a_releases_own_files(settings, tmp_path):
    settings.RELEASES_ROOT, settings.PUBLIC_URL = tmp_path / "releases", "https://registry.example"
    lens = LensFactory(widest_f=2, narrowest_f=16)
    reports = []
    for _ in range(6):
        report_on(lens, limit=11, filter_position="front")
        reports.append(report_on(lens, limit=4, filter_position="rear"))
    refresh_lens(lens)
    conflict, moderator = open_conflicts(lens).get(), AccountFactory(moderator=True)
    labels = ("with the filter in front of the lens", "with the filter behind the lens")
    decide(
        by=moderator, act="split", conflict=conflict, reason="It does.",
        condition=ByCondition("filter_position", "front", labels),
    )  # fmt: skip
    decide(by=moderator, act="same-frames", reports=reports[:2], reason="One set.")
    refresh_lens(lens)
    make_release("2026.1")
    outcome = verify_release(folder_of("2026.1"))
    assert outcome.holds, outcome.differences
    assert outcome.standings == 1
