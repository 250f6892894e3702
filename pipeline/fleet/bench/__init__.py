"""The bench plan: which job on which day by whom, what does not fit, and what would make it fit."""
