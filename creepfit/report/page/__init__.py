"""Answers as one self-contained page."""
