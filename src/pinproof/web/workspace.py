"""One folder of design files: which there are, what stands in them now, and saving without losing anybody's change.

Answers: the designs of the folder; one design as it is on disk this moment; the file after a change, undo or redo.
Touches: that folder and nothing outside it. A name is looked up in the folder's own list and never made into a path.
"""

from __future__ import annotations

import os
import re
import threading
import tomllib
from collections import OrderedDict
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from pinproof.design import DesignFault, Truck, loads
from pinproof.design.edit import Change, with_values
from pinproof.design.load import MOST_BYTES, decode, read_bytes, text_hash
from pinproof.design.messages import ChangedUnderneath, SaveFailed
from pinproof.design.save import save_atomic
from pinproof.errors import PinproofError
from pinproof.web.finding import Finding
from pinproof.web.history import History, Standing

NAME = re.compile(r"[A-Za-z0-9](?:[A-Za-z0-9 _.-]{0,58}[A-Za-z0-9_-])?")
RESERVED = re.compile(r"(?i)(con|prn|aux|nul|com\d|lpt\d)(\..*)?")  # names that Windows keeps for devices
MOST_FILES = 500
MOST_SEEN = 60
_HEADER = re.compile(r"(?m)^\s*(?:\[supply[\].]|\[\[input\]\]|\[\[line\]\]|supply\s*[.=])")


@dataclass(frozen=True)
class Design:
    """One design file as it was read: `name` in addresses, its text and hash; the truck, or what is wrong with it."""

    name: str
    path: Path
    text: str
    hash: str
    fault: PinproofError | None = None

    @cached_property
    def truck(self) -> Truck:
        """The truck of this text.

        Raises
        ------
        DesignFault
            All faults of the file.
        """
        if self.fault is not None:
            raise self.fault
        return loads(self.text, self.path.name)

    @property
    def usable(self) -> bool:
        """The file can be loaded."""
        try:
            return bool(self.truck.id)
        except PinproofError:
            return False

    @property
    def title(self) -> str:
        """What people call it; its file's name where the file does not say."""
        try:
            return self.truck.name or self.truck.id
        except PinproofError:
            return self.path.name


