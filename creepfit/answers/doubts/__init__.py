"""Doubts about a run, a fit and each answer: the only source of cautions."""
