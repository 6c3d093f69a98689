"""The ``scalewitness`` command."""

import click

from scalewitness_cli.commands.alarms import acknowledge, alarms, evidence
from scalewitness_cli.commands.verify import verify
from scalewitness_cli.commands.witness import witness


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="scalewitness")
def cli() -> None:
    """The record of what sex a snake is, from the command line."""


for command in (verify, witness, alarms, acknowledge, evidence):
    cli.add_command(command)
