"""What beat has the worker do, and how often, in seconds."""

from celery.schedules import crontab

CELERY_BEAT_SCHEDULE = {
    "deliver waiting letters": {
        "task": "scalewitness.mail.tasks.deliver_waiting",
        "schedule": 10.0,
    },
    "sign the log's head": {
        "task": "scalewitness.ledger.tasks.sign_head",
        "schedule": 10.0,
    },
    "send the log's head to witnesses": {
        "task": "scalewitness.ledger.tasks.push_to_witnesses",
        "schedule": 10.0,
    },
    "chase disclosures": {
        "task": "scalewitness.intake.tasks.chase_disclosures",
        "schedule": 300.0,
    },
    "compute seasons": {
        "task": "scalewitness.seasons.tasks.compute_seasons",
        "schedule": 5.0,
        "options": {"expires": 5.0},
    },
    "ask practices": {"task": "scalewitness.letters.tasks.ask_practices", "schedule": 300.0},
    "remind of late checks": {
        "task": "scalewitness.letters.tasks.remind_of_late_checks",
        "schedule": 3600.0,
    },
    "watch backups": {"task": "scalewitness.letters.tasks.watch_backups", "schedule": 600.0},
    "forget old lists": {
        "task": "scalewitness.importing.tasks.forget_old_lists",
        "schedule": 3600.0,
    },
    "write digests": {
        "task": "scalewitness.intake.tasks.write_digests",
        "schedule": crontab(hour="5", minute="10", day_of_week="mon"),
    },
    "end devices": {"task": "scalewitness.intake.tasks.end_devices", "schedule": 300.0},
    "go on reassessing": {
        "task": "scalewitness.intake.tasks.go_on_reassessing",
        "schedule": 600.0,
    },
    "learn numbers": {
        "task": "scalewitness.standings.tasks.learn_numbers",
        "schedule": crontab(hour="3", minute="50"),
    },
    "count unanswered calls": {
        "task": "scalewitness.intake.tasks.count_unanswered",
        "schedule": 3600.0,
    },
    "count accounts named as one": {
        "task": "scalewitness.intake.tasks.count_named",
        "schedule": 3600.0,
    },
    "forget unanswered invitations": {
        "task": "scalewitness.visits.tasks.forget_invitations",
        "schedule": 3600.0,
    },
    "close the books": {
        "task": "scalewitness.intake.tasks.close_the_books",
        "schedule": 600.0,
    },
    "keep the bucket": {
        "task": "scalewitness.animals.tasks.keep_bucket",
        "schedule": 10.0,
        "options": {"expires": 10.0},
    },
    "sweep the bucket": {
        "task": "scalewitness.animals.tasks.sweep_bucket",
        "schedule": crontab(hour="4", minute="20"),
    },
    "lapse offers": {"task": "scalewitness.intake.tasks.lapse_due_offers", "schedule": 300.0},
    "update examiners' records": {
        "task": "scalewitness.intake.tasks.update_records",
        "schedule": crontab(hour="3", minute="20"),
    },
}
