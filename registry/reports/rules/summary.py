"""Whether what a contributor says of a lens agrees with what was measured in their frames."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from registry.consensus.constants import VISIBLE_EV
from registry.errors import Problem
from registry.optics.stops import exact_av, mark_of
from registry.reports.models import OwnSummary, Report, SummarySays, Sweep
from registry.reports.models.summary import ABOUT_A_STOP
from registry.reports.rules.contents import Tested, read_f_number
from registry.reports.rules.inputs import Input

LIKELY = (
    1.0  # standard errors beyond the threshold: being asked once more costs a tick, so "likely" is enough
)
SAME_STOP_AV = 0.17  # half a third stop
CLEAN, HOT, OPEN = "clean", "hot", "open"


@dataclass(frozen=True)
class SeenStop:
    """What was measured at one stop, the worst of all focal lengths.

    state: "hot" where the excess lies above the visible threshold by a standard error at one of them, "clean" where it
    lies below by one at all, else "open". excess_ev: of the worst.
    """

    f_number: float
    av: float
    focal_length_mm: float
    excess_ev: float
    state: str


def read_summary(source: Input, tested: Tested) -> dict[str, Any] | None:
    """What an own summary says; None where it says nothing. Problems collect in source.

    source: says, a word of SummarySays; f_number, as marked, where it is about a stop.
    """
    says = source.choice("says", SummarySays.values, what="Summary")
    if not says:
        return None
    if says not in ABOUT_A_STOP:
        return {"says": says, "f_number": None}
    if source.content.get("f_number") in (None, ""):
        source.missing(
            "f_number", f"The stop of “{SummarySays(says).label}”", "Give the f-number, such as 8."
        )
        return None
    return {"says": says, "f_number": read_f_number(source, tested, None)}


def read_standing(source: Input) -> dict[str, Any]:
    """Whether its author stands by a summary, and why. Problems collect in source."""
    stands = source.content.get("stands")
    if stands is not None and not isinstance(stands, bool):
        source.refuse(
            "not-yes-or-no", "stands", stands, f"“{stands}” is neither true nor false.", "Send true or false."
        )
    answer = source.text("answer", longest=300, what="The answer")
    return {"stands": stands is True, "answer": answer if stands is True else ""}


def read_own_summary(source: Input, tested: Tested) -> dict[str, Any]:
    """The own_summary of a report's content, an object of says, f_number, stands and answer; empty for null, which
    takes it away."""
    if source.content.get("own_summary") is None:
        return {}
    nested = Input(source.content["own_summary"], source.field("own_summary"), source.problems)
    nested.known(("says", "f_number", "stands", "answer"))
    said, standing = read_summary(nested, tested), read_standing(nested)
    return said | standing if said else {}


def seen_stops(sweeps: Iterable[Sweep], visible_ev: float = VISIBLE_EV) -> list[SeenStop]:
    """What was measured, stop by stop over all focal lengths, widest first. Grades by eye are left out: they are the
    contributor's own word already. sweeps: with their readings loaded."""
    by_stop: dict[float, list[SeenStop]] = {}
    for sweep in sweeps:
        for reading in sweep.readings.all():
            if reading.excess_ev is not None:
                seen = _seen(sweep, reading, visible_ev)
                by_stop.setdefault(round(reading.av * 3) / 3, []).append(seen)
    return [_worst(seen) for _, seen in sorted(by_stop.items())]


def contradiction_problems(report: Report) -> list[Problem]:
    """A summary that its author must correct or stand by before the report goes in. Having stood by it once does not
    cover what is measured otherwise afterwards."""
    summary = OwnSummary.objects.filter(report=report).first()
    found = contradictions_of(report, summary)
    if not found or (summary.stands and set(found) <= set(summary.contradicts)):
        return []
    return [
        Problem(
            code="summary-contradicts-measurement",
            field="own_summary",
            value=str(summary),
            says=f"You say “{summary}”. {' '.join(found)}",
            remedy="Look at those frames again: then correct your summary, or say that it stands.",
        )
    ]


def contradictions_of(report: Report, summary: OwnSummary | None) -> list[str]:
    """What was measured in a report's frames against its author's summary; empty where there is none."""
    if summary is None:
        return []
    return [*_against(summary, seen_stops(report.sweeps.prefetch_related("readings")))]


def _seen(sweep: Sweep, reading: Any, visible_ev: float) -> SeenStop:
    spread = LIKELY * reading.excess_se
    hot, clean = reading.excess_ev - spread >= visible_ev, reading.excess_ev + spread < visible_ev
    state = HOT if hot else CLEAN if clean else OPEN
    return SeenStop(reading.f_number, reading.av, sweep.focal_length_mm, reading.excess_ev, state)


def _worst(seen: list[SeenStop]) -> SeenStop:
    rank = {HOT: 2, OPEN: 1, CLEAN: 0}
    return max(seen, key=lambda stop: (rank[stop.state], stop.excess_ev))


def _against(summary: OwnSummary, stops: list[SeenStop]):
    av = exact_av(summary.f_number) if summary.f_number else None
    if summary.says == SummarySays.CLEAN_TO:
        yield from _hot_among([stop for stop in stops if stop.av <= av + SAME_STOP_AV])
        yield from _all_clean([stop for stop in stops if stop.av >= av + 1 - SAME_STOP_AV])
    elif summary.says == SummarySays.HOT_FROM:
        yield from _hot_among([stop for stop in stops if stop.av < av - SAME_STOP_AV])
        yield from _all_clean([stop for stop in stops if stop.av >= av - SAME_STOP_AV])
    elif summary.says == SummarySays.CLEAN_ALL:
        yield from _hot_among(stops)
    elif summary.says == SummarySays.HOT_ALL:
        clean = [stop for stop in stops if stop.state == CLEAN]
        if clean:
            yield f"At {_stops(clean)} no visible patch was measured."


def _hot_among(stops: list[SeenStop]):
    hot = [stop for stop in stops if stop.state == HOT]
    if hot:
        first = hot[0]
        yield (
            f"At {mark_of(first.f_number)} ({first.focal_length_mm:g} mm) a patch of {first.excess_ev:.2f} EV was "
            "measured, which is visible."
        )


def _all_clean(stops: list[SeenStop]):
    if stops and all(stop.state == CLEAN for stop in stops):
        yield f"At {_stops(stops)} no visible patch was measured."


def _stops(stops: list[SeenStop]) -> str:
    first, last = mark_of(stops[0].f_number), mark_of(stops[-1].f_number)
    if len(stops) <= 2:
        return " and ".join(mark_of(stop.f_number) for stop in stops)
    return f"{len(stops)} stops from {first} to {last}"
