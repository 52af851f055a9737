"""What was baked, and the ways in."""
