"""The page of a show: what it is told, what it may ask, and the server that keeps strangers out."""
