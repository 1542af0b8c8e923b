"""Reading a pin-out table (CSV or XLSX) into the draft of a job: rows in, draft and remarks out, no files touched."""
