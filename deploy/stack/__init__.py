"""The local stack: PostgreSQL, Valkey and a mail sink under one supervisor.

`./deploy/demo` and the tests start the same parts from here. Nothing in production uses it.
"""
