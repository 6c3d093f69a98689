"""Reading calls and standings, through the one visibility query."""
