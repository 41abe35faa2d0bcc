from registry.moderation.services.answering import answer_proposal, undo_decision
from registry.moderation.services.deciding import decide
from registry.moderation.services.handling import hand_back, take_on
from registry.moderation.services.interests import declare_interest, withdraw_interest

__all__ = [
    "answer_proposal",
    "decide",
    "declare_interest",
    "hand_back",
    "take_on",
    "undo_decision",
    "withdraw_interest",
]
