"""The ``scalewitness`` command."""

import click

from scalewitness import __version__
from scalewitness_cli.commands.accepting import accept
from scalewitness_cli.commands.account import sign_in, sign_out, trust_log
from scalewitness_cli.commands.alarms import acknowledge, alarms, evidence
from scalewitness_cli.commands.breeding import carries, prospects
from scalewitness_cli.commands.bundle import bundle, check_bundle
from scalewitness_cli.commands.care import feed, move, note, shed, weigh
from scalewitness_cli.commands.checking import check
from scalewitness_cli.commands.editing import edit
from scalewitness_cli.commands.ending import end
from scalewitness_cli.commands.inviting import invitations, invite
from scalewitness_cli.commands.manual import manual
from scalewitness_cli.commands.own_word import endorse, in_my_name, require_signatures
from scalewitness_cli.commands.photo import photo
from scalewitness_cli.commands.quote import quote
from scalewitness_cli.commands.receipt import receipt
from scalewitness_cli.commands.recovering import recover, recovery_key, revoke_device
from scalewitness_cli.commands.refiling import refile
from scalewitness_cli.commands.registering import register
from scalewitness_cli.commands.requiring import require_witnesses
from scalewitness_cli.commands.retrying import retry
from scalewitness_cli.commands.revoking import revoke_witness
from scalewitness_cli.commands.season import season
from scalewitness_cli.commands.season_plan import plan
from scalewitness_cli.commands.sending import send
from scalewitness_cli.commands.sent_by import sent_by
from scalewitness_cli.commands.servers import servers
from scalewitness_cli.commands.showing import sheet, show
from scalewitness_cli.commands.status import status
from scalewitness_cli.commands.stopping import Commands
from scalewitness_cli.commands.succession import follow_log
from scalewitness_cli.commands.syncing import sync
from scalewitness_cli.commands.tables import export, import_
from scalewitness_cli.commands.traits import traits
from scalewitness_cli.commands.unsent import choose, drop, unsent
from scalewitness_cli.commands.verify import verify
from scalewitness_cli.commands.vouching import vouch, vouchers
from scalewitness_cli.commands.witness import witness


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__)
def cli() -> None:
    """The record of what sex a snake is, from the command line."""


KEEPERS = (sign_in, sign_out, status, servers, trust_log, follow_log, accept, sheet, check, refile,
    weigh, feed, shed, note, move, register, edit, end, traits, carries, prospects, season, sync,
    in_my_name, require_signatures, endorse, recovery_key, recover, revoke_device, sent_by, send,
    show, unsent, retry, drop, choose, receipt, photo, import_, export, invite, invitations,
    vouch, vouchers, bundle, quote)  # fmt: skip
WATCHERS = (manual, verify, check_bundle, witness, require_witnesses, revoke_witness, alarms,
    acknowledge, evidence)  # fmt: skip
season.add_command(plan)
for command in (*KEEPERS, *WATCHERS):
    cli.add_command(command)
