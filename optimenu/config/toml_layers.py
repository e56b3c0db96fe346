"""Read a TOML config with the files it extends, as one set of values that still knows its lines.

``extends = "base.toml"`` (or an array of files, left to right) at the top of a file brings in other
files first. What the file itself says wins: tables merge key by key, anything else, arrays
included, replaces. Paths are relative to the file that holds them and must stay inside the project
root: the nearest folder upward that holds ``.optimenu-root``, ``pyproject.toml`` or ``.git``; when
there is none, the folder above the config's own.

``role = "dietitian"`` at the top says who writes a file. It is each file's own: no file has it from
another. What a file changes in those below is kept, with the role, in `Layers.changes`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from decimal import Decimal, InvalidOperation
from pathlib import Path
from typing import Any, get_args

import tomli

from optimenu.config.changes import Change, author_of, changes
from optimenu.config.toml_spots import Key, Spot, place_of, scan
from optimenu.errors import Fault, InputFaults, nearest
from optimenu.files import UnreadableError, clean, decode, near_file, quoted, read_bytes, sensible, shown_path
from optimenu.measures import found
from optimenu.settings import Writer

MOST_BYTES = 5_000_000
"""Largest config file read."""

MOST_LAYERS = 20
"""Longest chain of files that extend one another."""

ROOT_MARKS = (".optimenu-root", "pyproject.toml", ".git")


@dataclass(frozen=True)
class Layers:
    """The merged values of a config and where each of them was written.

    Attributes
    ----------
    values : dict
        Nested tables; numbers are int or Decimal as written; without ``extends``, and with the role of
        the config's own file only.
    files : tuple of Path
        Every TOML file read, the config itself first.
    root : Path
        Folder that paths in the config may not leave.
    spots : Spot
        The tree of places behind `where`.
    changes : tuple of Change
        What each file changes in those it extends, the lowest file first.
    """

    values: dict[str, Any]
    files: tuple[Path, ...]
    root: Path
    spots: Spot = field(repr=False)
    changes: tuple[Change, ...] = ()

    def where(self, keys: Sequence[Key]) -> tuple[str, int]:
        """Return file and line of a key, in the layer that won; else of the closest enclosing key."""
        spot = self.spots.find(keys)
        return shown_path(spot.file), spot.line

    def fault(self, keys: Sequence[Key], message: str) -> Fault:
        """Return a fault at the line of a key."""
        return Fault(*self.where(keys), message)

    def path(self, keys: Sequence[Key], text: str) -> Path | Fault:
        """Return the existing file that the value of a key names, or the fault in naming it."""
        try:
            return locate(text, self.spots.find(keys).file.parent, self.root)
        except UnreadableError as error:
            return self.fault(keys, f"{place_of(keys)}: {error}")


def find_root(config: Path) -> Path:
    """Return the project root of a config: see the top of this module."""
    folder = config.resolve().parent
    for each in (folder, *folder.parents):
        if any((each / mark).exists() for mark in ROOT_MARKS):
            return each
    # The drive's own root would confine nothing.
    return folder.parent if folder.parent != folder.parent.parent else folder


def locate(text: str, folder: Path, root: Path) -> Path:
    """Return the file a config names.

    Raises
    ------
    UnreadableError
        When it lies outside the root (symbolic links followed), is a folder, or does not exist.
    """
    try:
        path = (folder / text).resolve()
        inside, is_folder, exists = path.is_relative_to(root), path.is_dir(), path.exists()
    except (OSError, ValueError):
        raise UnreadableError(f"{quoted(clean(text))} is not a path") from None
    if not inside:
        raise UnreadableError(
            f"{quoted(clean(text))} lies outside the project, {shown_path(root)}; move the file inside, or "
            "put an empty file .optimenu-root in the folder that holds the whole project"
        )
    if is_folder:
        raise UnreadableError(f"{quoted(clean(text))} is a folder; name a file")
    if not exists:
        raise UnreadableError(f"there is no file {quoted(clean(text))}.{near_file(path)}")
    return path


def read_layers(path: Path, root: Path | None = None, text: bytes | None = None) -> Layers:
    """Read a config and everything it extends.

    Parameters
    ----------
    path : Path
        The TOML file.
    root : Path or None
        Folder that no path may leave; None: see the top of this module.
    text : bytes or None
        What the file itself says, when it is not on disk; the files it extends are.

    Raises
    ------
    InputFaults
        Every fault of every layer at once: absent or unreadable files, syntax, numbers that are not
        finite, paths outside the root, files that extend each other in a ring, roles that are none.
    """
    path = path.resolve()
    reader = _Reader((root or find_root(path)).resolve(), {} if text is None else {path: text})
    values, spots = reader.read(path, ())
    if reader.faults:
        raise InputFaults(reader.faults)
    if reader.roles[path] is not None:
        values = {**values, "role": reader.roles[path]}
    return Layers(values, tuple(reader.done), reader.root, spots, tuple(reader.changes))


@dataclass
class _Reader:
    root: Path
    unwritten: Mapping[Path, bytes]
    faults: list[Fault] = field(default_factory=list)
    # Kept per file, so that a base reached by two ways is read and merged once.
    done: dict[Path, tuple[dict[str, Any], Spot]] = field(default_factory=dict)
    roles: dict[Path, str | None] = field(default_factory=dict)
    # Every file that a file rests on, itself included.
    under: dict[Path, set[Path]] = field(default_factory=dict)
    changes: list[Change] = field(default_factory=list)

    def read(self, path: Path, chain: tuple[Path, ...]) -> tuple[dict[str, Any], Spot]:
        if path not in self.done:
            self.done[path] = ({}, Spot(0, path))
            self.roles[path], self.under[path] = None, {path}
            try:
                own, own_spots = _parse(path, self.unwritten.get(path))
            except UnreadableError as error:
                self.faults.append(Fault(shown_path(path), error.line, str(error)))
                return self.done[path]
            self.faults.extend(_numbers(own, own_spots, ()))
            self.roles[path] = self.role(own, own_spots)
            values: dict[str, Any] = {}
            spots = Spot(own_spots.line, path)
            me = author_of(path, self.roles[path])
            for base, line in self.bases(own.pop("extends", []), own_spots, (*chain, path)):
                over, over_spots = self.done[base]
                if values:
                    # its writers answer for it, save for what it brings back of the bases before it
                    new = self.under[base] - self.under[path]
                    authors = {file: author_of(file, self.roles[file]) for file in new}
                    self.changes += changes(values, over, over_spots, authors, replace(me, line=line))
                values, spots = merge(values, spots, over, over_spots)
                self.under[path] |= self.under[base]
            own_spots.inner.pop("extends", None)
            if values:
                self.changes += changes(values, own, own_spots, {}, me)
            self.done[path] = merge(values, spots, own, own_spots)
        return self.done[path]

    def role(self, own: dict[str, Any], spots: Spot) -> str | None:
        """Take the role out of a file's values; a role that is none is a fault."""
        if "role" not in own:
            return None
        said, spot, words = own.pop("role"), spots.inner.pop("role"), get_args(Writer)
        if said in words:
            return str(said)
        guess = nearest(said, words) if isinstance(said, str) else ""
        text = f"role: needs one of {', '.join(words)}, found {found(said)}{'.' if guess else ''}{guess}"
        self.faults.append(Fault(shown_path(spot.file), spot.line, text))
        return None

    def bases(self, extends: object, spots: Spot, chain: tuple[Path, ...]) -> Iterator[tuple[Path, int]]:
        many = isinstance(extends, list)
        for index, text in enumerate(extends if isinstance(extends, list) else [extends]):
            spot = spots.find(("extends", index) if many else ("extends",))

            def fault(message: str, line: int = spot.line) -> None:
                self.faults.append(Fault(shown_path(chain[-1]), line, f"extends: {message}"))

            if not isinstance(text, str):
                fault('needs a file such as "base.toml", or an array of files')
                continue
            try:
                path = locate(text, chain[-1].parent, self.root)
            except UnreadableError as error:
                fault(str(error))
                continue
            if path in chain:
                ring = " -> ".join(shown_path(each) for each in (*chain[chain.index(path) :], path))
                fault(f"the files extend each other in a ring: {ring}; take one of these out")
            elif len(chain) >= MOST_LAYERS:
                fault(f"more than {MOST_LAYERS} files extend one another")
            else:
                self.read(path, chain)
                yield path, spot.line


