"""The event log: append-only, each row carrying the hash of the one before."""

from django.db import models


class Event(models.Model):
    """Something that happened. The database refuses to change or delete a row (see the migrations' triggers)."""

    sequence = models.BigIntegerField(primary_key=True)
    name = models.CharField(max_length=60, db_index=True)
    at = models.DateTimeField()
    actor = models.CharField(max_length=10, blank=True)  # the account's public id; empty: the registry itself
    subject_kind = models.CharField(max_length=30)
    subject_id = models.CharField(max_length=140)  # a public id, or a slug
    data = models.JSONField(default=dict)
    previous_hash = models.CharField(max_length=64)
    hash = models.CharField(max_length=64, unique=True)

    class Meta:
        ordering = ["sequence"]
        indexes = [models.Index(fields=["subject_kind", "subject_id", "sequence"])]

    def __str__(self) -> str:
        return f"{self.sequence} {self.name} {self.subject_kind} {self.subject_id}"
