"""How an operator learns how it goes: what is counted and timed, and signs of life."""

from typing import Final

COUNTS: Final = "PROMETHEUS_MULTIPROC_DIR"
"""Names the folder in which the web's processes count together; `prometheus_client` looks for it
once, as it is imported."""
