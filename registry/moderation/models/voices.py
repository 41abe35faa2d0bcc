"""What makes two accounts look like one person's. For moderators' eyes: it decides nothing."""

from django.conf import settings
from django.db import models
from django.db.models import F, Q


class Ground(models.TextChoices):
    TOGETHER = "registered-together", "registered at about the same time"
    ADDRESS = "same-address", "acted from the same network address"
    FRAMES = "same-frames", "sent the same frames"


class VoiceSign(models.Model):
    """One ground on which two accounts that tested one lens look like one. first has the smaller row.

    figures: of registered-together {minutes_apart, accounts, alike_stops, shared_stops}; of same-address {seen_on};
    of same-frames {frames, same_files, likeness}.
    """

    first = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    second = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="+")
    lens = models.ForeignKey("gear.Lens", on_delete=models.CASCADE, related_name="+")
    ground = models.CharField(max_length=20, choices=Ground.choices)
    figures = models.JSONField(default=dict)
    found_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.UniqueConstraint(fields=["first", "second", "lens", "ground"], name="voice_sign_once"),
            models.CheckConstraint(condition=Q(first__lt=F("second")), name="voice_sign_in_order"),
            models.CheckConstraint(condition=Q(ground__in=Ground.values), name="voice_sign_ground_known"),
        ]

    def __str__(self) -> str:
        return f"{self.first} and {self.second} {self.get_ground_display()}"
