"""Which tests the registry would learn most from, how often lenses are looked up, and who has taken a test on."""

from django.conf import settings
from django.db import models
from django.db.models import Q
from django.utils import timezone

from registry.consensus.cells import band_label
from registry.standings.models import NamedCell


class LookUpCount(models.Model):
    """How often a lens's page was opened on one day at one cut-on group. Nothing of who opened it is kept."""

    lens = models.ForeignKey("gear.Lens", on_delete=models.CASCADE, related_name="look_ups")
    cut_on_group = models.CharField(max_length=20)
    day = models.DateField()
    count = models.PositiveIntegerField(default=0)

    class Meta:
        constraints = [
            models.UniqueConstraint(
                fields=["lens", "cut_on_group", "day"], name="look_ups_counted_once_a_day"
            )
        ]
        indexes = [models.Index(fields=["day"])]

    def __str__(self) -> str:
        return f"{self.count} look-ups of {self.lens} on {self.day}"

    def give_way(self, twin: "LookUpCount") -> bool:
        """Two lenses turned out to be one (registry.gear.carrying): look-ups of either were look-ups of it."""
        twin.count += self.count
        return False


class WantedTest(NamedCell, models.Model):
    """A lens × cut-on group, ranked by what one more report would teach and how many people ask.

    focal_zone: where it would teach most. information: bits. look_ups: of the days that count; watches: now.
    basis: what the information was computed from, so that equal inputs are recognised.
    """

    lens = models.ForeignKey("gear.Lens", on_delete=models.CASCADE, related_name="wanted_tests")
    cut_on_group = models.CharField(max_length=20)
    focal_zone = models.CharField(max_length=20)
    information = models.FloatField()
    look_ups = models.PositiveIntegerField(default=0)
    watches = models.PositiveIntegerField(default=0)
    score = models.FloatField()
    basis = models.CharField(max_length=120)
    counted_at = models.DateTimeField(default=timezone.now)

    class Meta:
        ordering = ["-score", "pk"]
        constraints = [
            models.UniqueConstraint(fields=["lens", "cut_on_group"], name="wanted_test_once_per_cut_on"),
            models.CheckConstraint(
                condition=Q(information__gte=0, score__gte=0), name="wanted_test_not_negative"
            ),
        ]
        indexes = [models.Index(fields=["-score", "id"], name="wanted_test_rank")]

    def __str__(self) -> str:
        return f"{self.lens} at {band_label(self.cut_on_group)}"


class Ended(models.TextChoices):
    """How a reservation ended."""

    RELEASED = "released", "given back"
    REPORTED = "reported", "report submitted"
    LAPSED = "lapsed", "time was up"


class Reservation(models.Model):
    """Someone will test this lens at this cut-on until then, so that others take another. Kept after it ended."""

    lens = models.ForeignKey("gear.Lens", on_delete=models.CASCADE, related_name="reservations")
    cut_on_group = models.CharField(max_length=20)
    account = models.ForeignKey(
        settings.AUTH_USER_MODEL, on_delete=models.CASCADE, related_name="reservations"
    )
    made_at = models.DateTimeField(auto_now_add=True)
    until = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    ended = models.CharField(max_length=10, choices=Ended.choices, blank=True)

    class Meta:
        ordering = ["-made_at"]
        constraints = [
            models.UniqueConstraint(
                fields=["lens", "cut_on_group"],
                condition=Q(ended_at__isnull=True),
                name="wanted_test_reserved_once",
            ),
            models.CheckConstraint(
                condition=Q(ended_at__isnull=True, ended="")
                | Q(ended_at__isnull=False, ended__in=Ended.values),
                name="reservation_says_how_it_ended",
            ),
        ]

    def __str__(self) -> str:
        return f"{self.lens}, {band_label(self.cut_on_group)}, reserved by {self.account}"

    def give_way(self, twin: "Reservation") -> bool:
        """Two lenses turned out to be one (registry.gear.carrying): the other reservation goes on, this one is kept."""
        self.ended_at, self.ended = timezone.now(), Ended.RELEASED
        return True
