"""Files that a contributor has announced for a draft and that are still to come."""

from django.db import models


class AwaitedFrame(models.Model):
    """One announced file. The row goes when its frame arrives; `problem` says why it was turned away at the door.
    `content_hash` is empty where the sender's browser could not compute it: name and size stand in for it."""

    report = models.ForeignKey("reports.Report", on_delete=models.CASCADE, related_name="awaited")
    file_name = models.CharField(max_length=200)
    byte_size = models.PositiveBigIntegerField()
    content_hash = models.CharField(max_length=64, blank=True)
    problem = models.JSONField(null=True, blank=True)  # a registry.errors.Problem
    announced_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        ordering = ["file_name", "id"]
        constraints = [
            models.UniqueConstraint(
                fields=["report", "content_hash", "file_name", "byte_size"], name="frame_awaited_once"
            )
        ]

    def __str__(self) -> str:
        return self.file_name
