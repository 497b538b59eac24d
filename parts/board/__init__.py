"""The motherboard and what stands on it; the power supply."""
