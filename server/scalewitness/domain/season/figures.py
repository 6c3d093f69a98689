"""The numbers of planning a season, each with its source and status, from ``data/season.toml``."""

from scalewitness.domain.data_files import data_file


def season_number(part: str, name: str) -> float:
    """One of them. Raises KeyError."""
    return float(data_file("season", "season.toml")[part][name]["value"])
