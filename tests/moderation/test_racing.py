"""Two moderators and a contributor at once, each a process of its own: nothing is lost, nothing counts twice."""

import json
import os
import subprocess
import sys
import time

import pytest
from django.db import connection

from tests.ledger.test_racing import ROOT, database_for

CONFLICTS = 8

SET_UP = f"""
import django, json
django.setup()
from registry.standings.services import refresh_lens
from registry.standings.queries import open_conflicts
from registry.moderation.services import decide
from tests.factories import AccountFactory, LensFactory
from tests.standings.evidence import report_on
moderators = [AccountFactory(moderator=True) for _ in range(3)]
world = {{"moderators": [one.pk for one in moderators], "conflicts": [], "proposals": []}}
for _ in range({CONFLICTS}):
    lens = LensFactory(widest_f=2)
    reports = [report_on(lens, limit=limit) for limit in (11, 11, 11, 2.8, 2.8)]
    refresh_lens(lens)
    conflict = open_conflicts(lens).get()
    world["conflicts"].append([conflict.pk, conflict.version, [one.pk for one in reports]])
    lens = LensFactory(widest_f=2)
    reports = [report_on(lens, limit=limit) for limit in (11, 11, 11, 2.8, 2.8)]
    refresh_lens(lens)
    made = decide(by=moderators[2], act="set-aside", reports=reports[3:], reason="Dunes.", reason_code="not-a-target")
    assert made.proposed
    world["proposals"].append(made.pk)
print(json.dumps(world))
"""
MODERATOR = """
import django, json, sys, time
django.setup()
from registry.accounts.models import Account
from registry.errors import Conflict as Refused
from registry.moderation.models import Decision
from registry.moderation.services import answer_proposal, decide
from registry.reports.models import Report
from registry.standings.models import Conflict
world, who = json.loads(sys.argv[1]), int(sys.argv[2])
me = Account.objects.get(pk=world["moderators"][who])
told = {"decided": 0, "refused": []}
def attempt(act):
    try:
        act()
        told["decided"] += 1
    except Refused as refusal:
        told["refused"].append(refusal.first.code)
time.sleep(max(0, float(sys.argv[3]) - time.time()))
for number, version, rows in world["conflicts"]:
    conflict = Conflict.objects.get(pk=number)
    chosen = list(Report.objects.filter(pk__in=rows[3:])) if who == 0 else []
    act = "same-copy" if who == 0 else "accept"
    sent = {"act": act, "conflict": conflict, "reports": chosen, "reason": "At once.", "expected_version": version}
    attempt(lambda: decide(by=me, **sent))
for number in world["proposals"]:
    proposal = Decision.objects.get(pk=number)
    attempt(lambda: answer_proposal(decision=proposal, by=me, agree=who == 0, reason="At once."))
print(json.dumps(told))
"""
CONTRIBUTOR = """
import django, json, sys, time
django.setup()
from registry.reports.models import Report
from registry.reports.services import withdraw_report
from registry.reports.services.replies import reply_on_report
world = json.loads(sys.argv[1])
time.sleep(max(0, float(sys.argv[3]) - time.time()))
for _, _, rows in world["conflicts"]:
    mine, other = (Report.objects.select_related("author").get(pk=rows[place]) for place in (0, 4))
    reply_on_report(report=other, by=other.author, says="It was a wall.")
    withdraw_report(report=mine, by=mine.author, reason="Wrong lens.")
print(json.dumps({"withdrawn": len(world["conflicts"])}))
"""
AFTERWARDS = """
import django, json, sys
django.setup()
from registry.ledger.services import verify
from registry.ledger.worker import drain_tasks
from registry.moderation.models import Decision
from registry.moderation.queries.decisions import decisions, status_of
from registry.reports.models import Bond, Reply, Report
from registry.standings.models import Conflict, Standing
world = json.loads(sys.argv[1])
drain_tasks()
assert verify() == []
states = set()
for number, version, rows in world["conflicts"]:
    (made,) = decisions().filter(conflict=number)
    states.add(made.act)
    lens = Report.objects.get(pk=rows[0]).lens
    expected = 3 if made.act == "same-copy" else 4
    assert Standing.objects.get(lens=lens).n_independent == expected, (made.act, lens)
assert Bond.objects.count() == Decision.objects.filter(act="same-copy").count()
assert Reply.objects.count() == len(world["conflicts"])
assert Report.objects.filter(state="withdrawn").count() == len(world["conflicts"])
for number in world["proposals"]:
    proposal = decisions().get(pk=number)
    assert proposal.answers.count() == 1
    agreed = status_of(proposal).code == "in-force"
    assert {one.state for one in proposal.reports.all()} == {"set-aside" if agreed else "submitted"}
print(json.dumps(sorted(states)))
"""


def run(code, environment, *arguments):
    return subprocess.Popen(
        [sys.executable, "-c", code, *arguments],
        cwd=ROOT,
        env=os.environ | environment,
        stdout=subprocess.PIPE,
        text=True,
    )


def told(process):
    said, _ = process.communicate()
    assert process.returncode == 0
    return json.loads(said.splitlines()[-1])


@pytest.mark.slow
@pytest.mark.django_db(transaction=True)
def test_of_two_moderators_at_once_one_decides_and_the_other_is_told(tmp_path):
    environment = {
        "DJANGO_SETTINGS_MODULE": "registry.project.settings",
        "DATABASE_URL": database_for(tmp_path),
        "CLEANSTOP_DATA_DIR": str(tmp_path),
    }
    if connection.vendor == "sqlite":
        migrate = [sys.executable, "manage.py", "migrate", "--skip-checks", "--verbosity=0"]
        subprocess.run(migrate, cwd=ROOT, env=os.environ | environment, check=True)
    world = json.dumps(told(run(SET_UP, environment)))
    start = str(time.time() + 8)  # once every process has started
    actors = [
        run(code, environment, world, who, start)
        for code, who in ((MODERATOR, "0"), (MODERATOR, "1"), (CONTRIBUTOR, ""))
    ]
    first, second, contributor = [told(actor) for actor in actors]
    assert first["decided"] + second["decided"] == 2 * CONFLICTS
    refused = first["refused"] + second["refused"]
    assert len(refused) == 2 * CONFLICTS
    assert set(refused) <= {"changed-meanwhile", "already-answered"}
    assert contributor["withdrawn"] == CONFLICTS
    assert told(run(AFTERWARDS, environment, world))
