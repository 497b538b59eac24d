"""Tubes and cables."""
