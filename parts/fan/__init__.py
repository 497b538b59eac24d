"""Fans, the holes of their field, and the thin layers that go between."""
