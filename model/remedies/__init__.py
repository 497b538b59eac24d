"""Changes to a build that were tried and bear themselves out."""
