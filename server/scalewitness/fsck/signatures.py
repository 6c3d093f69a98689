"""The devices' signatures, from the leaves alone."""

from collections.abc import Iterable, Iterator

from scalewitness.domain.translog.devices import DeviceKeys
from scalewitness.fsck.reading import Read
from scalewitness.fsck.report import Difference


def check_signatures(read: Iterable[Read], devices: DeviceKeys) -> Iterator[Difference]:
    """Signatures that do not hold. ``devices`` has read every entry before these."""
    for one in read:
        fault = devices.read(one.leaf) if one.leaf is not None else None
        if fault:
            yield Difference("ledger_entry", one.position, fault)
