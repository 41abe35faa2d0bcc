"""The API against its own description, by schemathesis: requests that the description allows, that it doesn't, and
sequences of them. No answer may be a fault of the server's, have an undescribed status or kind, or another shape."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
from django.core.servers.basehttp import WSGIRequestHandler

from registry.accounts.services import issue_token
from registry.ledger.worker import drain_tasks
from registry.reports.services import submit_report
from tests.factories import AccountFactory
from tests.report_factories import ReportFactory

pytestmark = pytest.mark.django_db(transaction=True)
# Two checks guess from the description what must be refused or taken; they don't see rules between fields.
LEFT_OUT = "negative_data_rejection,positive_data_acceptance"
WISHED_CASES = 5000
HOOKS = "tests.api.lines_for_schemathesis"


@pytest.fixture
def served(live_server, settings, monkeypatch):
    """A server with a report on a lens, whose limits don't end the test, and which doesn't wait to fill packets."""
    monkeypatch.setattr(WSGIRequestHandler, "disable_nagle_algorithm", True)
    settings.API_LIMITS = dict.fromkeys(settings.API_LIMITS, 10**9)
    report = ReportFactory(grades={4: 0, 8: 0, 11: 3})
    submit_report(report=report, by=report.author)
    drain_tasks()
    return live_server.url


def token_of(role: str) -> list[str]:
    if role == "anyone":
        return []
    scopes = ("read", "submit", "moderate") if role == "moderator" else ("read", "submit")
    account = AccountFactory(moderator=role == "moderator")
    return [
        "--header",
        f"Authorization: Token {issue_token(account=account, name='cases', scopes=scopes)[1]}",
    ]


def cases_tried(address: str, folder: Path, *options: str) -> int:
    """Run it over the served document, and tell how many requests it made. Fails with what it found."""
    command = [sys.executable, "-m", "schemathesis.cli", "run", f"{address}/api/v1/openapi.json"]
    fixed = [
        "--exclude-checks",
        LEFT_OUT,
        "--generation-deterministic",
        "--no-shrink",
        "--continue-on-failure",
    ]
    environment = os.environ | {"SCHEMATHESIS_HOOKS": HOOKS, "PYTHONPATH": str(Path(__file__).parents[2])}
    run = subprocess.run(
        [*command, *fixed, "--no-color", *options],
        capture_output=True,
        text=True,
        env=environment,
        cwd=folder,
    )
    assert run.returncode == 0, run.stdout[-8000:] + run.stderr[-2000:]
    return int(re.search(r"(\d+) generated", run.stdout)[1])


def test_the_api_answers_as_it_is_described(served, tmp_path):
    few = ("--phases", "examples,fuzzing", "--max-examples", "1")
    assert cases_tried(served, tmp_path, *token_of("moderator"), *few) > 0


@pytest.mark.long
@pytest.mark.parametrize("role", ["anyone", "contributor", "moderator"])
def test_thousands_of_cases_find_no_fault(served, tmp_path, role):
    cases = cases_tried(served, tmp_path, *token_of(role), "--max-examples", "20")
    assert cases >= WISHED_CASES / 3
