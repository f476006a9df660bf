"""Keys of the start inhibit: which relay cranks, which lever decides, where it may.

Answers: which keys these entries may have, what each is, what it means in one sentence.
Touches: nothing.
Beside:  `keys_harness` has the feeds, switches, relays and drivers that the circuit is made of; `crossinhibit` looks at
         them together. docs/inhibit.md tells what is proven.
"""

from __future__ import annotations

from pinproof.design.key import NOTE, Key, Table

FORMS = ("H", "L", "K", "H+K")
MID_STATES = ("open", "closed", "either")

INHIBIT = Table(
    "inhibit",
    "The start inhibit: where the engine may be cranked, and by which circuit.",
    (
        Key("coil", "ref", "The last relay before the starter motor.", required=True, to="relay",
            example="start_relay"),
        Key("lever", "ref", "The device whose position decides; it has `positions`.", required=True, to="device",
            example="lever"),
        Key("permitted", "refs", "Positions in which it may crank.", required=True, example='["P", "N"]'),
        Key("start", "refs", "The switches that ask for it, all of them.", required=True, example='["key_start"]'),
        Key("form", "word", "H feed side, L ground side, K controller; it must agree with the circuit.", words=FORMS,
            default="read from the circuit"),
        Key("turns", "text", "The coil's contact that turns the engine.", default="its first contact",
            example="start_relay.main"),
        NOTE,
    ),
)  # fmt: skip

INHIBIT_TABLES = (INHIBIT,)
INHIBIT_ENTRIES = (Key("inhibit", "table", INHIBIT.doc, to="inhibit"),)

# What [[switch]] has besides, for the inhibit.
SWITCH_KEYS = (
    Key("mid", "states", "What it does between two neighbouring positions, from a slow sweep of the lever with a "
        "meter.", words=MID_STATES, default="what both neighbours do; if they differ, nobody knows",
        example='{ "P|R" = "open", "N|D" = "closed" }'),
)  # fmt: skip
