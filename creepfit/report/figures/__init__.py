"""Answers as figures."""
