"""The result folder is made aside and swapped in when whole.

Nothing of the last good result is touched until the new one is complete. A marker *beside* the
folder says what was going on, so that the next start can finish or undo an interrupted swap. Only
files that the last ``run.json`` lists are ours; everything else in the folder is kept.
"""

from __future__ import annotations

import contextlib
import json
import shutil
import tempfile
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from geochem.errors import DataRefused


@dataclass(frozen=True, slots=True)
class Published:
    """Where the result went.

    Parameters
    ----------
    folder : Path
        The result folder.
    message : str
        Empty, or what the user should know (a file was open, a file was renamed).
    """

    folder: Path
    message: str = ""


def _marker(out: Path) -> Path:
    return out.with_name(f".{out.name}.swap.json")


def _aside(out: Path) -> Path:
    return out.with_name(f".{out.name}.previous")


def workshop(out: Path) -> Path:
    """Make an empty folder beside `out`, on the same volume.

    Parameters
    ----------
    out : Path
        The result folder to be.

    Returns
    -------
    Path
        A new empty folder.

    Raises
    ------
    DataRefused
        If nothing can be written there.
    """
    try:
        out.parent.mkdir(parents=True, exist_ok=True)
        made = Path(tempfile.mkdtemp(prefix=f".{out.name}.making-", dir=out.parent))
        made.chmod(0o755)  # mkdtemp makes a private folder; a result is to be shared
        return made
    except OSError as error:
        raise DataRefused(
            f"cannot write beside {out} ({error.strerror}); give another folder with --out."
        ) from None


def recover(out: Path) -> str:
    """Finish or undo a swap that was interrupted.

    Parameters
    ----------
    out : Path
        The result folder.

    Returns
    -------
    str
        A sentence, or empty when there was nothing to do.
    """
    marker = _marker(out)
    if not marker.exists():
        return ""
    aside = _aside(out)
    if aside.exists() and not out.exists():
        aside.rename(out)
        said = f"an interrupted run was undone; {out.name} holds the last good result."
    elif aside.exists():
        _keep_foreign(aside, out)
        shutil.rmtree(aside, ignore_errors=True)
        said = f"an interrupted run was finished; {out.name} holds its result."
    else:
        said = ""
    with contextlib.suppress(OSError, ValueError, KeyError, TypeError):
        making = Path(json.loads(marker.read_text(encoding="utf-8"))["making"])
        if making.parent == out.parent and making.name.startswith(f".{out.name}.making-"):
            shutil.rmtree(making, ignore_errors=True)
    marker.unlink(missing_ok=True)
    return said


def publish(making: Path, out: Path, clock: datetime) -> Published:
    """Swap a whole new result in.

    Parameters
    ----------
    making : Path
        The complete new result, from `workshop`.
    out : Path
        Where it shall stand.
    clock : datetime
        Names the folder ``<out>-<time>`` that is used when a file of `out` is open elsewhere.

    Returns
    -------
    Published
        The folder that holds the new result, and what to say.

    Raises
    ------
    DataRefused
        If the folder can be written neither in place nor beside.
    """
    if out.exists() and not out.is_dir():
        raise DataRefused(f"{out} is a file; give a folder with --out.")
    marker = _marker(out)
    try:
        marker.write_text(json.dumps({"making": str(making)}), encoding="utf-8")
        if not out.exists():
            making.rename(out)
            marker.unlink(missing_ok=True)
            return Published(out)
        aside = _aside(out)
        if aside.exists():
            shutil.rmtree(aside)
        out.rename(aside)
    except OSError:
        return _leave_beside(making, out, clock, marker)
    try:
        making.rename(out)
    except OSError:
        aside.rename(out)
        return _leave_beside(making, out, clock, marker)
    message = _keep_foreign(aside, out)
    shutil.rmtree(aside, ignore_errors=True)
    marker.unlink(missing_ok=True)
    return Published(out, message)


def _leave_beside(making: Path, out: Path, clock: datetime, marker: Path) -> Published:
    beside = out.with_name(f"{out.name}-{clock:%Y%m%d-%H%M%S}")
    try:
        making.rename(beside)
    except OSError as error:
        raise DataRefused(
            f"cannot write {out} ({error.strerror}); the old result stands."
        ) from None
    with contextlib.suppress(OSError):
        marker.unlink(missing_ok=True)
    locked = _open_elsewhere(out)
    what = f"close {', '.join(locked)}" if locked else "close the programs that use it"
    return Published(
        beside,
        f"{out.name} is in use and was left as it is; the new result stands in {beside.name}. "
        f"To replace the old one {what} and run again.",
    )


def _open_elsewhere(folder: Path) -> list[str]:
    locked = []
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            try:
                with path.open("r+b"):
                    pass
            except OSError:
                locked.append(path.name)
    return locked[:5]


def own_files(folder: Path) -> set[str]:
    """List the files of a result folder that a run wrote.

    Parameters
    ----------
    folder : Path
        A result folder.

    Returns
    -------
    set of str
        Paths relative to it, with forward slashes; empty without a readable ``run.json``.
    """
    try:
        listed = json.loads((folder / "run.json").read_text(encoding="utf-8"))["files"]
        return {str(name) for name in listed} | {"run.json"}
    except (OSError, ValueError, KeyError, TypeError):
        return set()


def _keep_foreign(old: Path, new: Path) -> str:
    """Carry the user's own files from the old result into the new one."""
    ours = own_files(old)
    renamed = []
    for path in sorted(old.rglob("*")):
        name = path.relative_to(old).as_posix()
        if path.is_dir() or name in ours:
            continue
        goal = new / name
        if goal.exists():
            goal = _free_name(goal)
            renamed.append(goal.name)
        goal.parent.mkdir(parents=True, exist_ok=True)
        path.replace(goal)
    if not renamed:
        return ""
    return (
        "files of your own had the name of a result and were kept under another: "
        f"{', '.join(renamed)}."
    )


def _free_name(path: Path) -> Path:
    number = 1
    while True:
        free = path.with_name(f"{path.stem}-kept{number}{path.suffix}")
        if not free.exists():
            return free
        number += 1
