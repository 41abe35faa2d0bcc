"""Rows are locked so that whoever merely points at them needn't wait.

A plain FOR UPDATE also keeps others from checking their foreign keys to the row (PostgreSQL 15, 13.3.2), which Django
lets them do only as they commit: while they hold the event log. Who holds such a lock and then waits for the log waits
for ever. FOR NO KEY UPDATE serves wherever the row is not deleted.
"""

import re
from pathlib import Path

ROOT = Path(__file__).parents[2]
LOCK = re.compile(r"select_for_update\(([^()]*(?:\([^()]*\))?[^()]*)\)")
# What is locked here is deleted.
DELETING = {"registry/gear/merging.py": 1, "registry/moderation/services/refusing.py": 1}


def test_rows_are_locked_without_their_keys_unless_they_are_deleted():
    found = {}
    for room in ("registry", "api"):
        for file in (ROOT / room).rglob("*.py"):
            locks = [told for told in LOCK.findall(file.read_text()) if "no_key=True" not in told]
            if locks:
                found[str(file.relative_to(ROOT))] = len(locks)
    assert found == DELETING
