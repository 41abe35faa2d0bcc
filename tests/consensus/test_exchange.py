"""The exchange form for outside checks: every case answered or refused, by name."""

from __future__ import annotations

import json

import pytest

from registry.consensus.exchange import consensus_of
from registry.errors import InvalidInput

STOPS = [2, 2.8, 4, 5.6, 8, 11, 16]


def _report(number: int, limit: float = 8, **values) -> dict:
    readings = [{"f": stop, "ev": 0.02 if stop <= limit else 0.3, "u": 0.02} for stop in STOPS]
    plain = {
        "id": f"r{number}",
        "contributor": f"c{number}",
        "copy": None,
        "source": None,
        "cut_on_nm": 720,
        "focal_mm": 50,
        "filter_position": "front",
        "body": None,
        "method": "measured",
        "readings": readings,
    }
    return plain | values


def _case(name: str, reports: list, **values) -> dict:
    plain = {
        "id": name,
        "lens": {"widest": 2, "narrowest": 16, "focal_min": 50, "focal_max": 50},
        "question": {
            "cut_on_nm": 720,
            "focal_mm": 50,
            "filter_position": "front",
            "body": None,
            "method": "measured",
        },
        "question_stops": STOPS,
        "reports": reports,
    }
    return plain | values


def test_a_case_is_answered_in_the_agreed_form():
    result = consensus_of({"cases": [_case("a", [_report(n) for n in range(5)])]})
    said = result["cases"]["a"]
    assert list(said["p_clean"]) == ["2", "2.8", "4", "5.6", "8", "11", "16"]
    low, median, high = said["limit_av"]
    assert low < median < high
    assert (said["explanation"], said["n_independent"]) == (None, 5)
    assert (said["verdict"], said["confidence"]) == ("clean to f/8", "firm")
    assert "refused" not in result
    json.dumps(result, allow_nan=False)


def test_unknown_conditions_are_marginalised():
    vague = [
        _report(n, cut_on_nm=None, focal_mm=None, body=None, copy=None, source=None, filter_position=None)
        for n in range(3)
    ]
    assert consensus_of({"cases": [_case("a", vague)]})["cases"]["a"]["n_independent"] == 3


def test_claims_and_grades_are_read():
    claims = [
        _report(0, readings=None, claim={"says": "clean_to", "f": 8}),
        _report(1, readings=None, claim={"says": "hot_from", "f": 11}),
        _report(2, readings=[{"f": 8, "grade": 0}, {"f": 11, "grade": 2}]),
        _report(3, readings=None, claim={"says": "mixed"}),
    ]
    said = consensus_of({"cases": [_case("a", claims)]})["cases"]["a"]
    assert said["verdict"] == "clean to f/8"


def test_twenty_copies_are_one_to_the_last_digit():
    once = consensus_of({"cases": [_case("a", [_report(0), _report(1, 5.6)])]})
    many = [_report(0, id=f"copy{n}") for n in range(20)]
    assert consensus_of({"cases": [_case("a", [*many, _report(1, 5.6)])]}) == once


def test_the_order_of_reports_leaves_no_trace():
    reports = [_report(n, (8, 5.6, 11)[n % 3], cut_on_nm=(720, 830, None)[n % 3]) for n in range(9)]
    forward = consensus_of({"cases": [_case("a", reports)]})
    assert consensus_of({"cases": [_case("a", reports[::-1])]}) == forward


