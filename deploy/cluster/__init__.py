"""Several hosts on one machine, for trial: each is a network namespace. See README.md."""
