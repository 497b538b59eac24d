"""Fittings, and which goes where."""
