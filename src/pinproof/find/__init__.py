"""Fault finding: from readings and symptoms to the cause, and to the next thing to look at.

Answers: which classes of causes fit what was seen, how well, what each would look like, and which look tells most per
         minute; the same as a decision tree for paper and phone.
Touches: nothing. No file, no printing: a `Truck` and readings in, frozen results out.
Must not: list faults or change circuits (that is `pinproof.faults`), nor judge a line (that is `pinproof.proof`).
Units:   ohms, volts, minutes, probabilities, bits.

Three lines in a notebook:

    diagnosis = Diagnosis(load("truck.toml"), "taps")
    session = Session(diagnosis).adding(read(diagnosis, "meaning lever_up = manual"))
    session.advice()

Modules
-------
weights      how likely each cause is before anything was seen
hypotheses   what each cause does to the circuit, and its class
looks        what can be looked at, in which set-up, at which cost
meter_model  the meter in the hand
draws        many trucks with one thing wrong
responses    what they show
likelihood   how well readings fit
evidence     how well readings fit each cause by itself
posterior    which classes fit how well
odds         what comes of that: classes, mechanisms, probabilities
next_step    what to look at next
recorded     readings that were kept, as looks
session      a search step by step
tree         the same, worked out beforehand
why          which readings a class hangs on
words        all of it as a tired person reads it
"""

from pinproof.find.evidence import Said
from pinproof.find.likelihood import Seen
from pinproof.find.looks import Look, LookFault, looks
from pinproof.find.next_step import Step, next_steps
from pinproof.find.odds import ClassOdds, Posterior
from pinproof.find.posterior import Diagnosis
from pinproof.find.recorded import recorded
from pinproof.find.session import Advice, Session, as_json, read, reading_of
from pinproof.find.weights import COLUMNS, SYMPTOMS, CausesFault, Weights, table_text, weights_of

__all__ = [
    "COLUMNS",
    "SYMPTOMS",
    "Advice",
    "CausesFault",
    "ClassOdds",
    "Diagnosis",
    "Look",
    "LookFault",
    "Posterior",
    "Said",
    "Seen",
    "Session",
    "Step",
    "Weights",
    "as_json",
    "looks",
    "next_steps",
    "read",
    "reading_of",
    "recorded",
    "table_text",
    "weights_of",
]
