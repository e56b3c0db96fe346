"""The command line, one command a file; each imports what it needs only when it runs."""

import time

BEGAN = time.monotonic()
"""When the program was started, near enough: what a limit of time counts from."""
