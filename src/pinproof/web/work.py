"""Results of the engines, worked out once for each version of a file.

Answers: the proof, quick proof, chain and faults of a design, from memory where they are known.
Touches: nothing.
Why:     several pages and their data twins show one result; the second one shall not wait. Two that ask for the same
         at once get one piece of work.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Callable
from pathlib import Path
from typing import Any

from pinproof.chain.links import Chain, chain_of
from pinproof.chain.log_kept import KeptLogs, kept_logs
from pinproof.chain.stock import load_drawer
from pinproof.choose.drawer import Drawer
from pinproof.design import Truck
from pinproof.errors import PinproofError
from pinproof.faults import FaultReport, faults_of
from pinproof.proof import TruckProof, prove
from pinproof.record import record_path
from pinproof.web.workspace import Design, Workspace

MOST_KEPT = 200


class Work:
    """A memory of results."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._known: OrderedDict[tuple[Any, ...], tuple[bool, Any]] = OrderedDict()
        self._busy: dict[tuple[Any, ...], threading.Lock] = {}

    def once(self, key: tuple[Any, ...], make: Callable[[], Any]) -> Any:
        """What `make` gives, made once for this key. Its deliberate errors are kept and raised again."""
        with self._lock:
            found = self._known.get(key)
            if found is None:
                busy = self._busy.setdefault(key, threading.Lock())
        if found is None:
            with busy:
                with self._lock:
                    found = self._known.get(key)
                if found is None:
                    try:
                        found = (True, make())
                    except PinproofError as error:
                        found = (False, error)
                    with self._lock:
                        self._known[key] = found
                        self._busy.pop(key, None)
                        while len(self._known) > MOST_KEPT:
                            self._known.popitem(last=False)
        good, value = found
        if not good:
            raise value
        return value

    def known(self, key: tuple[Any, ...]) -> Any:
        """The result if it is there already, else None."""
        with self._lock:
            found = self._known.get(key)
        return found[1] if found is not None and found[0] else None

    def proof(self, truck: Truck) -> TruckProof:
        """The whole proof, without the sampled yield."""
        proof: TruckProof = self.once(("proof", truck.text_hash), lambda: prove(truck, samples=0))
        return proof

    def proof_if_known(self, truck: Truck) -> TruckProof | None:
        """The whole proof if it was worked out before."""
        found: TruckProof | None = self.known(("proof", truck.text_hash))
        return found

    def quick(self, truck: Truck) -> TruckProof:
        """Every situation judged; nothing else. Its verdict is of the windows alone."""
        proof: TruckProof = self.once(("quick", truck.text_hash), lambda: prove(truck, drift=False))
        return proof

    def chain(self, design: Design, workspace: Workspace) -> Chain:
        """The chain of links with the next actions, with the drawer and the log proofs that are kept beside it."""
        truck, drawer = design.truck, drawer_beside(design.truck, workspace.folder)
        kept = self.kept(design, workspace)
        proofs = tuple((each.proof.number, each.proof.kept_utc, each.verdict, each.is_of_now) for each in kept.proofs)
        key = ("chain", truck.text_hash, hash(repr(drawer)), proofs, kept.fault)
        chain: Chain = self.once(key, lambda: chain_of(truck, self.proof(truck), drawer, kept=kept))
        return chain

    def kept(self, design: Design, workspace: Workspace) -> KeptLogs:
        """What logs proved, as the record beside the design has it; read again when the record was written to."""
        try:
            path = workspace.own(record_path(design.path))
        except PinproofError as error:
            return KeptLogs(fault=str(error))
        beside = path.with_name(f"{path.name}-wal")
        stamps = tuple((s.st_size, s.st_mtime_ns) for s in (each.stat() for each in (path, beside) if each.exists()))
        found: KeptLogs = self.once(
            ("kept", design.hash, str(path), stamps), lambda: kept_logs(path, design.truck, design.text)
        )
        return found

    def verdicts(self, design: Design, workspace: Workspace) -> dict[str, str]:
        """Each link's verdict, or "missing", where the proof is known already; else nothing."""
        if self.proof_if_known(design.truck) is None:
            return {}
        chain = self.chain(design, workspace)
        return {each.name: str(each.verdict) if each.built else "missing" for each in chain.links}

    def faults(self, truck: Truck) -> FaultReport:
        """The fault dictionary of every line."""
        report: FaultReport = self.once(("faults", truck.text_hash), lambda: faults_of(truck))
        return report


def drawer_beside(truck: Truck, folder: Path) -> Drawer | None:
    """The drawer that the design's [parts] names, or drawer.toml; only from the same folder."""
    name = Path(truck.parts.drawer or "drawer.toml").name
    path = folder / name
    if not path.is_file() or path.resolve().parent != folder:  # a link that leads out is not followed
        return None
    try:
        return load_drawer(path)
    except PinproofError:
        return None  # its own page says what is wrong with it
