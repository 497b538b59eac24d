"""Laying the loop: a way for every tube, and turns for what swivels."""
