"""Graphics cards, their mounts and supports."""
