"""Layers of TOML: what wins, where it stands, and every fault by example."""

from __future__ import annotations

from datetime import time
from decimal import Decimal
from pathlib import Path

import pytest

from optimenu.config import toml_layers
from optimenu.config.toml_layers import find_root, read_layers
from optimenu.errors import Fault, InputFaults


@pytest.fixture
def project(tmp_path, monkeypatch):
    """A project folder that is the current folder, with files written by name and text."""
    (tmp_path / ".optimenu-root").touch()
    monkeypatch.chdir(tmp_path)

    def write(**texts):
        for name, text in texts.items():
            path = tmp_path / "configs" / f"{name}.toml"
            path.parent.mkdir(exist_ok=True)
            path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return tmp_path / "configs" / f"{next(iter(texts))}.toml"

    return write


def faults(path, root=None):
    with pytest.raises(InputFaults) as caught:
        read_layers(path, root)
    return [str(fault) for fault in caught.value.faults]


def test_numbers_are_kept_as_written(project):
    layers = read_layers(project(week="a = 1.50\nb = 3\nc = 07:30:00\nd = true\n"))
    assert layers.values == {"a": Decimal("1.50"), "b": 3, "c": time(7, 30), "d": True}
    assert str(layers.values["a"]) == "1.50"


def test_the_child_wins_tables_merge_and_arrays_replace(project):
    path = project(
        week='extends = "base.toml"\n[repeats]\nat_most = 2\n[courses]\norder = ["soup"]\n[energy]\n',
        base='[repeats]\nat_most = 3\ngap = 4\n\n[courses]\norder = ["main", "side"]\n[energy]\nlow = 1\n',
    )
    layers = read_layers(path)
    assert layers.values == {
        "repeats": {"at_most": 2, "gap": 4},
        "courses": {"order": ["soup"]},
        "energy": {"low": 1},
    }
    assert layers.where(("repeats", "at_most")) == ("configs/week.toml", 3)
    assert layers.where(("repeats", "gap")) == ("configs/base.toml", 3)
    assert layers.where(("repeats",)) == ("configs/week.toml", 2)
    assert layers.where(("courses", "order", 0)) == ("configs/week.toml", 5)
    # The second entry went with the base's array: the closest enclosing key answers.
    assert layers.where(("courses", "order", 1)) == ("configs/week.toml", 5)
    assert layers.where(("energy", "high")) == ("configs/week.toml", 6)
    assert layers.where(("nothing",)) == ("configs/week.toml", 1)
    assert [each.name for each in layers.files] == ["week.toml", "base.toml"]


def test_several_bases_from_left_to_right(project):
    path = project(
        week='extends = ["one.toml", "two.toml"]\n',
        one="a = 1\nb = 1\n",
        two='extends = "one.toml"\nb = 2\n',
    )
    layers = read_layers(path)
    assert layers.values == {"a": 1, "b": 2}
    assert layers.where(("b",)) == ("configs/two.toml", 2)


def test_many_roads_to_one_base_are_read_once(project):
    # Doubling at every step would be 2^15 readings.
    chain = {f"c{n}": f'extends = ["c{n + 1}.toml", "c{n + 1}.toml"]\nx{n} = 1\n' for n in range(15)}
    layers = read_layers(project(**chain, c15="y = 1\n"))
    assert len(layers.values) == 16 and len(layers.files) == 16


def test_a_replaced_value_may_change_its_kind(project):
    path = project(week='extends = "base.toml"\na = 1\n[b]\nc = 1\n', base="b = 1\n[a]\nd = 1\n")
    layers = read_layers(path)
    assert layers.values == {"a": 1, "b": {"c": 1}}
    assert layers.where(("a", "d")) == ("configs/week.toml", 2)


def test_a_ring_is_shown(project):
    path = project(a='extends = "b.toml"\n', b='\nextends = ["c.toml"]\n', c='extends = "b.toml"\n')
    assert faults(path) == [
        "configs/c.toml:1  extends: the files extend each other in a ring: "
        "configs/b.toml -> configs/c.toml -> configs/b.toml; take one of these out"
    ]


def test_a_chain_has_an_end(project):
    chain = {f"c{n}": f'extends = "c{n + 1}.toml"\n' for n in range(25)}
    assert faults(project(**chain)) == ["configs/c19.toml:1  extends: more than 20 files extend one another"]


def test_paths_stay_inside_the_root(project, tmp_path):
    outside = tmp_path.parent / "outside.toml"
    outside.write_text("a = 1\n")
    path = project(week='extends = "../../outside.toml"\n')
    (tmp_path / "configs" / "link.toml").symlink_to(outside)
    advice = (
        "move the file inside, or put an empty file .optimenu-root in the folder that holds the whole project"
    )
    assert faults(path) == [
        f'configs/week.toml:1  extends: "../../outside.toml" lies outside the project, .; {advice}'
    ]
    assert faults(project(other='extends = "link.toml"\n')) == [
        f'configs/other.toml:1  extends: "link.toml" lies outside the project, .; {advice}'
    ]
    assert read_layers(path, tmp_path.parent).values == {"a": 1}


