"""What was found to be one piece of evidence although its reports don't say so."""

from django.db import models

from registry.identifiers import new_public_id


class BondKind(models.TextChoices):
    COPY = "same-copy", "tests of one copy"
    SOURCE = "same-source", "one source"
    FRAMES = "same-frames", "the same frames"


class Bond(models.Model):
    """Several reports on one lens that count as one voice, until it ends."""

    name = models.CharField(max_length=10, unique=True, default=new_public_id, editable=False)
    kind = models.CharField(max_length=12, choices=BondKind.choices)
    reports = models.ManyToManyField("reports.Report", related_name="bonds")
    made_at = models.DateTimeField(auto_now_add=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["id"]

    def __str__(self) -> str:
        return f"{self.get_kind_display()} ({self.name})"
