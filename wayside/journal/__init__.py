"""What happened in shows: written without ever being in the way, read, summed up, given back as rehearsals."""
