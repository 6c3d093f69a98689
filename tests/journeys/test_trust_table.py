"""`server/LOG.md`'s table of what each store is trusted with: by cell, the tests that show it."""

import ast
import re
from collections.abc import Iterator
from pathlib import Path

ROOT = Path(__file__).parents[2]
HEADING = "## What each store is trusted with"

LOST, ALTERED = "if it is lost", "if someone alters it"

BACKUP = "tests/deploy/test_backup.py"
REMEMBERED = "tests/ledger/test_remembered.py"
FSCK = "tests/fsck/test_fsck.py"
BOOKS = "tests/fsck/test_books.py"
GUARD = "tests/ledger/test_append_only.py"
HERE = "tests/ledger/test_lost_and_altered.py"

SHOWN: dict[tuple[str, str], tuple[str, ...]] = {
    ("PostgreSQL: log", LOST): (
        f"{BACKUP}::test_a_copy_is_the_log_it_was",
        f"{BACKUP}::test_a_copy_takes_signs_and_sends_nothing",
        f"{BACKUP}::test_an_older_copy_is_not_adopted_with_whatever_file",
        f"{BACKUP}::test_the_copy_is_adopted_against_what_it_continues",
    ),
    ("PostgreSQL: log", ALTERED): (
        f"{GUARD}::test_even_the_owner_cannot_update_or_delete_rows",
        f"{GUARD}::test_the_runtime_role_lacks_the_rights_altogether",
        f"{FSCK}::test_it_is_found",
        f"{FSCK}::test_only_what_others_keep_tells_of_a_whole_new_history",
    ),
    ("PostgreSQL: projections", LOST): (
        f"{FSCK}::test_a_table_that_is_lost_is_told_row_by_row",
        f"{BACKUP}::test_a_full_database_can_be_replaced",
        f"{FSCK}::test_what_neither_log_nor_books_hold_is_not_missed",
    ),
    ("PostgreSQL: projections", ALTERED): (
        f"{FSCK}::test_it_is_found",
        "tests/standings/test_replay.py::test_replay_finds_an_altered_standing",
    ),
    ("PostgreSQL: people", LOST): (
        "tests/intake/test_erasure.py::test_closing_an_account",
        "tests/intake/test_erasure.py::test_a_buyer_s_name_and_address_are_nowhere_afterwards",
    ),
    ("PostgreSQL: people", ALTERED): (
        f"{HERE}::test_another_name_that_no_book_holds_is_not_found_and_another_text_is",
        f"{BOOKS}::test_what_was_closed_and_altered_is_named",
    ),
    ("PostgreSQL: letters", LOST): (
        f"{HERE}::test_a_disclosure_whose_letter_is_lost_stays_open_and_is_read_by_the_buyer",
    ),
    ("PostgreSQL: letters", ALTERED): (
        f"{HERE}::test_a_letter_that_is_said_to_be_sent_closes_no_disclosure",
        f"{BOOKS}::test_what_was_closed_and_altered_is_named",
    ),
    ("`LOG_MEMORY`", LOST): (
        f"{HERE}::test_a_memory_that_is_lost_is_made_anew",
        f"{REMEMBERED}::test_a_database_set_back_is_fenced_at_the_start",
    ),
    ("`LOG_MEMORY`", ALTERED): (
        f"{REMEMBERED}::test_a_memory_that_is_no_checkpoint_closes_the_log",
        f"{HERE}::test_an_older_memory_is_as_good_as_none",
    ),
    ("`LOG_SIGNING_KEY`", LOST): (
        f"{HERE}::test_under_another_key_the_log_is_signed_anew_and_what_was_signed_holds",
        "tests/cli/test_watching.py::test_a_rotated_key_counts_once_it_is_trusted",
    ),
    ("`LOG_SIGNING_KEY`", ALTERED): (
        "tests/cli/test_watching.py::test_two_histories_shown_to_two_clients",
        "tests/cli/test_watching.py::test_the_other_history_shown_to_the_same_client_later",
    ),
    ("Redis-protocol server", LOST): (
        "tests/journeys/test_queue_away.py::test_signing_in_pushing_and_readiness_go_on",
        "tests/journeys/test_incident.py::test_everyone_who_relied_on_it_hears_once",
        "tests/journeys/test_crashes.py::test_letters_wait_out_a_dead_worker_and_a_dead_broker",
        "tests/test_guessing.py::test_without_the_queue_server_there_is_a_limit_and_no_fault",
    ),
    ("Redis-protocol server", ALTERED): (
        "tests/journeys/test_incident.py::test_everyone_who_relied_on_it_hears_once",
        "tests/journeys/test_crashes.py::test_letters_wait_out_a_dead_worker_and_a_dead_broker",
        f"{HERE}::test_an_emptied_queue_server_costs_a_count_of_tries",
    ),
    ("Mail host", LOST): (
        "tests/mail/test_delivery.py::test_a_dead_mail_host_only_delays",
        "tests/mail/test_delivery.py::test_a_refusal_for_now_is_tried_again",
    ),
    ("Mail host", ALTERED): (
        "tests/pages/test_disclosures_and_disputes.py::"
        "test_the_link_shows_both_versions_and_takes_the_acknowledgement_once",
    ),
}
"""By store and column."""


def cells() -> Iterator[tuple[str, str]]:
    """Every store with each column that promises something of it."""
    table = (ROOT / "server/LOG.md").read_text().partition(HEADING)[2].strip().partition("\n\n")[0]
    head, _, *rows = ([cell.strip() for cell in re.split(r"(?<!\\)\|", row)[1:-1]]
                      for row in table.splitlines())  # fmt: skip
    for row in rows:
        assert len(row) == len(head), row
        yield from ((row[0], column) for column in head[2:])


def test_every_cell_names_the_tests_that_show_it() -> None:
    assert sorted(cells()) == sorted(SHOWN)
    assert all(SHOWN.values())


def test_each_of_those_tests_is_there() -> None:
    for one in sorted({name for names in SHOWN.values() for name in names}):
        path, _, name = one.partition("::")
        found = {
            node.name
            for node in ast.walk(ast.parse((ROOT / path).read_text()))
            if isinstance(node, ast.FunctionDef)
        }
        assert name in found, one
