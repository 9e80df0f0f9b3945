"""One run at a time per result folder: a lock that says who holds it and ends with its holder.

The lock is one of the operating system, on a small file beside the result folder. The system lets
go of it when the process ends, however it ends: a crash, a power cut or a clock that went
backwards leave nothing that has to be judged by age. What the file says (computer, process, since
when) is for the person who finds it held; nothing is decided from it unless the disk cannot lock.
"""

from __future__ import annotations

import contextlib
import errno
import json
import os
import socket
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from geochem.errors import DataRefused

#: the locked byte lies far behind the text, so that others can read the text (Windows locks bytes
#: against reading too)
_LOCKED_BYTE = 1 << 20
_TAKEN = {errno.EACCES, errno.EAGAIN, errno.EDEADLK}
_NO_LOCKS = {errno.ENOLCK, errno.ENOTSUP, errno.EOPNOTSUPP, errno.EINVAL, errno.ENOSYS}


def lock_path(out: Path) -> Path:
    """Give the lock file of a result folder.

    Parameters
    ----------
    out : Path
        The result folder; may be missing.

    Returns
    -------
    Path
        A hidden file beside it.
    """
    return out.with_name(f".{out.name}.lock")


@contextmanager
def hold(out: Path, clock: datetime) -> Iterator[None]:
    """Hold the lock of a result folder.

    Parameters
    ----------
    out : Path
        The result folder; its parents are made when missing, and removed again when they are
        still empty at the end.
    clock : datetime
        Written into the lock file for others to read.

    Yields
    ------
    None
        While the lock is held.

    Raises
    ------
    DataRefused
        If another process holds it, with computer, process and time; if the folder is read-only.
    """
    path = lock_path(out)
    made: list[Path] = []
    try:
        for folder in reversed([p for p in [out.parent, *out.parents] if not p.exists()]):
            folder.mkdir(exist_ok=True)
            made.append(folder)
        descriptor = _take(path, out)
    except OSError as error:
        _remove_empty(made)
        raise DataRefused(
            f"cannot write beside {out} ({error.strerror}); check the rights of that folder, or "
            "give another folder with --out."
        ) from None
    except DataRefused:
        _remove_empty(made)
        raise
    try:
        holder = {
            "computer": socket.gethostname(),
            "process": os.getpid(),
            "since": clock.isoformat(" "),
        }
        # what the file says is only for people: a full disk must not stop the run here
        with contextlib.suppress(OSError):
            os.ftruncate(descriptor, 0)
            os.write(descriptor, json.dumps(holder).encode())
        yield
    finally:
        _release(descriptor, path)
        _remove_empty(made)


def _take(path: Path, out: Path) -> int:
    while True:
        try:
            descriptor = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
        except PermissionError:
            if path.exists():
                raise _held(path, out) from None
            raise
        try:
            if not _lock(descriptor, path):
                raise _held(path, out)
            # its last holder may have removed the file between opening and locking
            if os.path.samestat(os.fstat(descriptor), path.stat()):
                return descriptor
        except FileNotFoundError:
            pass
        except BaseException:
            os.close(descriptor)
            raise
        os.close(descriptor)


def _lock(descriptor: int, path: Path) -> bool:
    """Try to lock an open file; without waiting."""
    try:
        if sys.platform == "win32":
            import msvcrt

            os.lseek(descriptor, _LOCKED_BYTE, os.SEEK_SET)
            msvcrt.locking(descriptor, msvcrt.LK_NBLCK, 1)
            os.lseek(descriptor, 0, os.SEEK_SET)
        else:
            import fcntl

            # held by a forked child too: whoever still writes keeps the lock
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno in _TAKEN:
            return False
        if error.errno in _NO_LOCKS:
            return not _lives(_holder(path))
        raise
    return True


def _release(descriptor: int, path: Path) -> None:
    if sys.platform == "win32":  # an open file cannot be removed there
        os.close(descriptor)
        with contextlib.suppress(OSError):
            path.unlink()
        return
    with contextlib.suppress(OSError):
        path.unlink()
    os.close(descriptor)


def _holder(path: Path) -> dict[str, Any]:
    try:
        said = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return said if isinstance(said, dict) else {}


def _lives(holder: dict[str, Any]) -> bool:
    """Say whether the named process of this computer runs; for disks that cannot lock."""
    process = holder.get("process")
    if sys.platform == "win32" or holder.get("computer") != socket.gethostname():
        return False
    if not isinstance(process, int) or process <= 0 or process == os.getpid():
        return False
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except OSError:
        return True
    return True


def _held(path: Path, out: Path) -> DataRefused:
    holder = _holder(path)
    who = "another process"
    if isinstance(holder.get("process"), int):
        here = holder.get("computer") == socket.gethostname()
        computer = "this computer" if here else f"the computer '{holder.get('computer')}'"
        who = f"process {holder['process']} on {computer}, since {holder.get('since')}"
    return DataRefused(
        f"{out} is being written by {who}; wait until that run has ended, or give another folder "
        "with --out. A run that was killed gives the folder free by itself."
    )


def _remove_empty(made: list[Path]) -> None:
    for folder in reversed(made):
        with contextlib.suppress(OSError):
            folder.rmdir()
