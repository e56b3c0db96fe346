"""Pages about rules, on the screen."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from optimenu.views.console import STYLES, cell, heading

if TYPE_CHECKING:
    from collections.abc import Sequence

    from optimenu.config.pages import RulePage


def rule_list(pages: Sequence[RulePage]) -> RenderableType:
    """Return one line for each rule."""
    table = Table(box=None, pad_edge=False, header_style=STYLES["head"])
    table.add_column("table")
    table.add_column("what it asks", ratio=1)
    for page in pages:
        table.add_row(cell(page.table, STYLES["head"]), cell(page.sections.get("What", page.title)))
    return Group(table, cell("\nOne of them in full: optimenu rules NAME"))


def rule_view(page: RulePage) -> RenderableType:
    """Return the page of one rule."""
    parts: list[RenderableType] = [heading(f"[{page.table}]  {page.title}")]
    for name, text in page.sections.items():
        parts.append(cell(f"{name}:", STYLES["head"]))
        parts.append(Padding(cell(text), (0, 0, 1, 2)))
    table = Table(box=None, pad_edge=False, header_style=STYLES["head"])
    table.add_column("setting")
    table.add_column("kind")
    table.add_column("default")
    table.add_column("meaning", ratio=1)
    for s in page.settings:
        table.add_row(cell(s.key), cell(s.kind), cell(s.default), cell(s.meaning))
    parts += [table, heading("Example"), Text(page.example)]
    return Group(*parts)
