"""What if: another string, gauge or policy for a player or squad, and the cheapest point to restring."""
