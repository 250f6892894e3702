"""Small faults put into the program on purpose, to find out which of them no test notices."""
