"""What may be wrong with a job."""
