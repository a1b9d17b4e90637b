"""Cows followed through time: a film cut into passes, with the camera's motion taken out."""

from gait.track.passes import BACK_LINE_POINTS, Pass

__all__ = ["BACK_LINE_POINTS", "Pass"]
