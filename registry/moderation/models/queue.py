"""Who is looking at what waits, so that two don't do the same work."""

from django.conf import settings
from django.db import models


class Handling(models.Model):
    """A moderator has taken one waiting thing on, until a time or until they give it back.

    kind and key name the thing: "conflict" and its number, for example. One row a thing, taken over when it lapses.
    """

    kind = models.CharField(max_length=20)
    key = models.CharField(max_length=140)
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="handling")
    since = models.DateTimeField()
    until = models.DateTimeField()

    class Meta:
        ordering = ["until"]
        constraints = [models.UniqueConstraint(fields=["kind", "key"], name="handled_by_one")]

    def __str__(self) -> str:
        return f"{self.by} handles {self.kind} {self.key}"
