"""One question a file, a frozen result each."""
