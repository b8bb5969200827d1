"""Planning a test: what to read before it begins and while it runs."""
