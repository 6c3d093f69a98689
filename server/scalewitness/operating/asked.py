"""What the operator gives along, for what cannot be tested without."""

from dataclasses import dataclass
from pathlib import Path

import httpx


@dataclass(frozen=True, slots=True)
class Asked:
    """As the options of ``check`` have it. ``transport``: to the site; None: the network."""

    mail_to: str = ""
    returns: Path | None = None
    wait: float = 60.0
    letter: Path | None = None
    dkim_selector: str = ""
    kept_keys: Path | None = None
    ntp: str = ""
    web_processes: int = 2
    name_server: str = ""
    transport: httpx.BaseTransport | None = None
