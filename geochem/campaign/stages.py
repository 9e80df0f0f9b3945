"""Stages: what a step gave is kept by the hash of everything it depends on.

The key of a step is the hash of: this program's own files, the versions of the libraries, the
plug-ins that are installed, the keys of the campaign file that the step obeys, the bytes of the
files it reads, and the keys of what it is given. The keys of all steps are known before any runs;
a step whose outputs are kept under its key need not run. A step cannot obey a key of the campaign
file that is not in its key: it is given a view of the settings without the others.

The kept stages stand in ``.stages`` beside the campaign file and may be deleted at any time. They
are no pickles (see `record_form`), and each carries a code made with a secret of this user on this
computer: stages that came along with somebody else's campaign folder are not believed.
"""

from __future__ import annotations

import contextlib
import functools
import hashlib
import hmac
import json
import os
import secrets
import sys
from collections.abc import Iterable, Mapping, Sequence
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Any

from geochem.campaign.history import files_behind
from geochem.campaign.provenance import versions
from geochem.campaign.record_form import NotStorable, decode, encode

if TYPE_CHECKING:
    from geochem.campaign.operations import Operation
    from geochem.campaign.settings import Settings

FOLDER = ".stages"
#: the oldest stages go when all together are larger [bytes]
#: (one record takes half of that at most: a larger one costs memory and drives all others out)
MOST_BYTES = 400_000_000
_SIGNED = 32  # bytes of the code before the content
#: vector and raster formats of several files; only files that stand beside are hashed with them
_BESIDE = (".shp", ".tab", ".mif", ".tif", ".tiff", ".gpkg", ".png", ".jpg")
_NOTE = (
    "Steps of earlier runs, kept so that the next run need not repeat them.\n"
    "This folder may be deleted at any time; nothing else is kept here.\n"
)


