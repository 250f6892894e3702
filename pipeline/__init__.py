"""The computation of the project: a club's CSV files in, a ranked fleet and a workload forecast out. Imports no UI."""

__version__ = "0.1.0"
