"""What `check` adds to the files' own mistakes: flashing light, loads of links, and what a wire cannot carry."""
