"""Answers in words, for a terminal, a pipe or a mail."""
