"""From measurements to a transparent 1-5 score with a confidence, and learning from people."""

from gait.score.combine import combine_clips
from gait.score.model import MeasureTerm, ScoreModel
from gait.score.proposal import LAME_FROM, SCORES, SEVERE_FROM, Proposal, look_yourself

__all__ = [
    "LAME_FROM",
    "SCORES",
    "SEVERE_FROM",
    "MeasureTerm",
    "Proposal",
    "ScoreModel",
    "combine_clips",
    "look_yourself",
]
