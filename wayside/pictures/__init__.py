"""Timelines of rehearsals, and drawings of how lamps and servos behave."""
