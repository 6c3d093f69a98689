"""Brings the service up in containers, by typing what the operator's guide says."""
