"""The files of a study as one file: what a worker gets, and what the study's folder keeps.

A batch needs no disk that its workers share: the inputs travel with each case, and the answer comes back the
same way. The same files give the same bytes.
"""

from __future__ import annotations

import hashlib
import io
import json
import tempfile
import threading
import zipfile
import zlib
from pathlib import Path
from typing import TYPE_CHECKING

from optimenu.config.inputs import NAMED_IN, input_paths
from optimenu.exports.record import versions
from optimenu.exports.run_folder import sha256
from optimenu.files import UnreadableError, read_bytes

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from optimenu.exports.record import Versions
    from optimenu.studies.cases import StudyCase
    from optimenu.studies.study import Study

ROOT_MARK = ".optimenu-root"
LEVEL = 6
_EPOCH = (1980, 1, 1, 0, 0, 0)


class Inputs:
    """Which files the cases of a study are made from, and what they say.

    Parameters
    ----------
    study : Study
    made_with : tuple, optional
        Versions that keys are made with; those at work when left out.
    """

    def __init__(self, study: Study, made_with: Versions | None = None) -> None:
        self.study = study
        self.versions = versions() if made_with is None else made_with
        self.root = study.layers.root
        self._paths: dict[tuple[object, ...], tuple[Path, ...]] = {}
        # read once: what a key tells is what is packed
        self._contents: dict[Path, bytes] = {}
        self._digest: dict[Path, str] = {}

    def paths(self, case: StudyCase) -> tuple[Path, ...]:
        """Every file on disk that a case is made from; what it changes may name others than its config."""
        named = {k: v for k, v in case.changes.items() if k in NAMED_IN}
        key = (case.config, repr(sorted(named.items())))
        if key not in self._paths:
            unwritten = case.config.parent / f"{case.config.stem}-changed.toml"
            found = input_paths(unwritten, self.root, case.text(self.study))
            self._paths[key] = tuple(p for p in found if p != unwritten)
        return self._paths[key]

    def key(self, case: StudyCase) -> str:
        """SHA-256 of all that decides a case's answer: its text, its files, and the versions at work."""
        said = {
            "text": case.text(self.study, named=False).decode(),
            "config": self._name(case.config),
            "files": {self._name(p): self._sha256(p) for p in self.paths(case)},
            "versions": self.versions,
        }
        return hashlib.sha256(json.dumps(said, sort_keys=True).encode()).hexdigest()

    def packed(self, cases: Iterable[StudyCase]) -> bytes:
        """Return every file of the study and its cases as a ZIP archive, paths as in the project."""
        paths = {p for case in cases for p in self.paths(case)} | set(self.study.layers.files)
        return _pack({ROOT_MARK: b"", **{self._name(p): self._read(p) for p in paths}})

    def _name(self, path: Path) -> str:
        return path.relative_to(self.root).as_posix()

    def _sha256(self, path: Path) -> str:
        if path not in self._digest:
            self._digest[path] = sha256(self._read(path))
        return self._digest[path]

    def _read(self, path: Path) -> bytes:
        if path not in self._contents:
            try:
                self._contents[path] = read_bytes(path)
            except UnreadableError:
                # who reads the config is told of it
                self._contents[path] = b""
        return self._contents[path]


def _pack(files: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as packed:
        for name in sorted(files):
            entry = zipfile.ZipInfo(name, _EPOCH)
            packed.writestr(entry, files[name], zipfile.ZIP_DEFLATED, LEVEL)
    return out.getvalue()


def unpacked(packed: bytes, folder: Path) -> None:
    """Write what `Inputs.packed` packed into a folder.

    Raises
    ------
    ValueError
        When it is no such archive, or a name in it leads out of the folder; nothing is written then.
    """
    try:
        with zipfile.ZipFile(io.BytesIO(packed)) as found:
            files = {inside(name): found.read(name) for name in found.namelist()}
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        msg = f"no archive of inputs: {error}"
        raise ValueError(msg) from error
    # plain files alone: an entry that says it is a link is written as what it holds
    for name, contents in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(contents)


def inside(name: str) -> str:
    """Return the name of a file inside a folder as it is.

    Raises
    ------
    ValueError
        When it leads out of the folder.
    """
    if Path(name).is_absolute() or ".." in Path(name).parts:
        msg = f"{name} leads out of the folder"
        raise ValueError(msg)
    return name


_kept: dict[str, tempfile.TemporaryDirectory[str]] = {}
_keeping = threading.Lock()
"""A worker of a cluster may plan in several threads; a folder that is replaced would vanish under another."""


def root_of(digest: str, packed: bytes) -> Path:
    """Return a folder of this process that holds the inputs; they are written once."""
    with _keeping:
        if digest not in _kept:
            folder = tempfile.TemporaryDirectory(prefix="optimenu-inputs-", ignore_cleanup_errors=True)
            unpacked(packed, Path(folder.name))
            _kept[digest] = folder
        return Path(_kept[digest].name).resolve()
