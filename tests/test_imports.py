"""Who may import whom, read from the syntax trees.

Each layer may import itself and those before it. ``menu`` comes after ``program`` because a menu is made
from a program's columns; neither needs the other to run.
"""

from __future__ import annotations

import ast
from pathlib import Path

import optimenu

ROOT = Path(optimenu.__file__).parent
ORDER = (
    "errors", "files", "cells", "measures", "tables", "settings",
    "nutrition", "catalogue", "crew", "problem", "program", "menu", "rules", "config",
    "solve", "audit", "planning", "explain", "stowage", "exports", "studies", "views", "commands",
    "__main__",
)  # fmt: skip
RANK = {
    name: rank
    for rank, names in enumerate(ORDER)
    for name in (names if isinstance(names, tuple) else (names,))
}
BACKWARD_TYPES = {("cells", "catalogue"), ("tables", "catalogue")}
"""Imports against the order that only a type checker follows: a cell's reader is told its column."""
ONLY_IN = {
    "pulp": ("program/to_pulp.py", "solve/"),
    "highspy": ("solve/",),
    "numba": ("solve/",),
    "rich": ("views/", "commands/"),
    "typer": ("commands/",),
    "tomli_w": ("config/",),
    "matplotlib": ("exports/",),
    "dask": ("studies/",),
    "distributed": ("studies/",),
}
SLOW = ("pandas", "pyarrow")
"""Imported where they are used, so that a command that needs no table files starts at once."""
SLOW_AT_THE_TOP = ("exports/",)


def modules(root=ROOT):
    return {
        path.relative_to(root).as_posix(): ast.parse(path.read_text()) for path in sorted(root.rglob("*.py"))
    }


def imports(tree):
    """Yield (module, names, at module level, for typing only) of every import."""

    def walk(node, top, typing):
        for child in ast.iter_child_nodes(node):
            if isinstance(child, ast.Import):
                for alias in child.names:
                    yield alias.name, (), top, typing
            elif isinstance(child, ast.ImportFrom):
                assert child.level == 0, "imports are absolute"
                yield child.module, tuple(a.name for a in child.names), top, typing
            elif isinstance(child, ast.If) and ast.unparse(child.test) == "TYPE_CHECKING":
                for inner in child.body:
                    yield from walk(ast.Module([inner], []), top, True)
                for inner in child.orelse:
                    yield from walk(ast.Module([inner], []), top, typing)
            else:
                inside = isinstance(child, ast.FunctionDef | ast.AsyncFunctionDef | ast.Lambda)
                yield from walk(child, top and not inside, typing)

    yield from walk(tree, True, False)


def layers(name, names):
    """Return the layers of optimenu that an import reaches."""
    parts = name.split(".")
    if parts[0] != "optimenu":
        return ()
    return (parts[1],) if len(parts) > 1 else names


def faults(trees):
    """Yield every import that breaks a rule, in words."""
    for file, tree in trees.items():
        own = file.split("/")[0].removesuffix(".py")
        for name, names, top, typing in imports(tree):
            for layer in layers(name, names):
                ahead = RANK[layer] > RANK[own] or (RANK[layer] == RANK[own] and layer != own)
                if ahead and not (typing and (own, layer) in BACKWARD_TYPES):
                    yield f"{file} imports {layer}, which comes after it"
            package = name.split(".")[0]
            if package in ONLY_IN and not typing and not file.startswith(ONLY_IN[package]):
                yield f"{file} imports {package}"
            if package in SLOW and top and not typing and not file.startswith(SLOW_AT_THE_TOP):
                yield f"{file} imports {package} at the top"


def test_every_module_has_its_layer():
    found = {file.split("/")[0].removesuffix(".py") for file in modules()} - {"__init__"}
    assert found <= set(RANK)
    assert len(found) > 15


def test_imports_go_one_way():
    trees = {file: tree for file, tree in modules().items() if file != "__init__.py"}
    assert list(faults(trees)) == []
    # the package itself imports nothing of ours
    assert [n for n, *_ in imports(modules()["__init__.py"]) if n.startswith("optimenu")] == []


def test_the_walk_sees_what_it_should():
    bad = {
        "menu/a.py": "from optimenu.rules.base import Rule",
        "menu/b.py": "if TYPE_CHECKING:\n    from optimenu.rules.base import Rule",
        "menu/c.py": "def f():\n    import optimenu.solve.solve",
        "exports/d.py": "from optimenu.views.console import x",
        "rules/e.py": "from optimenu import audit",
        "audit/f.py": "import pulp",
        "menu/g.py": "class A:\n    import rich.table",
        "views/h.py": "from typer import echo",
        "menu/i.py": "import pandas as pd",
        "cells.py": "from optimenu.catalogue.columns import Column",
    }
    good = {
        "menu/j.py": "def f():\n    import pandas as pd\nfrom optimenu.program.program import Program",
        "cells.py": "if TYPE_CHECKING:\n    from optimenu.catalogue.columns import Column",
        "program/to_pulp.py": "import pulp",
        "exports/k.py": "import pandas as pd\nfrom optimenu.stowage import packs",
        "commands/l.py": "import typer\nimport rich\nfrom optimenu.views import console",
    }
    assert [len(list(faults({file: ast.parse(text)}))) for file, text in bad.items()] == [1] * len(bad)
    assert [list(faults({file: ast.parse(text)})) for file, text in good.items()] == [[]] * len(good)
