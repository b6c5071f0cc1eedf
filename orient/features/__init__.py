"""Hard features: what will cost tuning time or a redesign, where it is, how big, how bad, and what to do."""
