"""Speaking to a registry's public API v1: with a token, patiently, and safe to repeat."""

from __future__ import annotations

import ipaddress
import time
from collections.abc import Callable, Mapping
from typing import Any
from urllib.parse import urlsplit

import httpx

from registry.errors import CleanstopError, Conflict, InvalidInput, NotAllowed, NotFound, Problem, TooLarge

TRIES = 5
LONGEST_WAIT = 60.0  # seconds that a server may ask us to wait for
_ERRORS: dict[int, type[CleanstopError]] = {
    401: NotAllowed,
    403: NotAllowed,
    404: NotFound,
    409: Conflict,
    413: TooLarge,
}
_PASSING = (429, 502, 503, 504)


class Server:
    """One registry, signed in with a token. Raises CleanstopError with the server's own words for what it refuses.

    address: of the site, such as https://registry.example; plain http only for this machine itself, since the token
    travels with every request. pause: called with seconds where the server or the line asks for patience.
    """

    def __init__(
        self,
        address: str,
        token: str,
        *,
        pause: Callable[[float], None] = time.sleep,
        transport: httpx.BaseTransport | None = None,
    ):
        self.address = _checked_address(address)
        self._pause = pause
        self._client = httpx.Client(
            base_url=f"{self.address}/api/v1/",
            headers={"Authorization": f"Token {token}", "Accept": "application/json"},
            timeout=httpx.Timeout(30.0, read=120.0),
            transport=transport,
        )

    def __enter__(self) -> Server:
        return self

    def __exit__(self, *_: object) -> None:
        self._client.close()

    def get(self, path: str, **asked: Any) -> Any:
        """What stands at a path below /api/v1/."""
        return self._ask("GET", path, params=asked)

    def rows(self, path: str, **asked: Any) -> list[dict[str, Any]]:
        """The first page of a list."""
        return self.get(path, **asked)["items"]

    def post(
        self,
        path: str,
        sent: Mapping[str, Any] | None = None,
        *,
        key: str = "",
        frame: tuple[str, bytes] | None = None,
    ) -> Any:
        """Create something or act. key: the Idempotency-Key, by which a repeat does not act twice.
        frame: name and bytes of a file, sent as a form together with what else is sent."""
        headers = {"Idempotency-Key": key} if key else {}
        if frame is not None:
            files = {"frame": (*frame, "image/tiff")}
            return self._ask("POST", path, headers=headers, data=dict(sent or {}), files=files)
        return self._ask("POST", path, headers=headers, json=dict(sent or {}))

    def page(self, path: str) -> str:
        """The address of a page of the site."""
        return f"{self.address}/{path.lstrip('/')}"

    def _ask(self, method: str, path: str, **request: Any) -> Any:
        """Ask, and ask again while the line is broken or the server is busy: every request may be repeated."""
        for attempt in range(1, TRIES + 1):
            try:
                response = self._client.request(method, path, **request)
            except httpx.TransportError as failure:
                if attempt == TRIES:
                    raise _unreachable(self.address, failure) from failure
                self._pause(2.0 ** (attempt - 1))
                continue
            if response.status_code in _PASSING and attempt < TRIES:
                self._pause(_wait_of(response, attempt))
                continue
            return self._answer(response)
        raise AssertionError("the last attempt returns or raises")

    def _answer(self, response: httpx.Response) -> Any:
        if response.is_success and response.headers.get("Content-Type", "").startswith("application/json"):
            return response.json()
        kind = _ERRORS.get(response.status_code, InvalidInput)
        raise kind(_problems_of(response, self.address))


def _checked_address(address: str) -> str:
    parts = urlsplit(address.strip())
    usable = parts.scheme in ("http", "https") and parts.hostname and not parts.username
    if usable and (parts.scheme == "https" or _is_this_machine(parts.hostname)):
        return f"{parts.scheme}://{parts.netloc}{parts.path.rstrip('/')}"
    raise InvalidInput(
        Problem(
            code="address-not-usable",
            field="submit",
            value=address,
            says=f"“{address}” would send your token without encryption."
            if usable
            else f"“{address}” is no address of a registry.",
            remedy="Give its address with https://, as in the browser.",
        )
    )


def _is_this_machine(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _wait_of(response: httpx.Response, attempt: int) -> float:
    stated = response.headers.get("Retry-After", "")
    return min(float(stated), LONGEST_WAIT) if stated.isdecimal() else 2.0**attempt


def _problems_of(response: httpx.Response, address: str) -> list[Problem]:
    """The problems of an RFC 9457 document; an answer that is none is told by its status."""
    try:
        entries = response.json()["errors"]
        return [
            Problem(
                code=str(entry["type"]).rsplit("/", 1)[-1],
                says=str(entry["detail"]),
                remedy=str(entry.get("remedy", "")),
                field=str(entry.get("pointer", "")).removeprefix("#/"),
                value=entry.get("value"),
            )
            for entry in entries
        ]
    except (ValueError, KeyError, TypeError):
        return [
            Problem(
                code="server-not-understood",
                field="submit",
                value=response.status_code,
                says=f"{address} answered {response.status_code} without saying why.",
                remedy="Check that it is the address of a registry, or try again later.",
            )
        ]


def _unreachable(address: str, failure: Exception) -> CleanstopError:
    return NotFound(
        Problem(
            code="server-unreachable",
            field="submit",
            value=address,
            says=f"{address} can't be reached ({failure}).",
            remedy="Check the address and the line, and go again: what has arrived is not sent twice.",
        )
    )
