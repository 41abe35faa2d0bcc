"""What is answered on a report, for everyone to read."""

from django.conf import settings
from django.db import models


class Reply(models.Model):
    """An answer by a report's author, or by a moderator to them. Append-only: what was said stays said.

    about: the state in which the report was, with the reason it had then, so that the answer stays readable after
    the report was restored.
    """

    report = models.ForeignKey("reports.Report", on_delete=models.PROTECT, related_name="replies")
    by = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="replies")
    says = models.TextField(max_length=2000)
    about = models.CharField(max_length=10)
    about_reason = models.TextField(blank=True)
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        verbose_name_plural = "replies"
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.by} on {self.report}"
