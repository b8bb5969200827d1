"""Questions about the tested specimen: forecast, limit, creep modulus, creep stop, recovery, set, what to read next."""