def digest(*parts: Any) -> str:
    """Give the hash of plain values.

    Parameters
    ----------
    *parts : object
        Anything JSON can write; others by their text.

    Returns
    -------
    str
        Hexadecimal, 40 characters.

    Examples
    --------
    >>> digest("a", 1) == digest("a", 1), digest("a", 1) == digest("a1")
    (True, False)
    """
    text = json.dumps(parts, sort_keys=True, default=str, ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()[:40]


def program_hash() -> str:
    """Give the hash of this program, of the libraries it stands on and of the plug-ins.

    Returns
    -------
    str
        Changes when a line of code, a version or an installed plug-in does.
    """
    from geochem import plugins

    parts = [_own_hash()]
    for group in plugins.GROUPS:
        for entry in plugins.entries(group):
            if entry.distribution != "geochem":
                told = [group, entry.name, entry.reference, _plugin_hash(entry.reference)]
                parts.append(digest(*told))
    return digest(*parts)


@functools.cache
def _own_hash() -> str:
    here = Path(__file__).resolve().parents[1]
    files = _folder_hashes(here)
    return digest(versions(), sys.version, files)


def _folder_hashes(folder: Path, endings: tuple[str, ...] = ()) -> list[Any]:
    return [
        [p.relative_to(folder).as_posix(), hashlib.sha256(p.read_bytes()).hexdigest()]
        for p in sorted(folder.rglob("*"))
        if p.is_file() and p.suffix != ".pyc" and (not endings or p.suffix in endings)
    ]


def _plugin_hash(reference: str) -> Any:
    """Hash the files of the package that a plug-in is in, without importing it."""
    from importlib.util import find_spec

    with contextlib.suppress(ImportError, ValueError, OSError):
        spec = find_spec(reference.partition(":")[0].partition(".")[0])
        if spec is not None and spec.submodule_search_locations:
            return [_folder_hashes(Path(p), (".py",)) for p in spec.submodule_search_locations]
        if spec is not None and spec.origin:
            return hashlib.sha256(Path(spec.origin).read_bytes()).hexdigest()
    return secrets.token_hex(8)  # cannot be told: nothing is believed


def _file_hashes(path: Path) -> Any:
    """Hash a file and, where a format has several, those beside it."""
    if path.is_dir():
        return _folder_hashes(path)
    found = [path]
    if path.suffix.lower() in _BESIDE:
        starts = (f"{path.stem}.", path.name)
        with contextlib.suppress(OSError):
            found += sorted(p for p in path.parent.iterdir() if p.name.startswith(starts))
    hashes = []
    for one in dict.fromkeys(found):
        try:
            with one.open("rb") as stream:
                hashes.append([one.name, hashlib.file_digest(stream, "sha256").hexdigest()])
        except OSError as error:
            hashes.append([one.name, f"cannot be read: {error.errno}"])
    return hashes


def _names_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:  # a text that is too long to be a path
        return False


def _files_of(table: str, settings: Settings, day: date) -> list[Path]:
    """List the files that a step reads because it obeys a table, or one key of it."""
    if table == "layers":
        return [row["path"] for row in settings.layers.values()]
    if table == "history":
        decided = settings.decisions is not None
        return files_behind(settings.folder / "history", day, decided=decided)
    table, _, only = table.partition(".")
    rows = settings.tables.get(table)
    if only and isinstance(rows, Mapping):
        rows = {only: rows[only]}
    found: list[Path] = []
    for row in rows if isinstance(rows, list) else [rows] if isinstance(rows, Mapping) else []:
        for key, text in row.items():
            if key == "path" and text:
                found += settings.files(text)
            elif isinstance(text, str) and _names_file(settings.resolve(text)):
                # whatever a key is called: a text that names a file may be read
                found.append(settings.resolve(text))
    return found


def keys_of(
    operations: Sequence[Operation], settings: Settings, given: Mapping[str, Any], day: date
) -> list[str]:
    """Work out the key of every step, before any runs.

    Parameters
    ----------
    operations : sequence of Operation
        In order.
    settings : Settings
        The checked campaign file.
    given : mapping
        What the state holds at the start, by name: plain values.
    day : date
        Of the run's clock: the snapshot of that day counts only where `files_behind` says so.

    Returns
    -------
    list of str
        One per operation.
    """
    program = program_hash()
    records = {name: digest(name, repr(value)) for name, value in given.items()}
    hashed: dict[Path, Any] = {}
    keys = []
    for operation in operations:
        parts: list[Any] = [program, operation.name, operation.function, str(settings.path)]
        parts += [settings.only(operation.tables).plain()]
        for table in operation.tables:
            for path in _files_of(table, settings, day):
                if path not in hashed:
                    hashed[path] = _file_hashes(path)
                parts.append([table, str(path), hashed[path]])
        parts += [[name, records[name]] for name in operation.inputs]
        key = digest(*parts)
        keys.append(key)
        records.update({name: digest(key, name) for name in operation.outputs})
    return keys


def result_key(
    keys: Sequence[str], settings: Settings, methods: Sequence[tuple[str, Any, dict[str, Any]]]
) -> str:
    """Give the key of a whole result: of all steps, all settings and all renderers.

    Parameters
    ----------
    keys : sequence of str
        From `keys_of`.
    settings : Settings
        The checked campaign file.
    methods : sequence of (name, renderer, options)
        What writes.

    Returns
    -------
    str
        Equal keys, equal result but for the time of day.
    """
    written = [[name, type(renderer).__module__, options] for name, renderer, options in methods]
    files = [
        [text, _file_hashes(settings.folder / text)]
        for _, _, options in methods
        for text in options.values()
        if isinstance(text, str) and _names_file(settings.folder / text)
    ]
    return digest(list(keys), settings.plain(), written, files)


class Stages:
    """The kept stages of one campaign.

    Parameters
    ----------
    folder : Path
        ``.stages`` beside the campaign file; made when something is first kept.
    secret : bytes, optional
        What the codes are made with; by default that of this user on this computer. Without any,
        nothing is kept and nothing believed.
    """

    def __init__(self, folder: Path, secret: bytes | None = None) -> None:
        self.folder = folder
        self._secret = secret if secret is not None else _own_secret()
        self._used: set[Path] = set()

    def take(self, key: str, name: str) -> Any:
        """Give a kept record.

        Parameters
        ----------
        key, name : str
            Of the step, of the record.

        Returns
        -------
        object
            The record.

        Raises
        ------
        KeyError
            If there is none that can be believed.
        """
        path = self._path(key, name)
        try:
            content = path.read_bytes()
        except OSError:
            raise KeyError(name) from None
        if self._secret is None or not hmac.compare_digest(
            content[:_SIGNED], self._code(path.name, content[_SIGNED:])
        ):
            raise KeyError(name)
        try:
            record = decode(content[_SIGNED:])
        except ValueError:
            raise KeyError(name) from None
        self._used.add(path)
        return record

    def has(self, key: str, name: str) -> bool:
        """Say whether a record is kept, without believing it yet."""
        return self._secret is not None and self._path(key, name).is_file()

    def keep(self, key: str, name: str, record: Any) -> None:
        """Keep a record; what cannot be kept is left out without a word.

        Parameters
        ----------
        key, name : str
            Of the step, of the record.
        record : object
            What `record_form` can write.
        """
        if self._secret is None:
            return
        path = self._path(key, name)
        with contextlib.suppress(NotStorable, OSError):
            content = encode(record, MOST_BYTES // 2)
            self.folder.mkdir(parents=True, exist_ok=True)
            note = self.folder / "README.txt"
            if not note.exists():
                note.write_text(_NOTE, encoding="utf-8")
            part = path.with_name(f"{path.name}.{os.getpid()}.part")
            try:
                with part.open("wb") as stream:
                    stream.write(self._code(path.name, content))
                    stream.write(content)
                part.replace(path)
            finally:
                part.unlink(missing_ok=True)
            self._used.add(path)

    def tidy(self, most: int = MOST_BYTES) -> None:
        """Delete the oldest stages until all are no larger than allowed; those just used last.

        Parameters
        ----------
        most : int, default 400 MB
            Bytes allowed.
        """
        found = []
        with contextlib.suppress(OSError):
            for path in self.folder.glob("*.stage"):
                with contextlib.suppress(OSError):
                    about = path.stat()
                    found.append((path in self._used, about.st_mtime, path.name, about.st_size))
        total = sum(size for *_, size in found)
        for _, _, name, size in sorted(found):
            if total <= most:
                return
            with contextlib.suppress(OSError):
                (self.folder / name).unlink()
                total -= size

    def _path(self, key: str, name: str) -> Path:
        return self.folder / f"{name}-{key}.stage"

    def _code(self, name: str, content: bytes) -> bytes:
        # the name is signed too: a stage copied to another name is not believed
        return hmac.digest(self._secret or b"", name.encode() + b"\0" + content, "sha256")


class Kept:
    """The stages of one run: what is kept under the keys of its operations.

    Parameters
    ----------
    stages : Stages
        Of the campaign.
    keys : list of str
        From `keys_of`, one per operation.
    """

    def __init__(self, stages: Stages, keys: list[str]) -> None:
        self.stages, self.keys = stages, keys
        self._worth: list[set[str]] = []

    def ready(
        self, operations: Sequence[Operation], keep: Sequence[str]
    ) -> dict[int, tuple[dict[str, Any], list[Any]]]:
        """Take what need not be worked out.

        Parameters
        ----------
        operations : sequence of Operation
            In order.
        keep : sequence of str
            Records wanted after the last.

        Returns
        -------
        dict of int to (dict, list)
            Outputs and findings by the number of the operation. An operation that is not in it
            has to run; of outputs that only such operations would use, nothing is taken.
        """
        self._worth = _worth_keeping(operations, keep)
        refused: set[int] = set()
        while True:
            wanted = self._wanted(operations, keep, refused)
            ready = {}
            for number, names in wanted.items():
                key = self.keys[number]
                try:
                    outputs = {n: self.stages.take(key, n) for n in sorted(names)}
                    ready[number] = outputs, list(self.stages.take(key, "findings"))
                except KeyError:
                    refused.add(number)
                    break
            else:
                return ready

    def _wanted(
        self, operations: Sequence[Operation], keep: Sequence[str], refused: set[int]
    ) -> dict[int, set[str]]:
        """Walk back from what is wanted: which operations are kept, and which outputs of them."""
        needed = {(_maker(operations, len(operations), name), name) for name in keep}
        kept = {}
        for number in reversed(range(len(operations))):
            names = {name for maker, name in needed if maker == number}
            there = all(self.stages.has(self.keys[number], n) for n in {*names, "findings"})
            if number not in refused and names <= self._worth[number] and there:
                kept[number] = names
            else:
                inputs = operations[number].inputs
                needed |= {(_maker(operations, number, name), name) for name in inputs}
        return kept

    def keep(self, number: int, outputs: Mapping[str, Any], findings: Sequence[Any]) -> None:
        """Keep what an operation gave, as far as later runs can begin with it.

        Parameters
        ----------
        number : int
            Of the operation.
        outputs : mapping
            Records by name.
        findings : sequence of Finding
            Its findings.
        """
        self.stages.keep(self.keys[number], "findings", list(findings))
        for name in sorted(self._worth[number]):
            self.stages.keep(self.keys[number], name, outputs[name])


def _maker(operations: Sequence[Operation], before: int, name: str) -> int:
    """Give the number of the last operation before another that makes a record; -1 for none."""
    return next((i for i in reversed(range(before)) if name in operations[i].outputs), -1)


def _worth_keeping(operations: Sequence[Operation], keep: Sequence[str]) -> list[set[str]]:
    """Say which outputs a later run can begin with: those that leave the opening steps."""
    worth: list[set[str]] = [set() for _ in operations]
    for number, names in [
        *((i, o.inputs) for i, o in enumerate(operations) if not o.opening),
        (len(operations), tuple(keep)),
    ]:
        for name in names:
            maker = _maker(operations, number, name)
            if maker >= 0:
                worth[maker].add(name)
    return worth


def _own_secret() -> bytes | None:
    """Read, or make once, the secret of this user on this computer."""
    if os.name == "nt":
        root = os.environ.get("LOCALAPPDATA")
        base = Path(root) if root else Path.home() / "AppData" / "Local"
    else:
        root = os.environ.get("XDG_CACHE_HOME")
        base = Path(root) if root else Path.home() / ".cache"
    path = base / "geochem" / "stages.key"
    try:
        if not path.exists():
            path.parent.mkdir(parents=True, exist_ok=True)
            with contextlib.suppress(FileExistsError):
                descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
                with os.fdopen(descriptor, "wb") as stream:
                    stream.write(secrets.token_bytes(32))
        secret = path.read_bytes()
    except (OSError, RuntimeError):
        return None
    return secret if len(secret) == 32 else None


def file_hashes(folder: Path, names: Iterable[str]) -> dict[str, str]:
    """Hash files of a result folder.

    Parameters
    ----------
    folder : Path
        The folder.
    names : iterable of str
        Relative paths with forward slashes.

    Returns
    -------
    dict of str to str
        SHA-256 by path; a file that cannot be read has an empty one.
    """
    found = {}
    for name in names:
        try:
            with (folder / name).open("rb") as stream:
                found[name] = hashlib.file_digest(stream, "sha256").hexdigest()
        except OSError:
            found[name] = ""
    return found
