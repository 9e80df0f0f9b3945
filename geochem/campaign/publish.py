"""The result folder is made aside and swapped in when whole.

Nothing of the last good result is touched until the new one is complete and on the disk. What
stands beside the folder says what was going on, so that the next start can finish or undo an
interrupted swap: ``.<name>.making-*`` a result in the making, ``.<name>.previous`` the last good
result during a swap, ``.<name>.gone-*`` what is being deleted, ``.<name>.swap.json`` the marker.
Only files that the last ``run.json`` lists are ours; everything else in the folder is kept. To
copy: `runner.py` uses `working_on` for a run, `planner.py` for a plan.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from geochem.campaign.lock import hold
from geochem.errors import DataRefused, GeochemError

#: under this a disk counts as full when a write failed [bytes]
_NEARLY_FULL = 4_000_000
_FULL = {errno.ENOSPC, errno.EFBIG, *([errno.EDQUOT] if hasattr(errno, "EDQUOT") else [])}


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


@dataclass(slots=True)
class Work:
    """A result in the making, while its folder is locked.

    Parameters
    ----------
    out : Path
        The result folder to be.
    clock : datetime
        Of the run.
    messages : list of str
        What the user should know about the folder.
    making : Path or None
        Where files are written; made by `start`.
    """

    out: Path
    clock: datetime
    messages: list[str] = field(default_factory=list)
    making: Path | None = None

    def start(self) -> Path:
        """Make the folder that files are written into."""
        self.making = workshop(self.out)
        return self.making

    def finish(self) -> Path:
        """Swap the whole result in; give the folder that holds it."""
        if self.making is None:
            raise RuntimeError("nothing was started")
        published = publish(self.making, self.out, self.clock)
        if published.message:
            self.messages.append(published.message)
        return published.folder


@contextmanager
def working_on(out: Path, clock: datetime) -> Iterator[Work]:
    """Lock a result folder, mend what an interrupted run left, clear up afterwards.

    Parameters
    ----------
    out : Path
        The result folder; may be missing.
    clock : datetime
        Of the run.

    Yields
    ------
    Work
        To `start` and `finish`.

    Raises
    ------
    DataRefused
        If another process works on the folder, or the disk is full or read-only.
    """
    with hold(out, clock):
        said = recover(out)
        work = Work(out, clock, [said] if said else [])
        try:
            yield work
        except GeochemError:
            raise
        except Exception as error:
            sentence = _full_disk(error, out)
            if sentence:
                raise DataRefused(sentence) from error
            raise
        finally:
            if work.making is not None:
                shutil.rmtree(work.making, ignore_errors=True)


def _full_disk(error: Exception, out: Path) -> str:
    """Say which disk is full, when that is why a write failed."""
    places = {"the disk of the result": out.parent, "the disk of temporary files": Path(
        tempfile.gettempdir())}  # fmt: skip
    free = {}
    for words, place in places.items():
        with contextlib.suppress(OSError):
            free[words] = shutil.disk_usage(place).free
    # databases and drivers report a full disk in words of their own
    told = isinstance(error, OSError) and error.errno in _FULL
    told = told or any(w in str(error).lower() for w in ("disk is full", "no space left"))
    tight = [w for w, n in free.items() if n < _NEARLY_FULL]
    if not told and not tight:
        return ""
    which = " and ".join(tight or ["the disk"])
    return (
        f"{which} is full ({', '.join(f'{n / 1e6:.0f} MB free on {w}' for w, n in free.items())}); "
        "the last good result is untouched. Free some space and run again."
    )


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
    """Finish or undo a swap that was interrupted, and clear what killed runs left.

    To be called by the holder of the lock: everything in the making belongs to runs that ended.

    Parameters
    ----------
    out : Path
        The result folder.

    Returns
    -------
    str
        A sentence, or empty when no swap was under way.

    Raises
    ------
    DataRefused
        If the last good result cannot be put back.
    """
    aside = _aside(out)
    said = ""
    try:
        if aside.exists() and not out.exists():
            aside.rename(out)
            said = f"an interrupted run was undone; {out.name} holds the last good result."
        elif aside.exists():
            said = f"an interrupted run was finished; {out.name} holds its result."
            said = " ".join(filter(None, [said, _put_away(aside, out)]))
    except OSError as error:
        raise DataRefused(
            f"an interrupted run left the last good result in {aside} and it cannot be put back "
            f"({error.strerror}); close the programs that use it, then run again."
        ) from None
    with contextlib.suppress(OSError):
        _marker(out).unlink(missing_ok=True)
    if out.parent.is_dir():
        for left in out.parent.iterdir():
            if left.name.startswith((f".{out.name}.making-", f".{out.name}.gone-")):
                shutil.rmtree(left, ignore_errors=True)
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
    _settle(making)
    aside = _aside(out)
    try:
        _marker(out).write_text(json.dumps({"making": str(making)}), encoding="utf-8")
        if not out.exists():
            making.rename(out)
            _marker(out).unlink(missing_ok=True)
            return Published(out)
        out.rename(aside)
    except OSError as error:
        return _leave_beside(making, out, clock, error)
    try:
        making.rename(out)
    except OSError as error:
        # where even this fails, the next start puts the old result back
        with contextlib.suppress(OSError):
            aside.rename(out)
        return _leave_beside(making, out, clock, error)
    try:
        message = _put_away(aside, out)
    except OSError as error:
        message = (
            f"a file of your own could not be carried over ({error.strerror}); it stands in "
            f"{aside.name} beside the result and the next run carries it over."
        )
        return Published(out, message)
    with contextlib.suppress(OSError):
        _marker(out).unlink(missing_ok=True)
    return Published(out, message)


def _put_away(aside: Path, out: Path) -> str:
    """Carry the user's own files into the new result, then delete the old one.

    The old folder changes its name before it is deleted: a start in between must not take what is
    left of it for files of the user.
    """
    message = _keep_foreign(aside, out)
    gone = Path(tempfile.mkdtemp(prefix=f".{out.name}.gone-", dir=out.parent))
    aside.rename(gone / "previous")
    shutil.rmtree(gone, ignore_errors=True)
    return message


def _settle(folder: Path) -> None:
    """Have everything written down to the disk: a power cut after the swap must lose nothing."""
    for path in [*folder.rglob("*"), folder]:
        try:
            if path.is_file():
                with path.open("r+b") as stream:
                    os.fsync(stream.fileno())
            elif os.name != "nt":
                descriptor = os.open(path, os.O_RDONLY)
                try:
                    os.fsync(descriptor)
                finally:
                    os.close(descriptor)
        except OSError as error:
            if error.errno in _FULL or error.errno == errno.EIO:
                raise


def _leave_beside(making: Path, out: Path, clock: datetime, why: OSError) -> Published:
    beside = out.with_name(f"{out.name}-{clock:%Y%m%d-%H%M%S}")
    if beside.exists():
        beside = _free_name(beside)
    try:
        making.rename(beside)
    except OSError as error:
        raise DataRefused(
            f"cannot write {out} ({why.strerror}) nor beside it ({error.strerror}); the old "
            "result stands. Check the rights of that folder, or give another with --out."
        ) from None
    with contextlib.suppress(OSError):
        _marker(out).unlink(missing_ok=True)
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
