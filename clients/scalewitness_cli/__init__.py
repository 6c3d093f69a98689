"""Clients of the record: what speaks to a server and shares only the domain with it."""
