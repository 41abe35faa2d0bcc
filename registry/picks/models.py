"""Picks: one person's signed recommendations, with reasons. Opinion, shown beside standings and never in them."""

from django.conf import settings
from django.db import models

from registry.identifiers import new_public_id


class PickList(models.Model):
    """A list of recommended lenses for a use. A withdrawn one keeps its address and says only that it was there."""

    public_id = models.CharField(max_length=10, unique=True, default=new_public_id, editable=False)
    author = models.ForeignKey(settings.AUTH_USER_MODEL, on_delete=models.PROTECT, related_name="pick_lists")
    title = models.CharField(max_length=120)
    about = models.TextField(blank=True)
    version = models.PositiveIntegerField(default=1)
    created_at = models.DateTimeField(auto_now_add=True)
    updated_at = models.DateTimeField(auto_now=True)
    withdrawn_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ["-updated_at", "-pk"]
        indexes = [models.Index(fields=["-updated_at", "-id"], name="pick_list_newest")]

    def __str__(self) -> str:
        return f"“{self.title}” by {self.author}"

    @property
    def is_withdrawn(self) -> bool:
        return self.withdrawn_at is not None


class Pick(models.Model):
    """One lens of a list, and why."""

    pick_list = models.ForeignKey(PickList, on_delete=models.CASCADE, related_name="picks")
    place = models.PositiveSmallIntegerField()
    lens = models.ForeignKey("gear.Lens", on_delete=models.CASCADE, related_name="picks")
    reason = models.TextField()

    class Meta:
        ordering = ["pick_list", "place"]
        constraints = [
            models.UniqueConstraint(fields=["pick_list", "place"], name="pick_placed_once"),
            models.UniqueConstraint(fields=["pick_list", "lens"], name="pick_once_per_list"),
        ]

    def __str__(self) -> str:
        return f"{self.place}. {self.lens}"
