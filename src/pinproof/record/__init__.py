"""What was measured and what logs proved, kept for good beside the design file.

Answers:  which readings were taken, when, with which meter, on which state of the design; has a point drifted? What did
          which logs prove, and of which state of the design?
May touch:    the record's own SQLite file. May use the layers below `design` and `design` itself.
Must not: judge a reading or a log, know a netlist or a meter's ranges, read a clock: whoever calls says the time.
Beside:   `pinproof.meter` says what should be read and hashes the circuit between the probes into a fingerprint.

Modules
-------
store   the file: schema, migrations, one committed reading or log proof after another
log_proofs what one log proof holds, and its rows
table   readings as CSV, out and in
drift   whether readings of one point moved by more than the meter can be off
history the readings of each point together, in words and for programs
"""

from pinproof.record.drift import Drift, drift_of
from pinproof.record.log_proofs import LogProof, ProofFile
from pinproof.record.store import Entry, Record, RecordFault, Snapshot, open_record, record_path
from pinproof.record.table import Row, read_rows, readings_csv

__all__ = [
    "Drift",
    "Entry",
    "LogProof",
    "ProofFile",
    "Record",
    "RecordFault",
    "Row",
    "Snapshot",
    "drift_of",
    "open_record",
    "read_rows",
    "readings_csv",
    "record_path",
]
