"""Making a job: new from a template or a pin-out, or the open one, edited with every problem in view."""
