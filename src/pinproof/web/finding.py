"""Whatever goes wrong on the way to a page, told as a finding: what, where, and what to do next.

Answers: which status, words and fields does an error become?
Touches: nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from pinproof.design.messages import ChangedUnderneath, DesignFault, EditFault, SaveFailed
from pinproof.errors import PinproofError

STATUS_WORDS = {
    400: "This cannot be read",
    403: "Not from there",
    404: "Nothing lives here",
    405: "This address only answers another way",
    409: "The file changed meanwhile",
    413: "Too large",
    421: "Wrong name for this machine",
    422: "This cannot be used",
    429: "Too many tries",
    500: "A mistake in the program",
    503: "Busy",
}


@dataclass
class Finding(PinproofError):
    """An error ready for a face. `faults` are single places with `line`, `path` and `message`.

    `template` and `context` make a page of its own out of it, where the plain one does not do.
    """

    status: int
    what: str
    next: str = ""
    where: str = ""
    faults: Sequence[Mapping[str, Any]] = ()
    template: str = "finding.html"
    context: Mapping[str, Any] = field(default_factory=dict)
    data: Mapping[str, Any] = field(default_factory=dict)

    def __str__(self) -> str:
        return " ".join(part for part in (self.what, self.next) if part)

    @property
    def title(self) -> str:
        """The status in words."""
        return STATUS_WORDS.get(self.status, "This did not work")

    def as_json(self) -> dict[str, Any]:
        """The one shape that every error has on the data side."""
        plain: dict[str, Any] = {
            "status": self.status, "title": self.title, "what": self.what, "where": self.where, "next": self.next,
            "faults": [dict(each) for each in self.faults],
        }  # fmt: skip
        return {"error": {**plain, **self.data}}


def finding_of(error: PinproofError) -> Finding:
    """A deliberate error of any room as a finding."""
    if isinstance(error, Finding):
        return error
    if isinstance(error, DesignFault):
        faults = [
            {"line": each.line, "column": each.column, "path": each.path, "message": each.message, "read": each.read}
            for each in error.faults
        ]
        count = f"{len(faults)} fault{'' if len(faults) == 1 else 's'}"
        return Finding(
            422, f"{error.file} cannot be used as it is: {count}. Nothing was calculated or written.",
            "Mend these places in the file, then load this page again.", error.file, faults,
        )  # fmt: skip
    if isinstance(error, EditFault):
        fault = {"line": 0, "column": 0, "path": error.path, "message": error.reason, "read": ""}
        return Finding(
            422, f"This change cannot be made in {error.file}. Nothing was written.",
            "Change it in the file by hand.", error.path, [fault],
        )  # fmt: skip
    if isinstance(error, ChangedUnderneath):
        return Finding(
            409, f"{error.file} was changed by someone else since this page was made. Nothing was written.",
            "Load it again and repeat the change.", error.file,
        )  # fmt: skip
    if isinstance(error, SaveFailed):
        return Finding(
            503, f"{error.file} was not saved: {error.step} failed ({error.reason}). The file is as it was.",
            "Close it in other programs, see that the folder may be written and the disk has room, then save again.",
            error.file,
        )  # fmt: skip
    return Finding(422, str(error))