class Workspace:
    """The folder that is served."""

    def __init__(self, folder: Path) -> None:
        self.folder = Path(os.path.realpath(folder))
        self.lock = threading.RLock()
        self._read: dict[str, tuple[tuple[int, int, int], Design]] = {}
        self._texts: OrderedDict[str, str] = OrderedDict()  # versions that pages were made from

    # what there is

    def names(self) -> list[str]:
        """Names of the design files, in order."""
        return sorted(name for name, path in self._files().items() if self._is_design(path))

    def others(self) -> list[str]:
        """TOML files that are something else: a drawer, a driveline, a logger's map."""
        return sorted(path.name for path in self._files().values() if not self._is_design(path))

    def files(self) -> list[Path]:
        """Every plain file of the folder itself, for pages that look for records and logs."""
        with os.scandir(self.folder) as listed:
            found = [Path(each.path) for each in listed if each.is_file(follow_symlinks=False)]
        return sorted(found)[: MOST_FILES * 4]

    def own(self, path: str | os.PathLike[str]) -> Path:
        """The path of a file of the folder itself, there or not; Finding 422 for a link that leads out of it."""
        wanted = self.folder / path
        if not self._inside(wanted):
            raise Finding(
                422, f"{wanted.name} leads out of the folder. It is not followed.", "Put the file itself there.",
                wanted.name,
            )  # fmt: skip
        return wanted

    def _files(self) -> dict[str, Path]:
        found: dict[str, Path] = {}
        with suppress(OSError), os.scandir(self.folder) as listed:
            for each in listed:
                stem, dot, ending = each.name.rpartition(".")
                good = dot and ending.lower() == "toml" and NAME.fullmatch(stem) and not RESERVED.fullmatch(stem)
                if good and self._inside(each.path) and each.is_file() and len(found) < MOST_FILES:
                    found[stem] = Path(each.path)
        return found

    def _inside(self, path: str | os.PathLike[str]) -> bool:
        """A link that leads out of the folder is not of the folder."""
        return os.path.dirname(os.path.realpath(path)) == str(self.folder)

    def _is_design(self, path: Path) -> bool:
        try:
            with path.open("rb") as file:
                text = file.read(MOST_BYTES).decode("utf-8", "replace")
        except OSError:
            return False
        return bool(_HEADER.search(text))

    # one design

    def design(self, name: str) -> Design:
        """The design of this name as it is on disk now; Finding 404 if there is none."""
        path = self._files().get(name)
        if path is None:
            names = self.names()
            told = f"The folder has {', '.join(names[:8])}." if names else "The folder has no design file yet."
            raise Finding(404, f'There is no design "{name[:60]}" in this folder.', told, name[:60])
        return self._load(name, path)

    def _load(self, name: str, path: Path) -> Design:
        with self.lock:
            mark = _mark(path)
            known = self._read.get(name)
            if known is not None and known[0] == mark:
                return known[1]
            data = read_bytes(str(path))
            fault: PinproofError | None = None
            try:
                text = decode(data, path.name)
            except DesignFault as error:
                text, fault = data[:MOST_BYTES].decode("utf-8", "replace"), error
            design = Design(name, path, text, text_hash(data), fault)
            self._read[name] = (mark, design)
            self.remember(design.text)
            if fault is None:
                with suppress(OSError):  # a folder that may only be read is still shown
                    self.history(name).meet(text)
            return design

    def remember(self, text: str) -> None:
        """Keep a version that somebody looks at, so that a conflict can show it."""
        seen = text_hash(text.encode("utf-8"))
        self._texts[seen] = text
        self._texts.move_to_end(seen)
        while len(self._texts) > MOST_SEEN:
            self._texts.popitem(last=False)

    def text_of(self, name: str, wanted: str) -> str | None:
        """The text of a version of a design that was seen or saved; None if nobody kept it."""
        with self.lock:
            name = self.design(name).name
            return self._texts.get(wanted) or self.history(name).text_of(wanted)

    def history(self, name: str) -> History:
        """The versions of one design; ValueError for what cannot be a design's name."""
        if not NAME.fullmatch(name):
            raise ValueError(f"{name!r} is no design's name")
        return History(self.folder / ".pinproof" / "history" / name)

    # changing it

    def change(self, name: str, changes: Mapping[str, Change], base: str, what: str) -> Design:
        """Change entries of a design and save it.

        Parameters
        ----------
        name : str
        changes : mapping
            As `design.edit.with_values`.
        base : str
            Hash of the version that the change was made for.
        what : str
            What undo will call it.

        Raises
        ------
        ChangedUnderneath
            The file is another one by now. Nothing was written.
        DesignFault, EditFault, SaveFailed
            As `design.edit.set_values`.
        """
        with self.lock:
            design = self.design(name)
            if design.hash != base:
                raise ChangedUnderneath(design.path.name)
            return self.write(name, with_values(design.text, changes, design.path.name), base, what)

    def write(self, name: str, text: str, base: str, what: str, *, checked: bool = True) -> Design:
        """Save a whole text over the version `base`; `checked`: only if it loads."""
        with self.lock:
            design = self.design(name)
            if design.hash != base:
                raise ChangedUnderneath(design.path.name)
            if checked:
                loads(text, design.path.name)
            history = self.history(name)
            with _kept(design):
                history.meet(design.text)
            save_atomic(design.path, text, base)
            with suppress(OSError):  # it is saved; the next look meets this version
                history.meet(text, what)
            self._read.pop(name, None)
            return self.design(name)

    def create(self, name: str, text: str) -> Design:
        """A new design file; Finding 409 if the name is taken, 422 if it cannot be a name."""
        if not NAME.fullmatch(name) or RESERVED.fullmatch(name):
            raise Finding(
                422, f'"{name[:60]}" cannot be the name of a file.',
                "Use letters, digits, blank, dash and underscore, sixty at most.", "name",
            )  # fmt: skip
        with self.lock:
            if name.casefold() in {each.casefold() for each in self._files()}:
                raise Finding(409, f"There is a file {name}.toml already. Nothing was written.", "Give another name.")
            save_atomic(self.folder / f"{name}.toml", text, None)
            return self.design(name)

    def undo(self, name: str, base: str) -> Design:
        """The version before this one, written back."""
        return self._step(name, base, -1)

    def redo(self, name: str, base: str) -> Design:
        """The version after this one, written again."""
        return self._step(name, base, +1)

    def _step(self, name: str, base: str, step: int) -> Design:
        with self.lock:
            design = self.design(name)
            if design.hash != base:
                raise ChangedUnderneath(design.path.name)
            history = self.history(name)
            with _kept(design):
                now = history.meet(design.text)
            place = now.at + step
            if not 0 <= place < len(now.versions):
                raise Finding(422, "There is nothing to take back." if step < 0 else "There is nothing to bring again.")
            text = history.text_of(now.versions[place].hash)
            if text is None:
                raise Finding(422, "That version is no longer kept.", "Look into NAME.bak beside the file.")
            save_atomic(design.path, text, base)
            with suppress(OSError):
                history.move(step)
            self._read.pop(name, None)
            return self.design(name)

    def standing(self, name: str) -> Standing:
        """What undo and redo would do now."""
        with self.lock:
            design = self.design(name)
            with suppress(OSError):
                return self.history(name).meet(design.text)
            return Standing()


@contextmanager
def _kept(design: Design) -> Iterator[None]:
    """Versions are kept before anything is written; where that cannot be, nothing is written."""
    try:
        yield
    except OSError as error:
        raise SaveFailed(design.path.name, "keeping its versions", error.strerror or str(error)) from error


def _mark(path: Path) -> tuple[int, int, int]:
    """What changes when a file is written."""
    try:
        found = os.stat(path)
    except OSError:
        return (0, 0, 0)
    return (found.st_mtime_ns, found.st_size, found.st_ino)


def is_toml(text: str) -> bool:
    """Whether a text is TOML at all."""
    try:
        tomllib.loads(text)
    except (ValueError, RecursionError):
        return False
    return True
