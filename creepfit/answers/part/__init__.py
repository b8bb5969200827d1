"""Questions about a part: sag, limit, load, thickness, tolerances."""
