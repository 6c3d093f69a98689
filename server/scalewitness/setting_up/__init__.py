"""Setting up a new service; all of it works before there are any settings."""
