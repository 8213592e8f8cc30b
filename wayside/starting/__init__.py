"""The first files of a new layout."""
