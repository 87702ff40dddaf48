"""Moves to RS-274 text."""
