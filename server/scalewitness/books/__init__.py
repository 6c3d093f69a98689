"""What lies outside the log, closed into it: of each table a count and a chain of commitments."""
