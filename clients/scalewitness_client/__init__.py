"""A keeper's scripts: read what one may see, state facts, sign them, sync. See LIBRARY.md.

The bodies of facts are those of ``scalewitness.domain.facts``, what is observed at a check those of
``scalewitness.domain.observations``.
"""

from scalewitness import __version__
from scalewitness_cli.remote import Closed, Faulty, Later, Refusal, Stopped, Unreachable
from scalewitness_client.bundles import BadBundle, BundleRecord, check_bundle
from scalewitness_client.client import Client
from scalewitness_client.problems import InvalidFact, LogAlarm, NotAccepted
from scalewitness_client.reading import AnimalRecord, EntryRecord, StandingRecord

__all__ = [
    "AnimalRecord",
    "BadBundle",
    "BundleRecord",
    "Client",
    "Closed",
    "EntryRecord",
    "Faulty",
    "InvalidFact",
    "Later",
    "LogAlarm",
    "NotAccepted",
    "Refusal",
    "StandingRecord",
    "Stopped",
    "Unreachable",
    "__version__",
    "check_bundle",
]
