"""Many clubs as one: each club's records as a partition of a lake of Parquet files, and a roll-up over all of them."""
