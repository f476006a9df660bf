"""What was measured, kept for good beside the design file.

Answers:  which readings were taken, when, with which meter, on which state of the design; has a point drifted?
May touch:    the record's own SQLite file. May use the layers below `design` and `design` itself.
Must not: judge a reading, know a netlist or a meter's ranges, read a clock: whoever calls says what time it is.
Beside:   `pinproof.meter` says what should be read and hashes the circuit between the probes into a fingerprint.

Modules
-------
store   the file: schema, migrations, one committed reading after another
table   readings as CSV, out and in
drift   whether readings of one point moved by more than the meter can be off
history the readings of each point together, in words and for programs
"""

from pinproof.record.drift import Drift, drift_of
from pinproof.record.store import Entry, Record, RecordFault, Snapshot, open_record, record_path
from pinproof.record.table import Row, read_rows, readings_csv

__all__ = [
    "Drift",
    "Entry",
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
