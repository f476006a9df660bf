"""Learning an unknown pin from a short series of meter readings.

Answers:  which source sits behind the pin, how sure; between which ohms its meaning changes, per direction; what to put
          on the pin next; how that is written into the design.
May touch:    the session file, only in `session.load_session` and `save_session`. No printing, no clock.
Must not: know a command line, claim a meaning where nobody looked, or call a source a resistor that the readings show
          to be none.

Modules
-------
uncertain   covariance through any function, and by drawing
source      Thévenin source from known loads
pulls       which pulls make it, what follows the battery, how small a load may be, the next volts, mistyped readings
reference   is it the reference, or the reference divided by a second pull
stock       loads that can be made
state       the readings of a search for edges; steps and observations
edges       brackets per direction, contradictions, progress
search      the next load, and the state after it
turning     the same with a potentiometer
windows     windows in ohms, none larger than what was visited
into_design the changed design file
session     volts and search together, and their file
declared    fields of that file, held against what they are declared as
"""

from pinproof.learn.edges import Bracket, Doubt, Edge, Gap, Progress, doubts, edges, progress, unseen_gaps
from pinproof.learn.into_design import learned_text, missing_meanings
from pinproof.learn.pulls import (
    Pulls,
    Referred,
    VoltsStep,
    least_load_ohm,
    next_volts,
    pulls_of,
    question_reading,
    strobed,
    tell_referral,
)
from pinproof.learn.search import propose
from pinproof.learn.seen import is_off, update
from pinproof.learn.session import (
    Found,
    Look,
    Session,
    found_of,
    load_session,
    note_of,
    refreshed,
    save_session,
    session_path,
)
from pinproof.learn.source import OffLine, PinReading, Source, VoltMeter, fit_source
from pinproof.learn.state import (
    LearnFault,
    Observation,
    Scale,
    State,
    Step,
    Visit,
    accept,
    begin,
    from_json,
    scale_of,
    to_json,
)
from pinproof.learn.stock import Load, Part, e12_stock, loads_of
from pinproof.learn.uncertain import Drawn, Propagated, monte_carlo, propagate, type_a
from pinproof.learn.windows import LearnedWindow, windows_of

__all__ = [
    "Bracket",
    "Doubt",
    "Drawn",
    "Edge",
    "Found",
    "Gap",
    "LearnFault",
    "LearnedWindow",
    "Load",
    "Look",
    "Observation",
    "OffLine",
    "Part",
    "PinReading",
    "Progress",
    "Propagated",
    "Pulls",
    "Referred",
    "Scale",
    "Session",
    "Source",
    "State",
    "Step",
    "Visit",
    "VoltMeter",
    "VoltsStep",
    "accept",
    "begin",
    "doubts",
    "e12_stock",
    "edges",
    "fit_source",
    "found_of",
    "from_json",
    "is_off",
    "learned_text",
    "least_load_ohm",
    "load_session",
    "loads_of",
    "missing_meanings",
    "monte_carlo",
    "next_volts",
    "note_of",
    "progress",
    "propagate",
    "propose",
    "pulls_of",
    "question_reading",
    "refreshed",
    "save_session",
    "scale_of",
    "session_path",
    "strobed",
    "tell_referral",
    "to_json",
    "type_a",
    "unseen_gaps",
    "update",
    "windows_of",
]
