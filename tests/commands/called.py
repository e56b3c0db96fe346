"""Calls the whole program in this process, as its entry point does."""

from __future__ import annotations

import pytest

from optimenu.commands.app import main


def main_ends(monkeypatch: pytest.MonkeyPatch, *words: str) -> int | str:
    """Run the program and return the code it exits with."""
    monkeypatch.setattr("sys.argv", ["optimenu", *words])
    with pytest.raises(SystemExit) as ended:
        main()
    return ended.value.code or 0
