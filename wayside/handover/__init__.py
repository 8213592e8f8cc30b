"""What somebody else is handed: a day sheet to print, and a show packed into one file."""
