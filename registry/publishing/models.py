"""Frozen editions of the open data. Append-only: the databases refuse to change or delete a row."""

from django.db import models


class Release(models.Model):
    """One edition, by the version in its permanent address. files: per path its SHA-256, bytes and rows; counts:
    rows by table; changes: against the edition before, as registry.publishing.comparing tells them."""

    version = models.CharField(max_length=20, unique=True)
    made_at = models.DateTimeField()
    method_version = models.CharField(max_length=20)
    counts = models.JSONField()
    files = models.JSONField()
    changes = models.JSONField()

    class Meta:
        ordering = ["-made_at", "-id"]
        get_latest_by = "made_at"

    def __str__(self) -> str:
        return f"release {self.version}"


class ReleasedStanding(models.Model):
    """A lens's standing as a release froze it, for pages pinned to that release. content: values by the names of
    Standing's fields; teleconverter, adapter: slugs, empty without."""

    release = models.ForeignKey(Release, on_delete=models.PROTECT, related_name="standings")
    lens_slug = models.CharField(max_length=140)
    teleconverter = models.CharField(max_length=140, blank=True)
    adapter = models.CharField(max_length=140, blank=True)
    cut_on_group = models.CharField(max_length=20)
    focal_zone = models.CharField(max_length=20)
    content = models.JSONField()

    class Meta:
        ordering = ["id"]
        indexes = [models.Index(fields=["release", "lens_slug"], name="released_standing_of_lens")]
        constraints = [
            models.UniqueConstraint(
                fields=["release", "lens_slug", "teleconverter", "adapter", "cut_on_group", "focal_zone"],
                name="released_standing_once",
            )
        ]

    def __str__(self) -> str:
        return f"{self.lens_slug}, {self.cut_on_group}, {self.focal_zone} in {self.release}"
