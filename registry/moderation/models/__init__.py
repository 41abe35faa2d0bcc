from registry.moderation.models.decisions import Act, Decision, DecisionReport
from registry.moderation.models.interests import Interest
from registry.moderation.models.queue import Handling

__all__ = ["Act", "Decision", "DecisionReport", "Handling", "Interest"]
