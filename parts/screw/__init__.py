"""Screws, nuts, washers, inserts, with the tables they come from."""
