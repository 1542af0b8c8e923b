"""A search over interleavings of frames, interrupts and hands, on every box."""
