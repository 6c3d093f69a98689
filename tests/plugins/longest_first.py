"""The longest files go first, so that of several processes none begins one at the end.

``--dist loadfile`` hands files out in the order of their tests where ``--no-loadscope-reorder``
is given; by itself it would begin with the files of most tests, and end with those of one or two
that start a whole service. All other files keep whatever order they have.

Of several tests of one name, several processes run a single one and say nothing: so no two may
have the same.
"""

from collections import Counter

import pytest

LONGEST = (
    "api/test_contract.py",
    "pages/test_hundredfold.py",
    "journeys/test_incident.py",
    "journeys/test_demo.py",
    "browser/rackside/test_refused.py",
    "browser/rackside/test_offline.py",
    "journeys/test_stuck.py",
    "browser/rackside/test_ahead.py",
    "cli/test_interrupted.py",
    "cli/test_loss.py",
    "browser/rackside/test_clock.py",
    "browser/rackside/test_sight.py",
    "browser/test_commerce.py",
    "deploy/test_access_logs.py",
    "domain/pictures/test_memory.py",
    "api/test_every_operation.py",
    "cli/test_following.py",
    "browser/rackside/test_following.py",
    "twins/test_twins.py",
    "api/test_matrix.py",
    "pages/test_matrix.py",
    "api/test_not_yours.py",
    "pages/test_not_yours.py",
    "journeys/test_queue_away.py",
    "deploy/test_local.py",
    "browser/rackside/test_versions.py",
    "cli/test_witness.py",
    "cli/test_histories.py",
    "cli/test_ahead.py",
    "fsck/test_fsck.py",
    "mail/test_reports.py",
    "house/test_recipes.py",
    "deploy/test_backup.py",
    "pages/test_security.py",
    "intake/test_pieces.py",
    "browser/test_signing_pages.py",
    "browser/rackside/test_access.py",
    "pages/test_proving.py",
    "setting_up/test_init.py",
    "cli/test_insider.py",
    "ledger/test_memory_etcd.py",
    "browser/rackside/test_hatch_faults.py",
    "intake/test_faults_beside.py",
    "browser/rackside/test_undo.py",
    "cli/test_proved_meanwhile.py",
    "browser/rackside/test_own_entries.py",
    "letters/test_every_link_opens.py",
    "intake/test_outcome_unknown.py",
)
"""After ``tests/``: those that take ten seconds and more on two idle cores."""


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    place = {f"tests/{name}": number for number, name in enumerate(LONGEST)}
    items.sort(key=lambda one: place.get(one.nodeid.partition("::")[0], len(LONGEST)))
    twice = [name for name, times in Counter(one.nodeid for one in items).items() if times > 1]
    if twice:
        raise pytest.UsageError(f"of several tests of one name one would run: {twice}")
