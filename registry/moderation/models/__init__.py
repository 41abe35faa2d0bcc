from registry.moderation.models.care import Appeal, Flag, FlagOutcome, FlagReason
from registry.moderation.models.decisions import Act, Decision, DecisionReport
from registry.moderation.models.figures import DayFigures
from registry.moderation.models.interests import Interest
from registry.moderation.models.queue import Handling
from registry.moderation.models.voices import Ground, VoiceSign

__all__ = [
    "Act",
    "Appeal",
    "DayFigures",
    "Decision",
    "DecisionReport",
    "Flag",
    "FlagOutcome",
    "FlagReason",
    "Ground",
    "Handling",
    "Interest",
    "VoiceSign",
]
