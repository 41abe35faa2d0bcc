"""What is to be decided, before it is: checked, and with what it would change."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from registry.accounts.models import Account
from registry.gear.models import Lens
from registry.moderation.models import Act
from registry.reports.models import Report
from registry.standings.by_condition import ByCondition
from registry.standings.models import Conflict
from registry.standings.queries.supposing import Joined, Supposition
from registry.standings.rules import LightPath


@dataclass(frozen=True)
class Plan:
    """One act on some reports, a conflict or accounts. condition: to state a path by; changes: of gear fields, as
    sent; gear: the values that they make. accounts: whose voices it is about; then reports are theirs, on any number
    of lenses, and lens is None."""

    act: str
    lens: Lens | None
    reports: Sequence[Report] = ()
    conflict: Conflict | None = None
    condition: ByCondition | None = None
    changes: Mapping[str, Any] = field(default_factory=dict)
    gear: Mapping[str, Any] = field(default_factory=dict)
    accounts: Sequence[Account] = ()

    @property
    def path(self) -> LightPath:
        """The light path that a conflict is about."""
        row = self.conflict.standing
        return LightPath(row.lens, row.teleconverter, row.adapter)

    @property
    def lenses(self) -> list[Lens]:
        """Every lens whose standings may move."""
        named = [self.lens, self.gear.get("lens")] if self.lens else [report.lens for report in self.reports]
        return list(dict.fromkeys(lens for lens in named if lens is not None))

    def supposed(self) -> Supposition:
        """What would count otherwise."""
        rows = frozenset(report.pk for report in self.reports)
        match self.act:
            case Act.SET_ASIDE:
                return Supposition(set_aside=rows)
            case Act.RESTORE:
                return Supposition(restored=rows)
            case Act.SAME_COPY | Act.SAME_SOURCE | Act.SAME_FRAMES:
                return Supposition(joined=(Joined(self.act, "supposed", rows),))
            case Act.SPLIT:
                return Supposition(by_condition=((self.path, self.condition),))
            case Act.SAME_VOICE:
                return Supposition(one_voice=frozenset(account.public_id for account in self.accounts))
            case Act.CORRECT_GEAR:
                return Supposition(corrected=dict.fromkeys(rows, self.gear))
        return Supposition()
