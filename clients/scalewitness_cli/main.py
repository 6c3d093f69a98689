"""The ``scalewitness`` command."""

import click

from scalewitness_cli.commands.verify import verify


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="scalewitness")
def cli() -> None:
    """The record of what sex a snake is, from the command line."""


cli.add_command(verify)
