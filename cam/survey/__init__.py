"""Measured walls to panels."""
