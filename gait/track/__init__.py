"""Cows followed through time: a film cut into passes, with the camera's motion taken out."""

from gait.track.follow import follow
from gait.track.legs import settle_legs
from gait.track.passes import BACK_LINE_POINTS, Pass
from gait.track.photo import photo_pass

__all__ = ["BACK_LINE_POINTS", "Pass", "follow", "photo_pass", "settle_legs"]
