"""The shared record of what sex a snake is: `domain` is its clients' and the server's, the rest the
server's alone."""

__version__ = "0.3"
"""Of everything here: the server, the command, the library."""
