"""Questions about several runs: one material as a pool, two materials compared, a shelf of many."""
