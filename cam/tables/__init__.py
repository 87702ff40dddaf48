"""Typed rows from tooling/ and posts/, and job files."""
