"""The layout file: read, checked, and single values of it saved."""
