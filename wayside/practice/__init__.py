"""Crossings measured against published practice."""
