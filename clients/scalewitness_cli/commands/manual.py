"""``scalewitness manual``: all of this, as a manual page."""

from importlib.metadata import PackageNotFoundError, version

import click

from scalewitness_cli.manual import page


@click.command()
@click.pass_context
def manual(ctx: click.Context) -> None:
    """Write the manual page, for man(1): scalewitness manual | man -l -"""
    group = ctx.find_root().command
    if isinstance(group, click.Group):
        click.echo(page(group, "scalewitness", _version()), nl=False)


def _version() -> str:
    try:
        return version("scalewitness")
    except PackageNotFoundError:
        return ""  # run from its source
