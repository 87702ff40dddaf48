"""Loops to finished panels, and the rules a panel must keep."""
