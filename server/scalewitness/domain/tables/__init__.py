"""A keeper's own list of animals, in whatever form it is kept: read, questioned and laid out line
by line before any of it is stated. Pages and the command use the same."""
