"""Every version of a design file that was saved or met, kept beside it, so that undo loses nothing.

Answers: which version was before this one, which after; the text of any of them.
Touches: the folder `.pinproof/history/NAME/` beside the design files.
How:     a version is a file named by its hash; `index.json` lists them in order with the place where the file stands.
         A version that an editor wrote is taken in as soon as it is met. Saving after an undo cuts off what was undone
         from the list; its file stays in the folder until twice `MOST_VERSIONS` lie there.
"""

from __future__ import annotations

import json
import os
import time
from collections.abc import Callable
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from pinproof.design.load import text_hash

MOST_VERSIONS = 200
OUTSIDE = "changed outside this program"


@dataclass(frozen=True)
class Version:
    """One version of a file. `at_s` is seconds since 1970; `what` says what led to it."""

    hash: str
    at_s: float
    what: str


@dataclass(frozen=True)
class Standing:
    """All versions, and which one the file stands at."""

    versions: tuple[Version, ...] = ()
    at: int = -1

    @property
    def undo(self) -> Version | None:
        """What undo would take back."""
        return self.versions[self.at] if self.at > 0 else None

    @property
    def redo(self) -> Version | None:
        """What redo would bring again."""
        return self.versions[self.at + 1] if 0 <= self.at < len(self.versions) - 1 else None


class History:
    """The versions of one file. Callers hold the workspace's lock."""

    def __init__(self, folder: Path, clock: Callable[[], float] = time.time) -> None:
        self.folder = folder
        self._clock = clock

    def standing(self) -> Standing:
        """What is known so far; a folder that cannot be read counts as empty."""
        try:
            plain = json.loads((self.folder / "index.json").read_text(encoding="utf-8"))
            versions = tuple(Version(str(v["hash"]), float(v["at_s"]), str(v["what"])) for v in plain["versions"])
            at = int(plain["at"])
        except (OSError, ValueError, KeyError, TypeError):
            return Standing()
        return Standing(versions, at) if -1 <= at < len(versions) else Standing()

    def meet(self, text: str, what: str = OUTSIDE) -> Standing:
        """Take in a text that stands in the file now; the first one is the beginning."""
        seen = text_hash(text.encode("utf-8"))
        now = self.standing()
        if now.at >= 0 and now.versions[now.at].hash == seen:
            return now
        for step in (now.at - 1, now.at + 1):  # an editor's own undo
            if what == OUTSIDE and 0 <= step < len(now.versions) and now.versions[step].hash == seen:
                return self._keep(Standing(now.versions, step))
        self._write(seen, text)
        kept = (*now.versions[: now.at + 1], Version(seen, self._clock(), what if now.versions else "as it was"))
        return self._keep(Standing(kept[-MOST_VERSIONS:], len(kept[-MOST_VERSIONS:]) - 1))

    def move(self, step: int) -> Standing:
        """Stand one version earlier (-1) or later (+1); the caller has written that text."""
        now = self.standing()
        return self._keep(Standing(now.versions, now.at + step))

    def text_of(self, wanted: str) -> str | None:
        """The text of a version; None where it is not kept (any more) or was damaged."""
        if not wanted.isalnum():
            return None
        with suppress(OSError, UnicodeDecodeError):
            self._stay()
            data = (self.folder / f"{wanted}.toml").read_bytes()
            if text_hash(data) == wanted:
                return data.decode("utf-8")
        return None

    def _write(self, name: str, text: str) -> None:
        self._stay()
        self.folder.mkdir(parents=True, exist_ok=True)
        self._whole(self.folder / f"{name}.toml", text.encode("utf-8"))
        files = sorted(self.folder.glob("*.toml"), key=lambda path: path.stat().st_mtime_ns)
        listed = {each.hash for each in self.standing().versions} | {name}
        for path in files[: max(0, len(files) - 2 * MOST_VERSIONS)]:
            if path.stem not in listed:
                path.unlink(missing_ok=True)

    def _keep(self, now: Standing) -> Standing:
        self._stay()
        self.folder.mkdir(parents=True, exist_ok=True)
        plain = {"versions": [asdict(each) for each in now.versions], "at": now.at}
        self._whole(self.folder / "index.json", json.dumps(plain, ensure_ascii=False, indent=1).encode("utf-8"))
        return now

    def _stay(self) -> None:
        """Versions are not written through a link that leads elsewhere."""
        if os.path.realpath(self.folder) != str(self.folder):
            raise OSError(f"{self.folder.name} leads out of the folder")

    def _whole(self, path: Path, data: bytes) -> None:
        part = path.with_name(f".{path.name}.{os.getpid()}.part")
        part.write_bytes(data)
        os.replace(part, path)
