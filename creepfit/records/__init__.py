"""What a user writes: runs and parts, files to records."""
