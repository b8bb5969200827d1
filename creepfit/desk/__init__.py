"""A page on this machine where runs are kept: a folder's own files, seen and written through a browser."""
