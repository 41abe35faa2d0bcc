"""The exchange form: a document of cases in, a document of answers out, for checks from outside."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass

from registry.consensus.answers import Answer, Question, answer
from registry.consensus.constants import METHOD_VERSION, VISIBLE_EV, VISIBLE_EV_RANGE
from registry.consensus.evidence import Claim, Lens, Reading, Report, check_lens, check_report, check_stops
from registry.consensus.evidence import check_question as check_conditions
from registry.consensus.priors import fit_priors
from registry.consensus.sentences import verdict_words
from registry.errors import CleanstopError, InvalidInput, Problem

_OWN_NAMES = {"f_number": "f", "ev_se": "u", "tester": "contributor"}


@dataclass(frozen=True)
class Case:
    """One question about one lens, with the reports it is to be answered from."""

    id: str
    lens: Lens
    question: Question
    stops: tuple[float, ...]
    reports: tuple[Report, ...]


def consensus_of(document: Mapping, visible_ev: float = VISIBLE_EV) -> dict:
    """Answer every case of a document; all its cases together are the catalogue that the priors learn from.

    Returns {"cases": {id: answer}, "refused": {id: [problem]}, "method_version": …}; "refused" only where a
    case can't be taken, with each problem's code, field (dotted path), value, says and remedy.
    Raises InvalidInput when the document as a whole can't be read, or the threshold is out of range.
    """
    check_visible_ev(visible_ev)
    cases, refused = read_cases(document)
    priors = fit_priors([(case.lens, case.reports) for case in cases], visible_ev=visible_ev)
    answers = {
        case.id: _written(
            answer(case.lens, case.reports, case.question, case.stops, priors, visible_ev=visible_ev)
        )
        for case in cases
    }
    result = {"method_version": METHOD_VERSION, "cases": answers}
    return {**result, "refused": refused} if refused else result


def check_visible_ev(visible_ev: float, field: str = "visible_ev") -> float:
    """Return a reader's threshold (EV); raises InvalidInput outside VISIBLE_EV_RANGE."""
    low, high = VISIBLE_EV_RANGE
    if isinstance(visible_ev, int | float) and low <= visible_ev <= high:
        return float(visible_ev)
    raise InvalidInput(
        Problem(
            code="visible-ev-out-of-range",
            field=field,
            value=visible_ev,
            says=f"“{visible_ev}” is not a visible threshold between {low} and {high} EV.",
            remedy=f"Give a tolerance in EV from {low} to {high}; {VISIBLE_EV} is usual.",
        )
    )


def read_cases(document: Mapping) -> tuple[list[Case], dict[str, list[dict]]]:
    """Cases of a document, and the problems of those that can't be taken, by id."""
    content = document.get("cases") if isinstance(document, Mapping) else None
    if not isinstance(content, list):
        raise InvalidInput(
            Problem(
                code="cases-missing",
                field="cases",
                says="The document holds no list of cases.",
                remedy='Send an object like {"cases": [{"id": "a", "lens": {…}, …}]}.',
            )
        )
    cases: list[Case] = []
    refused: dict[str, list[dict]] = {}
    for index, raw in enumerate(content):
        try:
            case = _read_case(raw, f"cases[{index}]")
            _refuse_twice(case.id, {*refused, *(known.id for known in cases)}, f"cases[{index}].id")
            cases.append(case)
        except CleanstopError as error:
            name = _name(raw, index, {*refused, *(known.id for known in cases)})
            refused[name] = [_as_sent(problem) for problem in error.problems]
    return cases, refused


def _name(raw: object, index: int, taken: set[str]) -> str:
    name = str(raw["id"]) if isinstance(raw, Mapping) and raw.get("id") is not None else f"cases[{index}]"
    return name if name not in taken else f"{name} (cases[{index}])"


def _refuse_twice(name: str, known: set[str], field: str) -> None:
    if name in known:
        raise InvalidInput(
            Problem(
                "case-twice", f"The id “{name}” stands twice.", "Give every case its own id.", field, name
            )
        )


def _as_sent(problem: Problem) -> dict:
    field = re.sub(r"[a-z_]+$", lambda word: _OWN_NAMES.get(word[0], word[0]), problem.field)
    value = problem.value if isinstance(problem.value, int | str | None) else repr(problem.value)
    return {**asdict(problem), "field": field, "value": value}


def _read_case(raw: object, path: str) -> Case:
    raw = _object(raw, path)
    if raw.get("id") is None:
        raise InvalidInput(Problem("id-missing", "The case has no id.", "Give it one.", f"{path}.id"))
    lens = Lens(**_picked(_object(raw.get("lens"), f"{path}.lens"), Lens))
    check_lens(lens, f"{path}.lens")
    question = Question(**_picked(_object(raw.get("question", {}), f"{path}.question"), Question))
    check_conditions(question, f"{path}.question")
    stops = _list(raw.get("question_stops"), f"{path}.question_stops")
    check_stops(stops, f"{path}.question_stops")
    reports, problems = [], []
    for index, content in enumerate(_list(raw.get("reports"), f"{path}.reports")):
        try:
            reports.append(_read_report(content, lens, f"{path}.reports[{index}]"))
        except CleanstopError as error:
            problems.extend(error.problems)
    if problems:
        raise InvalidInput(problems)
    return Case(str(raw["id"]), lens, question, tuple(float(stop) for stop in stops), tuple(reports))


def _read_report(raw: object, lens: Lens, path: str) -> Report:
    raw = _object(raw, path)
    readings = [
        _read_reading(reading, f"{path}.readings[{index}]")
        for index, reading in enumerate(_list(raw.get("readings"), f"{path}.readings"))
    ]
    claim = None
    if raw.get("claim") is not None:
        content = _object(raw["claim"], f"{path}.claim")
        claim = Claim(content.get("says"), content.get("f"))
    names = _picked(raw, Report, leave=("id", "tester", "readings", "claim"))
    report = Report(
        id=str(raw.get("id", path)),
        tester=raw.get("contributor"),
        readings=tuple(readings),
        claim=claim,
        **{name: value for name, value in names.items() if name != "method" or value is not None},
    )
    check_report(report, lens, path)
    return report


def _read_reading(raw: object, path: str) -> Reading:
    raw = _object(raw, path)
    return Reading(raw.get("f"), raw.get("ev"), raw.get("u"), raw.get("grade"))


def _picked(raw: Mapping, kind: type, leave: Sequence[str] = ()) -> dict:
    """Values of the fields that a dataclass has, missing ones left to its defaults."""
    needed = {"widest", "narrowest"}
    return {
        name: raw.get(name)
        for name in kind.__dataclass_fields__
        if name not in leave and (name in raw or name in needed)
    }


def _object(raw: object, path: str) -> Mapping:
    if isinstance(raw, Mapping):
        return raw
    raise InvalidInput(
        Problem("object-expected", f"“{raw}” is not an object.", "Send an object here.", path, repr(raw))
    )


def _list(raw: object, path: str) -> list:
    if raw is None or isinstance(raw, list):
        return raw or []
    raise InvalidInput(
        Problem("list-expected", f"“{raw}” is not a list.", "Send a list here.", path, repr(raw))
    )


def _written(said: Answer) -> dict:
    return {
        "p_clean": {f"{stop:g}": chance for stop, chance in said.p_clean.items()},
        "limit_av": list(said.limit_av.triple),
        "explanation": said.explanation,
        "n_independent": said.n_independent,
        "verdict": verdict_words(said.verdict),
        # Without reports nothing is known, which is the least sure there is.
        "confidence": said.confidence or "tentative",
    }
