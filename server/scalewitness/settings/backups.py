"""How this service learns how old its newest backup is; nothing here makes one.

The job that makes backups either touches a file when one is complete, or keeps them with
pgBackRest, which can be asked. `scalewitness-server check`, `/metrics` and the letters to operators
go by either.
"""

from scalewitness.settings.environment import env

BACKUP_STAMP = env.str("BACKUP_STAMP", default="")
"""What `deploy/backups/take` and `drill` write: when a backup and a drill last went well. Or a file
that a backup job of your own touches when a backup is complete: its time is the backup's."""
BACKUP_INFO_COMMAND = env.str("BACKUP_INFO_COMMAND", default="")
"""A command that prints what ``pgbackrest info --output=json`` does: the newest backup's time is
read from it, where there is no ``BACKUP_STAMP``. The worker runs it every ten minutes."""
BACKUP_WITHIN = env.int("BACKUP_WITHIN", default=93_600)
"""Seconds within which a backup is to be made: a day, and two hours for making it (our
judgement)."""
