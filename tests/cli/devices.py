"""A keeper's device as the library makes it: a store of its own, a server beyond a bad line."""

import time
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from tests.cli.meddler import Meddler
from tests.cli.rooms import Machine
from tests.world import PASSWORD

from scalewitness.domain.moments import rfc3339
from scalewitness_cli import replica
from scalewitness_cli.checks import Noted, facts_of, identification, one_pass
from scalewitness_cli.identity import fresh_id, moment_now, need_identity
from scalewitness_cli.outbox import Item, add, add_edit, items
from scalewitness_cli.public_log import PublicLog
from scalewitness_cli.remote import Api, RetryLimit
from scalewitness_cli.signin import sign_in
from scalewitness_cli.store import Store
from scalewitness_cli.sync import Line, Step, Synced, silently, sync

DEPTHS = {"male": "9", "female": "3"}
AT_ONCE = RetryLimit(seconds=0.0)
EVERY = ("waiting", "accepted", "held", "conflict", "refused", "dropped")


class Died(Exception):
    """The process went away at a step."""


@dataclass
class Device:
    """One of a keeper's. ``skew``: seconds by which its clock is ahead."""

    keeper: Machine
    folder: Path
    meddler: Meddler
    skew: float = 0.0

    def __post_init__(self) -> None:
        self.store = Store(self.folder, self.meddler.url)
        with Api(self.meddler.url) as anyone:
            sign_in(self.store, anyone, self.keeper.email, PASSWORD, self.folder.name)

    def close(self) -> None:
        self.store.close()

    def reopen(self) -> None:
        """As after the process was killed: nothing is there but the file."""
        self.close()
        self.store = Store(self.folder, self.meddler.url)

    # --- what its keeper does ---------------------------------------------------------

    def check(self, animal: str, sex: str) -> str:
        """A call stored and not sent; its id. The visit is the one that its replica knows."""
        at = rfc3339(datetime.fromtimestamp(time.time() + self.skew, UTC))
        visit = replica.visit_covering(self.store, animal, at)
        passes = [one_pass(side, f"{DEPTHS[sex]}:resistance") for side in ("left", "right")]
        noted = Noted(
            animal=animal,
            at=at,
            conclusion=sex,
            sureness="fairly_sure",
            observed={"method": "probing", "passes": passes},
            identified=identification("keeper_said"),
            held_by="second_person",
            visit=visit,
        )
        key = need_identity(self.store).key
        (stored,) = add(self.store, key, facts_of(noted, steward=False), at)
        return stored.id

    def rename(self, animal: str, name: str) -> str | None:
        """An edit stored on top of the version that its replica knows; its id."""
        known = replica.animal(self.store, animal)
        if known is None or "version" not in known:
            return None
        edit = {
            "id": fresh_id(),
            "record": f"animals/{animal}",
            "base_version": known["version"],
            "fields": {"name": name},
        }
        add_edit(self.store, need_identity(self.store).key, edit, animal, rfc3339(moment_now()))
        return str(edit["id"])

    def sync(self, at: Step = silently) -> Synced:
        """Raises Unreachable where the line is cut, and what ``at`` raises."""
        identity = need_identity(self.store)
        with (
            Api(self.meddler.url, identity.token, AT_ONCE) as api,
            PublicLog(self.meddler.url) as log,
        ):
            return sync(self.store, identity, Line(api, log, None, ()), int(time.time()), at)

    def send_raw(self, chosen: Sequence[Item]) -> list[dict[str, Any]]:
        """A push of these in this order, of which the store hears nothing."""
        with Api(self.meddler.url, need_identity(self.store).token, AT_ONCE) as api:
            return api.outcomes([one.sent for one in chosen])

    # --- what it holds ----------------------------------------------------------------

    def outbox(self) -> dict[str, Item]:
        return {one.id: one for one in items(self.store, *EVERY)}  # type: ignore[arg-type]

    def animals(self) -> dict[str, Any]:
        return {one["id"]: one for one in replica.animals(self.store)}

    def facts(self, animal: str) -> list[Any]:
        return replica.facts_about(self.store, animal)

    def raw(self) -> bytes:
        """Every byte of the store and of what lies beside it."""
        return b"".join(one.read_bytes() for one in sorted(self.store.folder.iterdir()))
