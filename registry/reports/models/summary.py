"""What contributors would say of the lens themselves, asked beside what was measured in their frames."""

from django.db import models
from django.db.models import Q

from registry.gear.models import F_NUMBER_RANGE


class SummarySays(models.TextChoices):
    CLEAN_TO = "clean_to", "clean to"
    HOT_FROM = "hot_from", "hot from"
    CLEAN_ALL = "clean_all", "clean throughout"
    HOT_ALL = "hot_all", "hot throughout"
    NO_OPINION = "no_opinion", "no opinion"


ABOUT_A_STOP = (SummarySays.CLEAN_TO, SummarySays.HOT_FROM)


class OwnSummary(models.Model):
    """A contributor's own summary of a test, over all its focal lengths. It is no evidence: it is compared with what
    was measured, and shown with the report.

    stands: its author looked again, although it contradicts the measurement, and stands by it; answer: why, in their
    words; contradicts: what had been measured against it, in words."""

    report = models.OneToOneField(
        "reports.Report", on_delete=models.CASCADE, related_name="own_summary", primary_key=True
    )
    says = models.CharField(max_length=15, choices=SummarySays.choices)
    f_number = models.FloatField(null=True, blank=True, validators=F_NUMBER_RANGE)
    stands = models.BooleanField(default=False)
    answer = models.CharField(max_length=300, blank=True)
    contradicts = models.JSONField(default=list, blank=True)
    said_at = models.DateTimeField(auto_now=True)

    class Meta:
        verbose_name_plural = "own summaries"
        constraints = [
            models.CheckConstraint(
                condition=Q(says__in=ABOUT_A_STOP, f_number__isnull=False)
                | ~Q(says__in=ABOUT_A_STOP) & Q(f_number__isnull=True),
                name="summary_about_a_stop_names_it",
            ),
            models.CheckConstraint(
                condition=Q(says__in=SummarySays.values), name="summary_says_something_known"
            ),
        ]

    def __str__(self) -> str:
        stop = f" f/{self.f_number:g}" if self.f_number else ""
        return f"{self.get_says_display()}{stop}"
