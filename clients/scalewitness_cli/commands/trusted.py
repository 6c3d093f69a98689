"""Trusted keys as commands take them: given by option, or kept in the keys file."""

import click

from scalewitness.domain.translog.keys import BadKey, VerifierKey, read_verifier
from scalewitness_cli.trust import kept_keys, keys_file


def read_keys(
    ctx: click.Context, param: click.Parameter, texts: tuple[str, ...]
) -> tuple[VerifierKey, ...]:
    """The callback of a repeatable option."""
    try:
        return tuple(map(read_verifier, texts))
    except BadKey as fault:
        raise click.BadParameter(f"{fault}", ctx, param) from None


def read_key(ctx: click.Context, param: click.Parameter, text: str | None) -> VerifierKey | None:
    """The callback of an option that names one key."""
    try:
        return read_verifier(text) if text else None
    except BadKey as fault:
        raise click.BadParameter(f"{fault}", ctx, param) from None


def kept_or_usage() -> list[VerifierKey]:
    """The keys of the keys file; a damaged one ends the run with 2."""
    try:
        return kept_keys(keys_file())
    except BadKey as fault:
        raise click.UsageError(f"{fault}") from None
