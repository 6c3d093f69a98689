"""Names that what is stored or queued relies on: they outlive a move of their code."""

from celery import Celery
from django.apps import apps
from django.conf import settings
from django.utils.module_loading import import_string

SCHEDULED = {
    "scalewitness.animals.tasks.keep_bucket",
    "scalewitness.animals.tasks.sweep_bucket",
    "scalewitness.importing.tasks.forget_old_lists",
    "scalewitness.intake.tasks.chase_disclosures",
    "scalewitness.intake.tasks.end_devices",
    "scalewitness.intake.tasks.go_on_reassessing",
    "scalewitness.intake.tasks.count_named",
    "scalewitness.intake.tasks.close_the_books",
    "scalewitness.intake.tasks.count_unanswered",
    "scalewitness.intake.tasks.lapse_due_offers",
    "scalewitness.intake.tasks.update_records",
    "scalewitness.intake.tasks.write_digests",
    "scalewitness.letters.tasks.ask_practices",
    "scalewitness.letters.tasks.remind_of_late_checks",
    "scalewitness.letters.tasks.watch_backups",
    "scalewitness.ledger.tasks.push_to_witnesses",
    "scalewitness.ledger.tasks.sign_head",
    "scalewitness.mail.tasks.deliver_waiting",
    "scalewitness.seasons.tasks.compute_seasons",
    "scalewitness.standings.tasks.learn_numbers",
    "scalewitness.visits.tasks.forget_invitations",
}


def test_a_task_queued_by_an_earlier_release_is_known() -> None:
    worker = Celery("worker", set_as_current=False)
    worker.autodiscover_tasks([app.name for app in apps.get_app_configs()], force=True)
    assert worker.tasks.keys() >= SCHEDULED
    assert {one["task"] for one in settings.CELERY_BEAT_SCHEDULE.values()} == SCHEDULED


def test_sessions_of_an_earlier_release_stay_signed_in() -> None:
    """A session names the backend that its keeper signed in by, and ends without it."""
    assert settings.AUTHENTICATION_BACKENDS == ["scalewitness.pages.accounts.OneAccount"]
    assert import_string("scalewitness.pages.accounts.OneAccount")
