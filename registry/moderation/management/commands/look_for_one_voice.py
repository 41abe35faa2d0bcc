"""Look over every account's tests for signs that several accounts are one person's; for reports from before."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand
from tqdm import tqdm

from registry.accounts.models import Account
from registry.gear.models import Lens
from registry.moderation.queries.voices import own_tests
from registry.moderation.services.voices import look_for_one_voice


class Command(BaseCommand):
    help = "Note for moderators which accounts look like one person's, over all reports. Safe to repeat."

    def handle(self, *args: Any, **options: Any) -> None:
        pairs = own_tests().order_by("lens", "author").values_list("author", "lens").distinct()
        fresh = 0
        for author, lens in tqdm(list(pairs), unit="test", disable=None):
            account = Account.objects.get(pk=author)
            fresh += look_for_one_voice(account, Lens.objects.select_related("maker").get(pk=lens))
        self.stdout.write(f"{fresh} new sign{'' if fresh == 1 else 's'}.")
