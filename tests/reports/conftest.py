"""This room's tests end at the ledger: what its followers do is their rooms' business."""

import pytest


@pytest.fixture(autouse=True)
def _nobody_follows(settings):
    settings.LEDGER_FOLLOWERS = "tests.report_factories.NOBODY_FOLLOWS"
