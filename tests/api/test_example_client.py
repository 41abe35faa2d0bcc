"""The client that the README shows, run as its reader runs it: against a server."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path

import pytest

from registry.accounts.services import issue_token
from registry.ledger.worker import drain_tasks
from tests.factories import BodyFactory, LensFactory
from tests.report_factories import RigFactory

pytestmark = pytest.mark.django_db(transaction=True)
ROOT = Path(__file__).parents[2]
PROGRAM = ROOT / "examples" / "client.py"


@pytest.fixture(scope="module")
def client():
    found = importlib.util.spec_from_file_location("example_client", PROGRAM)
    module = importlib.util.module_from_spec(found)
    sys.modules["example_client"] = module
    found.loader.exec_module(module)
    return module


@pytest.fixture
def lens():
    return LensFactory(name="Marram 35 mm f/1.4", slug="osterby-marram-own")


@pytest.fixture
def rig():
    return RigFactory(body=BodyFactory(slug="osterby-causey-own"))


@pytest.fixture
def registry(client, live_server, rig):
    _, token = issue_token(account=rig.owner, name="example", scopes=("read", "submit"))
    with client.Registry(live_server.url, token=token) as registry:
        yield registry


def test_it_submits_a_sweep_and_reads_the_standing(client, registry, lens, rig):
    sweep = [client.Seen(mark, grade) for mark, grade in ((4, 0), (8, 0), (11, 3))]
    before = registry.standing(lens.slug)
    assert (before.independent_reports, before.chances) == (0, {})
    report = registry.submit_sweep(lens.slug, rig=rig.public_id, sweep=sweep, shot_on="2024-06-21")
    assert len(report) == 10
    drain_tasks()
    standing = registry.standing(lens.slug, cut_on_nm=720)
    assert standing.sentence == "one report so far: clean to f/8"
    assert standing.independent_reports == 1
    assert standing.chances[4] > 0.5 > standing.chances[11]


def test_it_tells_what_was_refused_and_why(client, registry, lens, rig):
    with pytest.raises(client.Refused, match=r"Did you mean f/5 or f/5\.6\?") as refused:
        registry.submit_sweep(lens.slug, rig=rig.public_id, sweep=[client.Seen(5.3, 0)])
    assert refused.value.problem["errors"][0]["pointer"] == "#/sweeps/0/readings/0/f_number"


def test_it_files_many_and_repeats_none(registry, lens, rig):
    report = {"lens": lens.slug, "basis": "graded", "rig": rig.public_id, "submit": True}
    many = [
        report | {"notes": str(count), "claims": [{"says": "clean_to", "f_number": 8}]} for count in range(3)
    ]
    assert [outcome["status"] for outcome in registry.file_all(many)] == [201] * 3
    assert [outcome["status"] for outcome in registry.file_all(many)] == [200] * 3


def test_it_is_short_and_the_readme_has_it():
    text = PROGRAM.read_text()
    assert len(text.splitlines()) < 100
    readme = (ROOT / "README.md").read_text()
    assert "examples/client.py" in readme or text in readme
