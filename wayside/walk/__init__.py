"""Round the layout with every output and detector in turn, and what their answers say; trains that are timed."""
