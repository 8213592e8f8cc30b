"""Driving trains against the rules of the scenes, until one breaks or none does."""
