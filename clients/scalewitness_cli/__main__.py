"""``python -m scalewitness_cli``, where the command itself is not on the path."""

from scalewitness_cli.main import cli

cli(prog_name="scalewitness")