def _parse(path: Path, said: bytes | None) -> tuple[dict[str, Any], Spot]:
    # TOML counts a carriage return before a line break as part of the break.
    text = decode(read_bytes(path, MOST_BYTES) if said is None else said).replace("\r\n", "\n")
    try:
        values = tomli.loads(text, parse_float=_decimal)
    except tomli.TOMLDecodeError as error:
        raise UnreadableError(_syntax(error), error.lineno) from None
    except RecursionError:
        raise UnreadableError("keys, tables or arrays nest too deep") from None
    except ValueError:
        raise UnreadableError("holds a whole number of thousands of digits") from None
    return values, scan(text, path)


def _decimal(text: str) -> Decimal:
    try:
        return Decimal(text)
    except InvalidOperation:
        return Decimal("inf")  # an exponent of twenty digits; refused with the other odd numbers


def _syntax(error: tomli.TOMLDecodeError) -> str:
    # Of a key or table that stands twice the parser gives the end, so its column would mislead.
    if error.msg.startswith("Cannot overwrite a value"):
        return "a key stands twice; keep one"
    if error.msg.startswith("Cannot declare"):
        return "a table stands twice; join the two"
    text = clean(error.msg)
    return f"column {error.colno}: {text[:1].lower()}{text[1:]}"


def _numbers(value: Any, spot: Spot, keys: tuple[Key, ...]) -> Iterator[Fault]:
    """Yield a fault for every number that is not finite or not of ordinary size."""
    if isinstance(value, dict | list):
        for key, inner in value.items() if isinstance(value, dict) else enumerate(value):
            yield from _numbers(inner, spot.inner[key], (*keys, key))
    elif type(value) in (int, Decimal) and not sensible(Decimal(value)):
        message = "needs a finite number of ordinary size; to set no limit, leave the key out"
        yield Fault(shown_path(spot.file), spot.line, f"{place_of(keys)}: {message}")


def merge(
    base: dict[str, Any], base_spots: Spot, over: dict[str, Any], over_spots: Spot
) -> tuple[dict[str, Any], Spot]:
    """Return two layers as one; what ``over`` says wins. Neither argument is changed."""
    values = dict(base)
    spots = Spot(over_spots.line, over_spots.file, dict(base_spots.inner))
    for key, value in over.items():
        old, spot = values.get(key), over_spots.inner[key]
        if isinstance(old, dict) and isinstance(value, dict):
            values[key], spots.inner[key] = merge(old, spots.inner[key], value, spot)
        else:
            values[key], spots.inner[key] = value, spot
    return values, spots