def test_a_path_must_be_a_file(project):
    path = project(week='extends = [\n  "bse.toml",\n  "..",\n  3,\n  "a\\u0000b",\n]\n', base="a = 1\n")
    assert faults(path) == [
        'configs/week.toml:2  extends: there is no file "bse.toml". Did you mean "base.toml"?',
        'configs/week.toml:3  extends: ".." is a folder; name a file',
        'configs/week.toml:4  extends: needs a file such as "base.toml", or an array of files',
        'configs/week.toml:5  extends: "ab" is not a path',
    ]
    assert faults(project(other="extends = {a = 1}\n")) == [
        'configs/other.toml:1  extends: needs a file such as "base.toml", or an array of files'
    ]


def test_a_file_named_in_a_config_is_found_beside_the_layer_that_names_it(project, tmp_path):
    (tmp_path / "lists").mkdir()
    (tmp_path / "lists" / "base.toml").write_text('[catalogue]\nfile = "items.csv"\nmore = ["x.csv"]\n')
    (tmp_path / "lists" / "items.csv").touch()
    layers = read_layers(project(week='extends = "../lists/base.toml"\n'))
    assert layers.path(("catalogue", "file"), "items.csv") == tmp_path / "lists" / "items.csv"
    assert layers.path(("catalogue", "file"), "itms.csv") == Fault(
        "lists/base.toml", 2, '[catalogue] file: there is no file "itms.csv". Did you mean "items.csv"?'
    )
    assert layers.path(("catalogue", "more", 0), "x.csv") == Fault(
        "lists/base.toml", 3, '[catalogue] more entry 1: there is no file "x.csv". Beside it: items.csv.'
    )


@pytest.mark.parametrize("mark", [".optimenu-root", "pyproject.toml", ".git"])
def test_the_root_is_the_nearest_marked_folder(tmp_path, mark):
    inner = tmp_path / "a" / "b" / "c"
    inner.mkdir(parents=True)
    (tmp_path / "a" / mark).touch()
    assert find_root(inner / "week.toml") == tmp_path / "a"


def test_without_a_mark_the_root_is_the_folder_above(tmp_path):
    assert find_root(tmp_path / "x" / "week.toml") == tmp_path
    assert find_root(Path("/week.toml")) == Path("/")
    assert find_root(Path("/nowhere-at-all/week.toml")) == Path("/nowhere-at-all")


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("a = 1\na = 2\n", ":2  a key stands twice; keep one"),
        ("[a]\nb = 1\n[a]\n", ":3  a table stands twice; join the two"),
        ('a = 1\nb = "x\n', ":2  column 7: illegal character '\\n'"),
        ("a = nan\n", ":1  a: needs a finite number of ordinary size; to set no limit, leave the key out"),
        (
            "[b]\nc.d = [1, -inf]\n",
            ":2  [b.c] d entry 2: needs a finite number of ordinary size; to set no limit, leave the key out",
        ),
        (
            "[[p]]\nm = 1e999\n",
            ":2  [p] entry 1 m: needs a finite number of ordinary size; to set no limit, leave the key out",
        ),
        (
            "m = 1e99999999999999999999\n",
            ":1  m: needs a finite number of ordinary size; to set no limit, leave the key out",
        ),
        (
            f"m = {10**31}\n",
            ":1  m: needs a finite number of ordinary size; to set no limit, leave the key out",
        ),
        (f"m = {'9' * 5000}\n", "  holds a whole number of thousands of digits"),
        (f"a = {'[' * 500}{']' * 500}\n", "  keys, tables or arrays nest too deep"),
        (f"\na = {'[' * 60}{']' * 60}\n", ":2  tables and arrays nest more than 40 levels deep"),
        (f"a{'.a' * 60} = 1\n", ":1  tables and arrays nest more than 40 levels deep"),
        (f"\n[a{'.a' * 60}]\n", ":2  tables and arrays nest more than 40 levels deep"),
        ("." .join("a" * 100_000) + " = 1\n", "  keys, tables or arrays nest too deep"),
        (b"a = 1\nb = '\xe4'\n", ":2  is not UTF-8 text; save it as UTF-8"),
    ],
)  # fmt: skip
def test_a_file_that_cannot_be_used(project, text, fault):
    assert faults(project(week=text)) == [f"configs/week.toml{fault}"]


def test_a_byte_order_mark_and_windows_line_ends_are_accepted(project):
    layers = read_layers(project(week=b"\xef\xbb\xbfa = 1\r\n\r\n[b]\r\nc = 2\r\n"))
    assert layers.values == {"a": 1, "b": {"c": 2}}
    assert layers.where(("b", "c")) == ("configs/week.toml", 4)


def test_a_folder_an_absent_file_and_a_huge_file(project, tmp_path, monkeypatch):
    path = project(week="a = 1\n")
    assert faults(path.parent) == ["configs  is a folder; give a file"]
    assert faults(path.parent / "weak.toml") == [
        'configs/weak.toml  there is no such file. Did you mean "week.toml"?'
    ]
    monkeypatch.setattr(toml_layers, "MOST_BYTES", 1_000_000)
    assert faults(project(big="#" * 1_000_001)) == ["configs/big.toml  is larger than 1 MB"]


def test_faults_of_all_layers_come_at_once(project):
    path = project(week='extends = ["a.toml", "b.toml"]\nx = inf\n', a="a = \n", b="a = nan\n")
    assert faults(path) == [
        "configs/a.toml:1  column 5: invalid value",
        "configs/b.toml:1  a: needs a finite number of ordinary size; to set no limit, leave the key out",
        "configs/week.toml:2  x: needs a finite number of ordinary size; to set no limit, leave the key out",
    ]
