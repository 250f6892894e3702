"""Trial of the forecasts on invented clubs whose true endings are known; `python -m tests.trial.table` prints it."""
