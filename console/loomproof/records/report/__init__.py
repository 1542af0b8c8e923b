"""The report for the customer: one HTML file that needs nothing else and prints on A4."""
