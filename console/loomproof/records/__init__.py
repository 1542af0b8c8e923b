"""The durable record of a job, and the reports made from it."""
