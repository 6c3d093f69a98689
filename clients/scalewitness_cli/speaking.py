"""What a sync speaks to, put together."""

from collections.abc import Sequence

from scalewitness.domain.translog.keys import VerifierKey
from scalewitness_cli.identity import Identity
from scalewitness_cli.memory import Memory, state_folder
from scalewitness_cli.public_log import PublicLog
from scalewitness_cli.remote import Api
from scalewitness_cli.sync import Line
from scalewitness_cli.timeliness import wanted_in
from scalewitness_cli.trust import log_keys, wanted_file, witness_keys


def line_to(identity: Identity, api: Api, log: PublicLog, trusted: Sequence[VerifierKey]) -> Line:
    """The server, held to its log where a key of that is ``trusted``."""
    keys = log_keys(trusted, identity.origin) if identity.origin else []
    memory = Memory(state_folder(), identity.origin) if identity.origin and keys else None
    if memory is None:
        return Line(api, log, memory, keys)
    wanted = wanted_in(wanted_file())
    return Line(api, log, memory, memory.keys(keys), wanted, witness_keys(trusted))
