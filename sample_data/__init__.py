"""An invented tennis academy: its CSV files, and the program that made them (`make_academy.py`)."""
