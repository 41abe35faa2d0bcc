"""What the API must remember to answer well: who asked how often, and what a repeated request was told."""

from django.conf import settings
from django.db import models


class IdempotencyKey(models.Model):
    """One answered creating request. Written in the same transaction as what it created."""

    account = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    key = models.CharField(max_length=200)
    fingerprint = models.CharField(max_length=64)  # of method, address and body
    status = models.PositiveSmallIntegerField(default=0)
    headers = models.JSONField(default=dict)
    body = models.JSONField(null=True)
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["account", "key"], name="idempotency_key_once")]
        indexes = [models.Index(fields=["account", "created_at"])]

    def __str__(self) -> str:
        return self.key


class RequestCount(models.Model):
    """How many writing requests one account or address made in one window of time."""

    bucket = models.CharField(max_length=120)
    window = models.BigIntegerField()  # its start, in seconds since 1970
    count = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["bucket", "window"], name="request_count_once")]

    def __str__(self) -> str:
        return f"{self.bucket}: {self.count}"
