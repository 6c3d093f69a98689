"""What the API shows, as typed values; each module makes them from rows and queries."""
