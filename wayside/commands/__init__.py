"""One module for each command: its options (`describe`) and what it does (`run`)."""
