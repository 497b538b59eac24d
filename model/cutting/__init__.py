"""Sheets notched so that other pieces clear them."""
