"""The language: text in, program out. Knows nothing of time passing, of hardware, or of screens."""
