"""The numbers that decide what is learned, by table and name."""

from scalewitness.domain.sexing.tables import table


def rule(part: str, name: str) -> float:
    """One of them. Raises KeyError."""
    return float(table("learning.toml")[part][name]["value"])
