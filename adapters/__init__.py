"""The far ends behind one small port. Knows the engine's commands and inputs, never the language."""
