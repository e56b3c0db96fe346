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

    from optimenu.config.pages import RulePage, Setting


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
    parts.append(cell("Settings:", STYLES["head"]))
    parts += [_setting(s) for s in page.settings]
    parts += [heading("Example"), Text(page.example, overflow="fold")]
    return Group(*parts)


def _setting(s: Setting) -> RenderableType:
    """Return a setting as lines rather than a row: its key stays whole and can be copied."""
    first = cell(s.key, STYLES["head"])
    first.append(f"  {cell(s.kind).plain}")
    default = "must be given" if s.default == "required" else f"default {cell(s.default).plain}"
    first.append(f"; {default}", STYLES["quiet"])
    return Padding(Group(first, Padding(cell(s.meaning), (0, 0, 0, 4))), (0, 0, 0, 2))
