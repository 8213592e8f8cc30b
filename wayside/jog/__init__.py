"""Moving one servo by hand, step by step, and setting its ends."""
