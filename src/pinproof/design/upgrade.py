"""A design file of an older format written anew in the newest, when its owner says so.

Answers: the file in today's format; what was changed; where the file as it was is kept.
Touches: the file system.
Beside:  `formats` holds the steps. `load` reads older files with them and writes nothing.
"""

from __future__ import annotations

import os
import tomllib
from dataclasses import dataclass

from pinproof.design.formats import brought_up, is_driveline_file, under_drive
from pinproof.design.load import BOM, decode, load, loads, read_bytes, text_hash
from pinproof.design.messages import ChangedUnderneath, EditFault, SaveFailed
from pinproof.design.model import Truck
from pinproof.design.save import save_atomic


@dataclass(frozen=True)
class Upgraded:
    """What was done. `said` is empty where the file was of the newest format already; then nothing was written."""

    truck: Truck
    said: tuple[str, ...]
    kept: str = ""  # the file as it was


def upgrade(path: str | os.PathLike[str], driveline: str | os.PathLike[str] | None = None) -> Upgraded:
    """Write a design file in the newest format, the file as it was kept beside it.

    Parameters
    ----------
    path : str or path-like
        The design file.
    driveline : str or path-like, optional
        A driveline file of the old kind, which stood beside the design file; its tables go under [drive]. It stays.

    Returns
    -------
    Upgraded
        With the truck as it is now on disk.

    Raises
    ------
    DesignFault
        A file is faulty, or of a newer format, or would be faulty after the change. Nothing was written.
    EditFault
        The design has a driveline already, or the other file is none.
    ChangedUnderneath, SaveFailed
        As `pinproof.design.save.save_atomic`.
    """
    name = os.fspath(path)
    file = os.path.basename(name)
    data = read_bytes(name)
    before = loads(decode(data, file), file)  # says what is wrong with it, as it is
    mark, text = (BOM, decode(data, file)[1:]) if decode(data, file).startswith(BOM) else ("", decode(data, file))
    fresh, told = brought_up(text, tomllib.loads(text), file)
    said = list(told[:-1])
    if driveline is not None:
        section, lost = _section(os.fspath(driveline), file, before)
        eol = "\r\n" if "\r\n" in fresh else "\n"
        gap = "" if fresh.endswith("\n") else eol
        fresh += gap + eol + section.replace("\n", eol)
        said.append(f"The driveline of {os.path.basename(os.fspath(driveline))} stands under [drive].")
        said += [f"[settings] {each} has no place any more; it stands there as a comment." for each in lost]
    if fresh == text:
        return Upgraded(load(name), ())
    loads(fresh, file)
    kept = _keep(name, data)
    save_atomic(name, mark + fresh, text_hash(data))
    return Upgraded(load(name), tuple(said), kept)


def _section(old: str, file: str, before: Truck) -> tuple[str, tuple[str, ...]]:
    shown = os.path.basename(old)
    if before.drive is not None:
        raise EditFault(file, "drive", "It has a [drive] table already. Edit that.")
    text = decode(read_bytes(old), shown).removeprefix(BOM)
    try:
        raw = tomllib.loads(text)
    except ValueError:
        loads(text, shown)  # says where it is no TOML
        raise
    if not is_driveline_file(raw):
        raise EditFault(shown, "", "This is no driveline file of the old kind.")
    section, lost = under_drive(text, shown)
    return f"# The driveline, taken over from {shown}.\n{section}", lost


def _keep(name: str, data: bytes) -> str:
    """The file as it was, beside it, under a name that is not there yet."""
    for number in range(1, 1000):
        kept = f"{name}.before-upgrade" + (f"-{number}" if number > 1 else "")
        try:
            with open(kept, "xb") as out:
                out.write(data)
                out.flush()
                os.fsync(out.fileno())
        except FileExistsError:
            continue
        except OSError as error:
            raise SaveFailed(
                os.path.basename(name), "keeping the former version", error.strerror or str(error)
            ) from error
        return kept
    raise ChangedUnderneath(os.path.basename(name))
