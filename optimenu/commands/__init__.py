"""The command line, one command a file; each imports what it needs only when it runs."""
