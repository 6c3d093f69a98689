"""Follows the operator's guides on a bare Debian, by typing what they say to type."""
