"""Rows and tables put into files that a person keeps: only what is new changes, all else stays as it was typed."""
