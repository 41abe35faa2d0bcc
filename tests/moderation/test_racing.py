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
world |= {{"waiting": [], "revised": [], "pairs": []}}
established = report_on(LensFactory(widest_f=2)).author
world["established"] = established.pk
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
    world["revised"].append(reports[3].pk)
    world["waiting"].append(report_on(LensFactory(widest_f=2), state="waiting").pk)
    lens = LensFactory(widest_f=2)
    pair = [report_on(lens).author.pk for _ in range(8)][:2]
    world["pairs"].append([lens.pk, pair])
print(json.dumps(world))
"""
MODERATOR = """
import django, json, sys, time
django.setup()
from registry.accounts.models import Account
from registry.errors import Conflict as Refused
from registry.moderation.models import Decision
from registry.moderation.services import answer_proposal, decide
from registry.moderation.services.voices import decide_voices
from registry.reports.models import Report
from registry.reports.services.confirming import confirm_report
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
for number in world["waiting"]:
    attempt(lambda: confirm_report(report=Report.objects.get(pk=number), by=me))
for _, pair in world["pairs"]:
    accounts = list(Account.objects.filter(pk__in=pair))
    attempt(lambda: decide_voices(by=me, act="same-voice", accounts=accounts, reason="At once."))
print(json.dumps(told))
"""
CONTRIBUTOR = """
import django, json, sys, time
django.setup()
from registry.accounts.models import Account
from registry.errors import Conflict as Refused
from registry.reports.models import Report
from registry.reports.services import revise_report, withdraw_report
from registry.reports.services.confirming import confirm_report
from registry.reports.services.replies import reply_on_report
world = json.loads(sys.argv[1])
time.sleep(max(0, float(sys.argv[3]) - time.time()))
for _, _, rows in world["conflicts"]:
    mine, other = (Report.objects.select_related("author").get(pk=rows[place]) for place in (0, 4))
    reply_on_report(report=other, by=other.author, says="It was a wall.")
    withdraw_report(report=mine, by=mine.author, reason="Wrong lens.")
confirmed = 0
established = Account.objects.get(pk=world["established"])
for revised, waiting in zip(world["revised"], world["waiting"]):
    mine = Report.objects.select_related("author").get(pk=revised)
    revise_report(report=mine, by=mine.author, reason="A word more.", changes={"notes": "On the dunes."})
    try:
        confirm_report(report=Report.objects.get(pk=waiting), by=established)
        confirmed += 1
    except Refused:
        pass
print(json.dumps({"withdrawn": len(world["conflicts"]), "confirmed": confirmed}))
"""
AFTERWARDS = """
import django, json, sys
django.setup()
from registry.accounts.models import SharedVoice
from registry.ledger.models import Event
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
for report in Report.objects.filter(pk__in=world["revised"]):
    assert (report.revision, report.notes, report.revisions.count()) == (2, "On the dunes.", 1)
assert Event.objects.filter(name="report.confirmed").count() == len(world["waiting"])
for report in Report.objects.filter(pk__in=world["waiting"]):
    assert Standing.objects.get(lens=report.lens).n_independent == 1
assert SharedVoice.objects.count() == len(world["pairs"])
for lens, _ in world["pairs"]:
    assert Standing.objects.get(lens=lens).n_independent == 7
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
    # Of each conflict, proposal, waiting report and pair of accounts, one of those who act decides.
    assert first["decided"] + second["decided"] + contributor["confirmed"] == 4 * CONFLICTS
    refused = first["refused"] + second["refused"]
    assert len(refused) == 4 * CONFLICTS + contributor["confirmed"]
    assert set(refused) <= {"changed-meanwhile", "already-answered", "wrong-state", "one-voice-already"}
    assert contributor["withdrawn"] == CONFLICTS
    assert told(run(AFTERWARDS, environment, world))
