"""Rehearsals and show days played in no time: verdicts, event lists, explanations, traces."""
