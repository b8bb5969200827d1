"""Results in, words and pictures out."""
