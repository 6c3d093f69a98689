"""Why a service cannot be set up."""


class CannotSetUp(Exception):
    """In words for the operator; what was made so far stays, and the same command goes on."""
