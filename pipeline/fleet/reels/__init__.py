"""Reels: metres a job takes, stock, what to order by when, the ledger and the budget."""
