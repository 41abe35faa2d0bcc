"""Repeating a creating request safely: the same Idempotency-Key and body give the same answer, once created."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from datetime import timedelta

from django.core.files.uploadedfile import UploadedFile
from django.db import IntegrityError, transaction
from django.http import QueryDict
from django.utils import timezone
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response

from api.models import IdempotencyKey
from registry.errors import InvalidInput, Problem

HEADER = "Idempotency-Key"
KEPT_FOR = timedelta(hours=48)
KEPT_HEADERS = ("Location", "ETag")
LONGEST_KEY = 200


def answer_once(request: Request, act: Callable[[], Response], *, withheld: tuple[str, ...] = ()) -> Response:
    """Do act() unless this account already had it done under the same key; then give the stored answer.

    The key's row is written in act's own transaction: what was undone was not answered either.
    withheld: top-level fields that are told once only, such as a token, and are null in a repeated answer.
    Raises InvalidInput when the key was used with another body, or is no usable key.
    """
    key = request.headers.get(HEADER)
    with transaction.atomic():
        if key is None:
            return act()
        fingerprint = _fingerprint(request)
        row, fresh = _claim(request.user, _checked(key), fingerprint)
        if not fresh:
            return _repeat(row, fingerprint)
        response = act()
        body = json.loads(JSONRenderer().render(response.data))
        row.status = response.status_code
        row.headers = {name: response[name] for name in KEPT_HEADERS if response.has_header(name)}
        row.body = body | dict.fromkeys(withheld) if isinstance(body, dict) else body
        row.save()
        return response


def _claim(account, key: str, fingerprint: str) -> tuple[IdempotencyKey, bool]:
    keys = IdempotencyKey.objects.filter(account=account)
    keys.filter(created_at__lt=timezone.now() - KEPT_FOR).delete()
    try:
        with transaction.atomic():
            return keys.create(account=account, key=key, fingerprint=fingerprint), True
    except IntegrityError:
        # The database made us wait for the transaction that holds the key, so its answer is there by now.
        return keys.get(key=key), False


def _repeat(row: IdempotencyKey, fingerprint: str) -> Response:
    if row.fingerprint != fingerprint:
        raise InvalidInput(
            Problem(
                code="idempotency-key-reused",
                value=row.key,
                says=f"The key “{row.key}” was used for another request.",
                remedy="Make a new key for each new thing; repeat a key only with the very same request.",
            )
        )
    return Response(row.body, status=row.status, headers=row.headers | {"Idempotent-Replay": "true"})


def _checked(key: str) -> str:
    if 1 <= len(key) <= LONGEST_KEY and key.isprintable():
        return key
    raise InvalidInput(
        Problem(
            code="idempotency-key-unusable",
            value=key,
            says=f"The Idempotency-Key is not 1 to {LONGEST_KEY} printable characters.",
            remedy="Use a random UUID.",
        )
    )


def _fingerprint(request: Request) -> str:
    digest = hashlib.sha256(f"{request.method} {request.path}?{request.META['QUERY_STRING']}\n".encode())
    if not isinstance(request.data, QueryDict):
        digest.update(json.dumps(request.data, sort_keys=True, default=str).encode())
        return digest.hexdigest()
    for name in sorted(request.data):
        for value in request.data.getlist(name):
            digest.update(f"\n{name}=".encode())
            digest.update(_file_digest(value) if isinstance(value, UploadedFile) else str(value).encode())
    return digest.hexdigest()


def _file_digest(file: UploadedFile) -> bytes:
    digest = hashlib.sha256(file.name.encode())
    for chunk in file.chunks():
        digest.update(chunk)
    file.seek(0)
    return digest.digest()
