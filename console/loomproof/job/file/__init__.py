"""A job as a text file: read, edited, written."""
