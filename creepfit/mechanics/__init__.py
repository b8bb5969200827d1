"""Load to stress, reading to strain, superposition, beams, clocks."""
