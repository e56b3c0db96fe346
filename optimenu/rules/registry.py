"""Finds the rules: every module of this package that holds a subclass of Rule."""

from __future__ import annotations

import pkgutil
from functools import cache
from importlib import import_module
from typing import Any

from optimenu import rules
from optimenu.rules.base import Rule


@cache
def rule_classes() -> dict[str, type[Rule[Any]]]:
    """Rules by the table they own, in alphabetical order."""
    found: dict[str, type[Rule[Any]]] = {}
    for module in pkgutil.iter_modules(rules.__path__):
        for value in vars(import_module(f"{rules.__name__}.{module.name}")).values():
            if isinstance(value, type) and issubclass(value, Rule) and hasattr(value, "table"):
                found[value.table] = value
    return dict(sorted(found.items()))
