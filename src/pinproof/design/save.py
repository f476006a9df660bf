"""A design file written so that at every moment a whole file is there.

Answers: the new text on disk, the former one beside it as NAME.bak.
Touches: the file system.
How:     both are written under other names in the same folder, forced to disk, then renamed over the old names; a
         rename within a folder is one step on Windows, macOS and Linux. Whatever raises, one of the two is there.
         Between the last look at the old file and the rename no other Pinproof on this computer may save it: a lock
         that the system itself lets go when its holder dies.
"""

from __future__ import annotations

import hashlib
import os
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from pinproof.design.load import text_hash
from pinproof.design.messages import ChangedUnderneath, SaveFailed


def save_atomic(path: str | os.PathLike[str], text: str, expected_hash: str | None) -> str:
    """Write a design file.

    Parameters
    ----------
    path : str or path-like
        The file. A link is followed, so that the link stays a link.
    text : str
        The whole new text; written as UTF-8, line ends as they are.
    expected_hash : str or None
        `Truck.text_hash` of the file as it was loaded. None: the file must not exist yet.

    Returns
    -------
    str
        Hash of the new file.

    Raises
    ------
    ChangedUnderneath
        The file on disk is not the one that was loaded (or is gone, or is there already). Nothing was written.
    SaveFailed
        The system refused a step. The file is as it was.
    """
    name = os.path.realpath(os.fspath(path))
    shown = os.path.basename(name)
    data = text.encode("utf-8")
    with _alone(name):
        _save(name, shown, data, expected_hash)
    return text_hash(data)


def _save(name: str, shown: str, data: bytes, expected_hash: str | None) -> None:
    former = _seen(name, shown, expected_hash)
    left: list[str] = []
    step = "writing beside it"
    try:
        fresh = _beside(name, data, left)
        if former is not None:
            with suppress(OSError):  # a file system without modes
                os.chmod(fresh, os.stat(name).st_mode & 0o777)
            step = "keeping the former version"
            os.replace(_beside(name, former, left), name + ".bak")
        _seen(name, shown, expected_hash)
        step = "renaming over it"
        os.replace(fresh, name)
    except OSError as error:
        raise SaveFailed(shown, step, error.strerror or str(error)) from error
    finally:
        for leftover in left:
            with suppress(OSError):
                os.unlink(leftover)
    _settle(os.path.dirname(name))


@contextmanager
def _alone(name: str) -> Iterator[None]:
    """While no other process of this computer saves the same file; it waits for one that does.

    The lock lies in the system's folder for passing files, not beside the design. Where none can be had, as on a full
    or foreign folder, saving goes on without it: the looks before and after still catch all but the narrowest race.
    """
    ident = hashlib.sha256(os.path.normcase(name).encode("utf-8", "surrogatepass")).hexdigest()[:24]
    try:
        handle = os.open(os.path.join(tempfile.gettempdir(), f"pinproof-{ident}.lock"), os.O_RDWR | os.O_CREAT, 0o666)
    except OSError:
        yield
        return
    try:
        with suppress(OSError):
            if sys.platform == "win32":
                import msvcrt

                msvcrt.locking(handle, msvcrt.LK_LOCK, 1)  # tries for ten seconds
            else:
                import fcntl

                fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)  # lets go of the lock on every system


def _seen(name: str, shown: str, expected_hash: str | None) -> bytes | None:
    """The file's bytes if they are the expected ones."""
    try:
        with open(name, "rb") as file:
            data = file.read()
    except FileNotFoundError:
        if expected_hash is not None:
            raise ChangedUnderneath(shown) from None
        return None
    except OSError as error:
        raise SaveFailed(shown, "reading it again", error.strerror or str(error)) from error
    if expected_hash is None or text_hash(data) != expected_hash:
        raise ChangedUnderneath(shown)
    return data


def _beside(name: str, data: bytes, left: list[str]) -> str:
    """A new file in the same folder, on disk to the last byte. Its name goes to `left` at once."""
    folder, base = os.path.split(name)
    handle, fresh = tempfile.mkstemp(prefix=f".{base}.", suffix=".tmp", dir=folder)
    left.append(fresh)
    with os.fdopen(handle, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    return fresh


def _settle(folder: str) -> None:
    """Force the rename itself to disk, where the system can (a folder cannot be opened on Windows)."""
    with suppress(OSError, AttributeError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
