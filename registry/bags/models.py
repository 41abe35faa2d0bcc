"""Bags that accounts keep. The lenses are rows, so that a merge in the catalogue carries them along."""

from django.conf import settings
from django.db import models
from django.db.models import Q

from registry.bags.contents import STATES
from registry.identifiers import new_public_id


class KeptBag(models.Model):
    """One account's bag. `rest` is everything but its lenses, as registry.bags.stored writes it."""

    public_id = models.CharField(max_length=10, unique=True, default=new_public_id, editable=False)
    owner = models.OneToOneField(settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="bag")
    rest = models.JSONField(default=dict)
    updated_at = models.DateTimeField(auto_now=True)

    def __str__(self) -> str:
        return f"bag of {self.owner}"


class BagLens(models.Model):
    """A lens that someone owns or considers."""

    bag = models.ForeignKey(KeptBag, on_delete=models.CASCADE, related_name="lenses")
    lens = models.ForeignKey("gear.Lens", on_delete=models.CASCADE, related_name="in_bags")
    state = models.CharField(max_length=10, choices=[(state, state) for state in STATES])
    hood = models.BooleanField(default=False)
    place = models.PositiveSmallIntegerField()

    class Meta:
        ordering = ["bag", "place", "id"]
        verbose_name_plural = "bag lenses"
        constraints = [
            models.UniqueConstraint(fields=["bag", "lens"], name="bag_holds_a_lens_once"),
            models.CheckConstraint(condition=Q(state__in=STATES), name="bag_lens_state_known"),
        ]

    def __str__(self) -> str:
        return f"{self.lens} in the {self.bag}"

    def give_way(self, twin: "BagLens") -> bool:
        """Two lenses turned out to be one (registry.gear.carrying): owned if either was, with a hood if either had."""
        twin.hood = twin.hood or self.hood
        twin.state = min(self.state, twin.state, key=STATES.index)
        return False
