# Made from PUBLIC in __init__.py by `python3 dev.py docs`. Change that, not this file.

from pinproof.chain.links import chain_of as chain_of
from pinproof.choose import Drawer as Drawer
from pinproof.choose import Part as Part
from pinproof.choose import choose as choose_values
from pinproof.choose import cures as cures
from pinproof.design import DesignFault as DesignFault
from pinproof.design import Truck as Truck
from pinproof.design import load as load
from pinproof.design import loads as loads
from pinproof.design.edit import set_values as set_values
from pinproof.design.upgrade import upgrade as upgrade
from pinproof.driveline import drive_sums as drive_sums
from pinproof.driveline import settings_sheet as settings_sheet
from pinproof.errors import PinproofError as PinproofError
from pinproof.examples import example_path as example_path
from pinproof.faults import faults_of as faults_of
from pinproof.find import Diagnosis as Diagnosis
from pinproof.find import next_steps as next_steps
from pinproof.find import read as read_look
from pinproof.harness import lay_out as lay_out
from pinproof.inhibit.from_design import prove_truck as prove_inhibit
from pinproof.learn import PinReading as PinReading
from pinproof.learn import VoltMeter as VoltMeter
from pinproof.learn import fit_source as fit_source
from pinproof.logs import load_map as load_map
from pinproof.logs import open_log as open_log
from pinproof.logs import prove_log as prove_log
from pinproof.meter import bench_sheet as bench_sheet
from pinproof.meter import load_instrument as load_meter
from pinproof.meter import starter as usual_meter
from pinproof.pack.shown import as_json as as_json
from pinproof.pack.shown import show as show
from pinproof.proof import TruckProof as TruckProof
from pinproof.proof import prove as prove
from pinproof.record import open_record as open_record
from pinproof.record import record_path as record_path
from pinproof.verdict import Verdict as Verdict

__version__: str
PUBLIC: dict[str, str]
__all__: list[str]
