"""Trying and probing what is at the end of a wire, before any scene; what is wrong when nothing moves."""
