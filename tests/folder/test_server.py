"""Speaking to a registry: patient, safe to repeat, and careful with the token. Runs without Django.

Problem documents: RFC 9457. Retry-After: RFC 9110, 10.2.3.
"""

import httpx
import pytest

from registry.errors import Conflict, InvalidInput, NotAllowed, NotFound
from registry.folder.server import TRIES, Server

HERE = "http://127.0.0.1:8000"


def server(*answers, address=HERE):
    """A server that gives these answers in turn, or breaks the line where one is an error; and what it was asked."""
    waiting, asked, waited = list(answers), [], []

    def answer(request):
        asked.append(request)
        given = waiting.pop(0) if len(waiting) > 1 else waiting[0]
        if isinstance(given, Exception):
            raise given
        return given

    return (
        Server(address, "secret", pause=waited.append, transport=httpx.MockTransport(answer)),
        asked,
        waited,
    )


def refusal(status, code="missing", says="The lens is missing."):
    entry = {"type": f"/problems/{code}", "detail": says, "remedy": "Name it.", "pointer": "#/lens"}
    return httpx.Response(status, json={"errors": [entry]})


def test_the_token_and_the_repeat_key_go_with_a_request():
    speaking, asked, _ = server(httpx.Response(201, json={"id": "abc"}))
    assert speaking.post("reports/", {"lens": "x"}, key="k1") == {"id": "abc"}
    assert asked[0].url == f"{HERE}/api/v1/reports/"
    assert (asked[0].headers["Authorization"], asked[0].headers["Idempotency-Key"]) == ("Token secret", "k1")


def test_a_broken_line_is_tried_again_with_the_same_key():
    speaking, asked, waited = server(
        httpx.ConnectError("down"), httpx.ReadTimeout("slow"), httpx.Response(200, json={})
    )
    speaking.post("reports/", {}, key="k1")
    assert {request.headers["Idempotency-Key"] for request in asked} == {"k1"} and len(asked) == 3
    assert waited == [1, 2]


def test_a_busy_server_is_given_the_time_it_asks_for():
    busy = httpx.Response(429, headers={"Retry-After": "7"}, json={})
    speaking, _, waited = server(
        busy, httpx.Response(503, json={}), httpx.Response(200, json={"name": "Wren"})
    )
    assert speaking.get("me/") == {"name": "Wren"}
    assert waited == [7, 4]


def test_a_line_that_stays_broken_is_told_and_nothing_is_lost():
    speaking, asked, _ = server(httpx.ConnectError("down"))
    with pytest.raises(NotFound, match="what has arrived is not sent twice"):
        speaking.get("me/")
    assert len(asked) == TRIES


@pytest.mark.parametrize(
    "status, kind", [(422, InvalidInput), (401, NotAllowed), (404, NotFound), (409, Conflict)]
)
def test_a_refusal_keeps_the_servers_own_words(status, kind):
    speaking, asked, _ = server(refusal(status))
    with pytest.raises(kind) as caught:
        speaking.get("me/")
    assert str(caught.value) == "The lens is missing. Name it."
    assert (caught.value.first.code, caught.value.first.field) == ("missing", "lens") and len(asked) == 1


@pytest.mark.parametrize(
    "answer", [httpx.Response(500, text="<html>"), httpx.Response(302, headers={"Location": "/x"})]
)
def test_an_answer_that_is_none_of_ours_is_told_by_its_status(answer):
    speaking, asked, _ = server(answer)
    with pytest.raises(InvalidInput, match="without saying why"):
        speaking.get("me/")
    assert len(asked) == 1


@pytest.mark.parametrize(
    "address", ["http://registry.example", "ftp://127.0.0.1", "registry", "", "https://a:b@c.example"]
)
def test_the_token_is_not_sent_where_it_could_be_read(address):
    with pytest.raises(InvalidInput, match="https"):
        Server(address, "secret")


@pytest.mark.parametrize(
    "address", ["https://registry.example/", "http://localhost:8000", "http://[::1]:8000"]
)
def test_this_machine_and_encrypted_addresses_are_taken(address):
    assert Server(address, "secret").page("reports/abc/") == f"{address.rstrip('/')}/reports/abc/"
