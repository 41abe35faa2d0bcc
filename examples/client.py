"""A small client of a Cleanstop registry: it submits a sweep, reads what the registry says of a lens, and files a
folder of records by the thousand. It needs httpx only.

    with Registry("http://127.0.0.1:8000", token="…") as registry:       # a token from your account page
        sweep = [Seen(2.8, grade=0), Seen(5.6, grade=0), Seen(8, grade=1), Seen(11, grade=3)]
        report = registry.submit_sweep("osterby-marram-35-mm-f-1-4", rig="the id of your rig", sweep=sweep)
        print(registry.standing("osterby-marram-35-mm-f-1-4", cut_on_nm=720).sentence)
"""

from __future__ import annotations

import json
import uuid
from collections.abc import Iterable, Iterator
from dataclasses import asdict, dataclass
from typing import Any

import httpx


@dataclass(frozen=True)
class Seen:
    """What was seen at one stop: a grade by eye from 0 (none) to 4 (dominating)."""

    f_number: float
    grade: int


@dataclass(frozen=True)
class Standing:
    """What the registry says of a lens at one cut-on: the sentence, and of the focal zone that it is about the chance
    of a clean frame by f-number."""

    sentence: str
    confidence: str
    independent_reports: int
    chances: dict[float, float]


class Refused(Exception):
    """The registry's problem document (RFC 9457): what is wrong, at which field, and what to do."""

    def __init__(self, problem: dict[str, Any]):
        self.problem = problem
        super().__init__(problem["detail"])


class Registry:
    def __init__(self, address: str, token: str | None = None):
        headers = {"Authorization": f"Token {token}"} if token else {}
        self._http = httpx.Client(base_url=f"{address.rstrip('/')}/api/v1", headers=headers, timeout=60)

    def __enter__(self) -> Registry:
        return self

    def __exit__(self, *_: object) -> None:
        self._http.close()

    def submit_sweep(
        self, lens: str, *, rig: str | dict[str, Any], sweep: Iterable[Seen], **details: Any
    ) -> str:
        """Submit readings by eye at one focal length, and return the report's id. details: as the reference lists
        them for reports, such as filter, shot_on or notes."""
        readings = [asdict(seen) for seen in sweep]
        told = {"lens": lens, "basis": "graded", "rig": rig, "submit": True}
        report = told | {"sweeps": [{"readings": readings}]}
        key = {"Idempotency-Key": str(uuid.uuid4())}
        return str(self._sent("POST", "/reports/", json=report | details, headers=key)["id"])

    def standing(self, lens: str, *, cut_on_nm: float = 720) -> Standing:
        """What the registry says of a lens today, as someone who photographs from this cut-on on reads it."""
        answer = self._sent("GET", f"/lenses/{lens}/", params={"cut_on_nm": cut_on_nm})["answer"]
        here = answer["here"]
        zone = next((zone for zone in here["zones"] if zone["focal_zone"] == here["worst_zone"]), None)
        if zone is None:
            return Standing(answer["sentence"], "", 0, {})
        chances = {stop["f_number"]: stop["p_clean"] for stop in zone["stops"] if stop["p_clean"] is not None}
        return Standing(answer["sentence"], zone["confidence"], zone["n_independent"], chances)

    def file_all(self, reports: Iterable[dict[str, Any]]) -> Iterator[dict[str, Any]]:
        """File many reports, and yield what became of each. Send the same ones again after a break: none is filed
        twice."""
        body = "\n".join(json.dumps(report) for report in reports)
        headers = {"Content-Type": "application/x-ndjson"}
        with self._http.stream("POST", "/reports/batch/", content=body, headers=headers) as answer:
            if answer.is_error:
                answer.read()
                raise Refused(answer.json())
            yield from map(json.loads, answer.iter_lines())

    def _sent(self, method: str, path: str, **request: Any) -> Any:
        answer = self._http.request(method, path, **request)
        if answer.is_error:
            raise Refused(answer.json())
        return answer.json()
