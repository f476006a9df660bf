"""Pinproof: one design file from switch to repair for a resistor-coded command line.

As a library: `load` a design file, hand it to an engine, `show` what comes out.

    import pinproof
    truck = pinproof.load("truck.toml")
    pinproof.show(pinproof.prove(truck), truck)

`PUBLIC` is the whole public face, with the module each name comes from; docs/reference/library.md describes it. A name
is loaded when it is first asked for, so that importing this package loads nothing. What is not named here, or in the
`__all__` of a room, may change with any version; a public name goes only with a new major version.
"""

from typing import Any

__version__ = "0.1.0"

PUBLIC: dict[str, str] = {
    # the design file
    "load": "pinproof.design.load",
    "loads": "pinproof.design.loads",
    "set_values": "pinproof.design.edit.set_values",
    "upgrade": "pinproof.design.upgrade.upgrade",
    "example_path": "pinproof.examples.example_path",
    "Truck": "pinproof.design.Truck",
    # is it proven
    "prove": "pinproof.proof.prove",
    "TruckProof": "pinproof.proof.TruckProof",
    "Verdict": "pinproof.verdict.Verdict",
    "chain_of": "pinproof.chain.links.chain_of",
    # which resistors
    "choose_values": "pinproof.choose.choose",
    "cures": "pinproof.choose.cures",
    "Drawer": "pinproof.choose.Drawer",
    "Part": "pinproof.choose.Part",
    # faults, and finding them
    "faults_of": "pinproof.faults.faults_of",
    "Diagnosis": "pinproof.find.Diagnosis",
    "read_look": "pinproof.find.read",
    "next_steps": "pinproof.find.next_steps",
    # the meter and the record
    "bench_sheet": "pinproof.meter.bench_sheet",
    "usual_meter": "pinproof.meter.starter",
    "load_meter": "pinproof.meter.load_instrument",
    "open_record": "pinproof.record.open_record",
    "record_path": "pinproof.record.record_path",
    # an unknown pin
    "fit_source": "pinproof.learn.fit_source",
    "PinReading": "pinproof.learn.PinReading",
    "VoltMeter": "pinproof.learn.VoltMeter",
    # harness, start inhibit, driveline, logs
    "lay_out": "pinproof.harness.lay_out",
    "prove_inhibit": "pinproof.inhibit.from_design.prove_truck",
    "drive_sums": "pinproof.driveline.drive_sums",
    "settings_sheet": "pinproof.driveline.settings_sheet",
    "open_log": "pinproof.logs.open_log",
    "load_map": "pinproof.logs.load_map",
    "prove_log": "pinproof.logs.prove_log",
    # what comes out, and what is refused
    "show": "pinproof.pack.shown.show",
    "as_json": "pinproof.pack.shown.as_json",
    "PinproofError": "pinproof.errors.PinproofError",
    "DesignFault": "pinproof.design.DesignFault",
}
"""Public name to where it is defined."""

__all__ = ["PUBLIC", "__version__", *PUBLIC]  # noqa: PLE0604 - plain names, all of them


def __getattr__(name: str) -> Any:
    place = PUBLIC.get(name)
    if place is None:
        raise AttributeError(f"pinproof has no public name {name!r}. There are: {', '.join(PUBLIC)}.")
    import importlib

    module, _, attribute = place.rpartition(".")
    found = globals()[name] = getattr(importlib.import_module(module), attribute)
    return found


def __dir__() -> list[str]:
    return sorted({*globals(), *PUBLIC})
