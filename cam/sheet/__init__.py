"""Panels laid on sheets."""
