"""What a person earns by: nobody decides on a lens that they sell."""

from django.conf import settings
from django.db import models
from django.db.models import Q


class Interest(models.Model):
    """An account sells, makes or is paid for one lens, or all of one maker's. It is the account's own to say."""

    account = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="interests")
    lens = models.ForeignKey("gear.Lens", null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    maker = models.ForeignKey("gear.Maker", null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    declared_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["id"]
        constraints = [
            models.CheckConstraint(
                condition=Q(lens__isnull=False, maker__isnull=True)
                | Q(lens__isnull=True, maker__isnull=False),
                name="interest_in_lens_or_maker",
            ),
            models.UniqueConstraint(fields=["account", "lens"], name="interest_once_per_lens"),
            models.UniqueConstraint(fields=["account", "maker"], name="interest_once_per_maker"),
        ]

    def __str__(self) -> str:
        return f"{self.account} has an interest in {self.lens or self.maker}"
