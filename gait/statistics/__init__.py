"""Statistics of herds and observers: shares with their uncertainty, and agreement."""
