"""How many cases can be told at all: `python -m tests.truth.tellable 200 --column "new build" --first 0`.

For each case all readings are taken, and the oracle says whether the true class gets at least 95 %. A case takes one to
three seconds of one processor, so a thousand are best run in pieces or overnight. A limit to the share is no fault of a
finder: a worn contact within its sound limits cannot be told from a sound one.
"""

from __future__ import annotations

import argparse
import collections
import time

from tests.truth.cases import COLUMNS, make_case
from tests.truth.playing import playing_trucks
from tests.truth.posterior import TELLABLE, Oracle, all_readings

LINES, FIRST_SEED = 200, 5000


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("cases", type=int)
    parser.add_argument("--column", choices=COLUMNS, default="in service")
    parser.add_argument("--first", type=int, default=0, help="number of the first case")
    asked = parser.parse_args()
    lines = playing_trucks(LINES)
    told: dict[str, list[bool]] = collections.defaultdict(list)
    hoped = hit = spent = 0.0
    for k in range(asked.first, asked.first + asked.cases):
        p = lines[k % LINES]
        case = make_case(p.truck, p.line_id, FIRST_SEED + k, column=asked.column)
        started = time.process_time()
        oracle = Oracle(p.truck, p.line_id, all_readings(case), asked.column)
        found = oracle.judge(question=(case.true_class, TELLABLE)).classes
        spent += time.process_time() - started
        told[case.true_cause.mechanism].append(found[case.true_class] >= TELLABLE)
        hoped += max(found.values())
        hit += max(found, key=lambda name: found[name]) == case.true_class
    every = [x for rows in told.values() for x in rows]
    print(f"{asked.column}: {sum(every)} of {len(every)} can be told ({sum(every) / len(every):.1%})")
    print(f"the likeliest class is the true one in {hit / len(every):.1%}; its posterior says {hoped / len(every):.1%}")
    print(f"{spent / len(every):.2f} s of processor for a case")
    for mechanism, rows in sorted(told.items(), key=lambda kv: sum(kv[1]) / len(kv[1])):
        print(f"  {mechanism:38} {sum(rows):4} of {len(rows)}")


if __name__ == "__main__":
    main()
