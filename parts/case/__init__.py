"""Cases: openings, panels, rear, holes, and what is fitted to them."""
