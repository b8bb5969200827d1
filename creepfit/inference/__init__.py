"""From a run to best fits, a posterior and draws of the creep compliance."""
