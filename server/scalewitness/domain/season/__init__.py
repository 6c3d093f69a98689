"""The season: what is planned, what it should bring, and what happens in it."""
