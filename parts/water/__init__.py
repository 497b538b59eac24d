"""What holds and moves coolant: radiators, distribution plates, pumps."""
