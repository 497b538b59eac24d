"""Screws: which holes are in line, whether a screw passes, how long it must be, and where it stands."""