def test_a_bad_case_is_refused_by_path_and_the_others_are_answered():
    bad = _report(0, cut_on_nm=3000)
    bad["readings"][2] = {"f": 1.2, "ev": float("nan"), "u": -1}
    result = consensus_of({"cases": [_case("good", [_report(0)]), _case("bad", [bad])]})
    assert list(result["cases"]) == ["good"]
    fields = {problem["field"] for problem in result["refused"]["bad"]}
    path = "cases[1].reports[0]"
    assert fields == {
        f"{path}.cut_on_nm",
        f"{path}.readings[2].f",
        f"{path}.readings[2].ev",
        f"{path}.readings[2].u",
    }
    assert all(problem["remedy"] and problem["code"] for problem in result["refused"]["bad"])
    json.dumps(result, allow_nan=False)


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("readings[0].ev", "NaN"),
        ("readings[0].ev", "Infinity"),
        ("readings[0].ev", "-1e400"),
        ("readings[0].ev", '"dark"'),
        ("readings[0].u", "-0.02"),
        ("readings[0].u", "NaN"),
        ("readings[0].f", "0.65"),
        ("readings[0].f", "64.5"),
        ("readings[0].f", "NaN"),
        ("readings[0].f", "1.4"),  # wider than the lens opens
        ("readings[0].grade", "5"),
        ("cut_on_nm", "399"),
        ("cut_on_nm", "1101"),
        ("cut_on_nm", "Infinity"),
        ("cut_on_nm", '"720"'),
        ("focal_mm", "-50"),
        ("focal_mm", "NaN"),
        ("filter_position", '"pocket"'),
        ("method", '"guessed"'),
        ("contributor", "null"),
        ("copy", "7"),
        ("claim.says", '"fine"'),
        ("claim.f", "NaN"),
    ],
)
def test_what_cannot_be_true_is_refused_with_field_value_and_remedy(field, value):
    """As a file says it: JSON readers let NaN, Infinity and overflowing numbers through."""
    report = _report(0)
    if field.startswith("claim"):
        report |= {"readings": None, "claim": {"says": "clean_to", "f": 8}}
    place = report
    *way, last = field.replace("[0]", ".0").split(".")
    for step in way:
        place = place[int(step) if step.isdigit() else step]
    place[last] = json.loads(value)
    result = consensus_of(json.loads(json.dumps({"cases": [_case("a", [report])]})))
    (problem,) = result["refused"]["a"]
    assert problem["field"] == f"cases[0].reports[0].{field}"
    assert problem["says"] and problem["remedy"] and "value" in problem
    assert result["cases"] == {}
    json.dumps(result, allow_nan=False)


@pytest.mark.parametrize(
    ("part", "field", "value"),
    [
        ("lens", "widest", float("nan")),
        ("lens", "narrowest", 1.4),
        ("lens", "focal_max", 24),
        ("question", "cut_on_nm", 2000),
        ("question", "focal_mm", float("inf")),
        ("question", "filter_position", "pocket"),
        ("question", "method", "guess"),
    ],
)
def test_impossible_lenses_and_questions_are_refused_too(part, field, value):
    case = _case("a", [_report(0)])
    case[part] = {**case[part], field: value}
    (problem,) = consensus_of({"cases": [case]})["refused"]["a"]
    assert problem["field"] == f"cases[0].{part}.{field}"
    assert problem["remedy"]


@pytest.mark.parametrize(
    "broken",
    [
        {"lens": None},
        {"lens": {"widest": "wide", "narrowest": 16}},
        {"question": {"cut_on_nm": 5}},
        {"question_stops": [0.1]},
        {"question_stops": "8"},
        {"reports": {}},
        {"reports": [7]},
        {"reports": [{"contributor": "a", "readings": [8]}]},
        {"reports": [{"contributor": "a", "claim": "good"}]},
        {"reports": [{"readings": [{"f": 8, "grade": 0}]}]},
    ],
)
def test_malformed_cases_are_refused_with_a_remedy(broken):
    result = consensus_of({"cases": [{**_case("a", [_report(0)]), **broken}]})
    assert result["cases"] == {}
    assert all(
        problem["remedy"] and problem["field"].startswith("cases[0]") for problem in result["refused"]["a"]
    )


def test_an_id_twice_is_refused_once():
    result = consensus_of({"cases": [_case("a", [_report(0)]), _case("a", [])]})
    assert list(result["cases"]) == ["a"]
    assert result["refused"]["a (cases[1])"][0]["code"] == "case-twice"


@pytest.mark.parametrize("document", [{}, [], {"cases": {}}, "cases"])
def test_a_document_without_cases_is_refused_whole(document):
    with pytest.raises(InvalidInput, match="list of cases"):
        consensus_of(document)


@pytest.mark.parametrize("tolerance", [0.0, 0.5, float("nan"), "0.1"])
def test_a_tolerance_out_of_range_is_refused(tolerance):
    with pytest.raises(InvalidInput, match="visible threshold"):
        consensus_of({"cases": []}, tolerance)


def test_a_stricter_tolerance_lowers_the_chances():
    document = {"cases": [_case("a", [_report(n) for n in range(3)])]}
    usual, strict = consensus_of(document), consensus_of(document, 0.03)
    assert strict["cases"]["a"]["p_clean"]["8"] < usual["cases"]["a"]["p_clean"]["8"]
