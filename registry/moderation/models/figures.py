"""How the registry fares, noted once a day."""

from django.db import models


class DayFigures(models.Model):
    """median_days: from a conflict's opening to its first decision in effect, of the last 90 days; None
    without one.
    well_founded: share of stated standings that rest on three independent reports or more. reliability:
    Krippendorff's α of all grades; both None while there is too little."""

    day = models.DateField(unique=True)
    open_conflicts = models.PositiveIntegerField()
    median_days = models.FloatField(null=True)
    well_founded = models.FloatField(null=True)
    reliability = models.FloatField(null=True)

    class Meta:
        ordering = ["-day"]
        verbose_name_plural = "day figures"

    def __str__(self) -> str:
        return f"figures of {self.day}"
