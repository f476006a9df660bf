"""What a page is: one address, one question that it answers, one call for its result.

Answers: which parts must a page name so that route, data twin, menu, description and documentation follow from it?
Touches: nothing.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from pinproof.web.finding import Finding

if TYPE_CHECKING:
    from pinproof.design import Truck
    from pinproof.web.app import Site
    from pinproof.web.workspace import Design

MOST_FORM_BYTES = 2_000_000


@dataclass(frozen=True)
class Settings:
    """What a visitor set: units "metric" or "us", theme "auto", "light" or "dark"."""

    units: str = "metric"
    theme: str = "auto"


@dataclass(frozen=True)
class Upload:
    """One file that was sent along."""

    name: str
    data: bytes


@dataclass
class Ask:
    """One request, as pages see it.

    `values` holds the path's and the query's parameters, `form` what was posted (a text each; lists where a name came
    more than once), `local` whether it came from this very machine.
    """

    site: Site
    page: Page
    values: Mapping[str, str]
    form: Mapping[str, Any] = field(default_factory=dict)
    uploads: Mapping[str, Upload] = field(default_factory=dict)
    settings: Settings = field(default_factory=Settings)
    local: bool = True
    session: str = ""
    is_json: bool = False
    path: str = "/"  # what was asked for, with its query

    @property
    def design(self) -> Design:
        """The design that the address names; `Finding` 404 if the folder has none of that name."""
        return self.site.workspace.design(self.values["design"])

    @property
    def truck(self) -> Truck:
        """The design's truck; `DesignFault` if its file cannot be used."""
        return self.design.truck

    def text(self, name: str, default: str = "") -> str:
        """One posted text."""
        found = self.form.get(name, default)
        if isinstance(found, list):
            found = found[-1] if found else default
        if not isinstance(found, str):
            raise Finding(400, f"{name} is not a text.", "Send it as text, with its unit.", name)
        return found

    def back(self, otherwise: str) -> str:
        """Where an action was asked to go back to, if that is an address of ours."""
        wish = self.text("back")
        return wish if wish.startswith("/") and not wish.startswith(("//", "/\\")) else otherwise

    def address(self, page: str, **query: str) -> str:
        """Address of another page of the same design, or of the workspace."""
        return self.site.address(page, design=self.values.get("design", ""), **query)


@dataclass(frozen=True)
class Parameter:
    """One parameter of a page or action, for reading it and for the description.

    `kind` is "string", "object" or "file"; `many` texts may come under its name; `words` are all that it can be.
    """

    name: str
    doc: str
    kind: str = "string"
    required: bool = False
    words: tuple[str, ...] = ()
    many: bool = False


def as_declared(parameters: Sequence[Parameter], given: Mapping[str, Any], *, required: bool) -> dict[str, Any]:
    """What was sent, held against what is described, before anything is done with it; objects in a form are read.

    An empty text counts as left out. `required`: also that nothing is missing; pages tell that in words of their own,
    so it is asked of programs only.

    Raises
    ------
    Finding
        400 for what is missing, is no text (or object, as described), or is none of the words described.
    """
    read = dict(given)
    for one in parameters:
        if one.name not in given:
            if required and one.required and one.kind != "file":
                raise Finding(400, f"{one.name} is missing. Nothing was done.", one.doc, one.name)
            continue
        found = given[one.name]
        if one.kind == "object" and isinstance(found, str):
            found = _object(found)
            read[one.name] = found
        if not _is_kind(one, found):
            raise Finding(400, f"{one.name} is {_wrong(one)}. Nothing was done.", one.doc, one.name)
        if one.words and found not in ("", *one.words):
            raise Finding(
                400, f'"{found[:60]}" cannot be {one.name}. Nothing was done.', f"It can be {', '.join(one.words)}.",
                one.name,
            )  # fmt: skip
    return read


def whole_json(text: str | bytes) -> Any:
    """What a JSON text says; ValueError where it is none, or holds half a letter that no answer could repeat."""
    plain = json.loads(text)
    try:
        json.dumps(plain, ensure_ascii=False).encode("utf-8")
    except UnicodeEncodeError:
        raise ValueError("it holds half of a letter that is written in two parts") from None
    return plain


def _object(text: str) -> Any:
    try:
        return whole_json(text or "{}")
    except (ValueError, RecursionError):
        return None


def _is_kind(one: Parameter, found: Any) -> bool:
    if one.kind == "object":
        return isinstance(found, Mapping)
    if one.many and isinstance(found, list):
        return all(isinstance(each, str) for each in found)
    return isinstance(found, str)


def _wrong(one: Parameter) -> str:
    return "no object" if one.kind == "object" else "no text and no list of texts" if one.many else "no text"


@dataclass(frozen=True)
class Done:
    """What an action did: the data twin prints `result`, the page goes on to `go` (or shows `template`)."""

    result: Any
    go: str = ""
    cookies: Mapping[str, str] = field(default_factory=dict)


@dataclass(frozen=True)
class File:
    """A file to be handed out instead of a page; `shown`: in the window, without script, with its own style."""

    name: str
    data: bytes
    kind: str
    shown: bool = False


@dataclass(frozen=True)
class Action:
    """What can be done from a page: POST to `PAGE/name`, and to `PAGE/name.json`."""

    name: str
    does: str
    run: Callable[[Ask], Done]
    parameters: tuple[Parameter, ...] = ()
    most_bytes: int = MOST_FORM_BYTES


@dataclass(frozen=True)
class Page:
    """One page.

    Parameters
    ----------
    name : str
        Its name in addresses made by `Ask.address`, and in the menu's class.
    path : str
        "/d/{design}/proof"; the data twin lives at the same with ".json".
    title : str
        In the menu and the tab.
    answers : str
        The one question it answers, in one line.
    result : callable
        Ask to a result of the engines; a `File` is handed out as it is. The data twin prints this and nothing else.
    context : callable, optional
        Ask and result to what the template needs beside them: drawings, sentences, rows.
    template : str
    links : tuple of str
        Links of the chain that this page stands behind.
    """

    name: str
    path: str
    title: str
    answers: str
    result: Callable[[Ask], Any]
    template: str = ""
    context: Callable[[Ask, Any], Mapping[str, Any]] | None = None
    parameters: tuple[Parameter, ...] = ()
    actions: tuple[Action, ...] = ()
    links: tuple[str, ...] = ()
    menu: bool = True
    local_only: bool = False
    folds: str = ""  # on a phone what follows each heading opens: "all", "all-but-first"; "" for a page that is short
    is_open: bool = False  # answers without a session: only what a guest needs to get one

    @property
    def of_design(self) -> bool:
        """It belongs to one design."""
        return "{design}" in self.path

    @property
    def gives_files(self) -> bool:
        """Its address ends with the name of a file, which is handed out as it is, to programs too."""
        return self.path.endswith("/{name}")

    @property
    def path_parameters(self) -> Sequence[str]:
        """Names between braces in its path."""
        return [part[1:-1] for part in self.path.split("/") if part.startswith("{")]
