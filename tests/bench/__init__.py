"""How long the work on the sample academy takes on this machine; printed, never asserted."""
