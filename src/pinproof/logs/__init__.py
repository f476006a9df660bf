"""Logs: what a recording of a drive shows of the chain, and what it cannot show.

Answers:  what was recorded under each role, what the clock is worth; does each tap make its step, does the pin stay in
          the proven spans?
May touch:    the log and map files it is told to read, and the work folder it is told to write.
Must not:     guess a unit or a role silently; print; load polars, python-can or asammdf before a file is read.

`propose_map`, `load_map` and `open_log` lead from files to a `Recording`; docs/log-files.md says what it holds.
`prove_log` judges recordings with the checks of docs/logs.md; `load_script` reads what the crew pressed.
"""

from pinproof.logs.faults import LogFault, MapFault
from pinproof.logs.logger_map import LoggerMap
from pinproof.logs.map_file import load_map, map_of, save_map
from pinproof.logs.opened import Log, open_log
from pinproof.logs.propose import MapProposal, propose_map
from pinproof.logs.prove import NoLog, prove_log
from pinproof.logs.recording import Channel, Chunk, Finding, Recording, Skew, TimeBase
from pinproof.logs.results import LogCheck, LogFinding, LogReport, as_json
from pinproof.logs.script import Script, ScriptFault, load_script, script_of

__all__ = [
    "Channel",
    "Chunk",
    "Finding",
    "Log",
    "LogCheck",
    "LogFault",
    "LogFinding",
    "LogReport",
    "LoggerMap",
    "MapFault",
    "MapProposal",
    "NoLog",
    "Recording",
    "Script",
    "ScriptFault",
    "Skew",
    "TimeBase",
    "as_json",
    "load_map",
    "load_script",
    "map_of",
    "open_log",
    "propose_map",
    "prove_log",
    "save_map",
    "script_of",
]
