"""How an event is sealed: the hash of its own words and of the seal before it."""

import hashlib
import json
from datetime import UTC, datetime
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder

FIRST_PREVIOUS_HASH = "0" * 64


def plain_json(data: Any) -> Any:
    """What a JSON column of either database gives back: dates as text, and 2 for 2.0.

    Raises ValueError for NaN and infinities, TypeError for what JSON cannot hold.
    """
    if type(data) is dict and all(type(value) in _PLAIN for value in data.values()):
        return data
    return _settled(json.loads(json.dumps(data, cls=DjangoJSONEncoder, allow_nan=False)))


_PLAIN = (str, int, bool, type(None))  # of these JSON gives back the same


def _settled(value: Any) -> Any:
    # PostgreSQL keeps jsonb numbers as decimals: 1e22 comes back as an integer, -0.0 as 0.
    if isinstance(value, float) and value.is_integer():
        return int(value)
    if isinstance(value, dict):
        return {key: _settled(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [_settled(inner) for inner in value]
    return value


def seal(
    *,
    sequence: int,
    name: str,
    at: datetime,
    actor: str,
    subject_kind: str,
    subject_id: str,
    data: dict,
    previous_hash: str,
) -> str:
    """SHA-256 (FIPS 180-4), as 64 hexadecimal digits, of the event's canonical JSON: sorted keys, no spaces,
    UTF-8, the time in UTC to the microsecond."""
    content = [
        sequence,
        name,
        at.astimezone(UTC).isoformat(timespec="microseconds"),
        actor,
        subject_kind,
        subject_id,
        _settled(data),
        previous_hash,
    ]
    return hashlib.sha256(_CANONICAL.encode(content).encode()).hexdigest()


_CANONICAL = json.JSONEncoder(sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
