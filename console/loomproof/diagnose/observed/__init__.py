"""What was seen of each channel, brought to the few words that faults differ by."""
