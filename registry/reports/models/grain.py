"""The fine grain of a frame, by which a second copy of it is known; private, shown to nobody."""

from django.db import models


class FrameGrain(models.Model):
    """residual: 96 × 96 signed bytes, as registry.frames.residual makes them. It goes with its picture."""

    image = models.OneToOneField("reports.SampleImage", on_delete=models.CASCADE, related_name="grain")
    residual = models.BinaryField()

    def __str__(self) -> str:
        return f"grain of {self.image_id}"
