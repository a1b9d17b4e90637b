"""Seeing cows: our own network, run through MediaPipe Tasks. The only part that loads it."""

from gait.pose.careful import CarefulNetwork
from gait.pose.network import CowNetwork
from gait.pose.sighting import Box, Sighting, Silhouette

__all__ = ["Box", "CarefulNetwork", "CowNetwork", "Sighting", "Silhouette"]
