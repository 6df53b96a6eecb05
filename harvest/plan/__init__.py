"""Decisions: who stands on which list, and in which order."""
