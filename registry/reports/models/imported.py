"""What came in with tables, so that the same table again adds nothing."""

from django.conf import settings
from django.db import models


class ImportedReport(models.Model):
    """Which report the rows of a contributor's table became. key: their name for it, or the fingerprint where they
    gave none; fingerprint: of what the rows said (SHA-256 in hex). A discarded draft frees its key."""

    author = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="+")
    key = models.CharField(max_length=80)
    fingerprint = models.CharField(max_length=64)
    report = models.OneToOneField("reports.Report", on_delete=models.CASCADE, related_name="imported")
    at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["author", "key"], name="imported_once_per_author")]

    def __str__(self) -> str:
        return f"{self.key}: {self.report}"
