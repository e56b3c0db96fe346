"""Command `schema`."""

from __future__ import annotations


def run() -> None:
    """Not there yet."""
