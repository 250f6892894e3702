"""The README and what it shows."""
