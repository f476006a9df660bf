"""Every number that a check of a log compares with, its unit in its name, its basis beside it.

Answers: from which value on is something a fault, and who says so?
Touches: nothing.
Sources: where no other is named: common practice, no source. docs/logs.md lists them; a test compares.
"""

from __future__ import annotations

CONFIDENCE = 0.95

# the log itself
BESIDE_GAP_S = 2.0
GAP_S = 1.0  # no sample for longer than this (or five intervals) is a gap
GAP_INTERVALS = 5.0
STALE_S = 2.0  # an older sample says nothing of now

# presses and taps
STATES_APART_S = 0.1  # a tap may be logged so much later than the step that answers it
BOUNCE_S = 0.050  # re-closed sooner: one press
INTENT_S = 0.120  # fastest finger tapping is 6 to 7 a second (memory); re-closed later: two presses
DEBOUNCE_UNKNOWN_S = 0.020
ANSWER_S = 1.0
ANSWER_OF_GEAR_S = 1.5
HELD_REQUEST_UNKNOWN_S = 5.0
NOT_MANUAL_S = 0.5
AFTER_ENGAGING_S = 1.0
LEAVING_S = 1.0
LIMP_S = 2.0
LIMITER_BEFORE_S = 0.5
NEAR_LIMITER = 0.97
GUARD_NEAR = 0.03  # beside a guard's line nobody knows which way it decided
LEAST_LANDING_RPM = 1500.0
LEAST_OUTPUT_RPM = 150.0
FORCED_DOWN_RPM = 1500.0
COLD_C = 20.0
LONG_PRESS_S = 0.4  # with auto-repeat a longer press may give more than one step

# counts
MOST_SHARE = 0.05  # 59 taps without a miss show less than this
MOST_PER_HOUR = 1.0  # 3.0 h without an event show less than this
TURNED_LEAST = 3  # reversed taps before a slow log speaks of them
DIRECTIONS_LEAST = 3
TIMED_LEAST = 20

# times
COMMAND_MEDIAN_S = 0.100
COMMAND_95_S = 0.150
COMMAND_RATE_HZ = 50.0
RATIO_95_S = 0.8  # published shift times of 0.2 to 0.6 s are usual (secondary), and the command before it
RATIO_WORST_S = 1.0
RATIO_RATE_HZ = 20.0
STEP_RATE_HZ = 5.0
BOUNCE_RATE_HZ = 100.0
PRESS_TO_DEBOUNCE = 1.5
DOUBLE_INTERVAL_S = 0.050

# gear from the ratio
BAND = 0.03
HELD_S = 0.15
HELD_SAMPLES = 2
SLIP_MORE = 0.03
LOCKED = 0.95
RANGE_S = 60.0  # a transfer stays in one range for longer than a piece of this length, mostly
SLOPE_S = 0.25  # half the time over which the output's slope is taken

# lever and manual
ENGAGE_S = 1.0
WRONG_CODE_S = 5.0
STATE_INTERVAL_MOST_S = 0.5  # the lever and manual need two samples a second; taken where the rate is not told

# gears and speeds
DIFFERS_S = 1.0
DIFFERS_COMMANDED_S = 2.0
KNOWN_LEAST_S = 10.0
SLIPS_S = 1.0
COMMANDED_SLIP_S = 0.3  # before a new gear is commanded no slip is told
SHOWN_SLIP_S = 2.0  # nor before one is shown, since it shows when the shift is over
SETTLE_S = 1.0
GEAR_LEAST_S = 5.0
STEADY_LEAST_S = 30.0
STEADY_OUTPUT_RPM = 300.0
STEADY_PER_S = 0.05
NUMBERS_PASS = 0.02
NUMBERS_FAIL = 0.04
FLARE_NOTE_RPM = 50.0
FLARE_LOOK_RPM = 150.0
FLARE_FAIL_RPM = 300.0
FLARE_S = 0.2
FLARE_AFTER_S = 1.5
FLARE_BESIDE_S = 0.5
SHOWN_LATE_BEFORE_S = 3.5  # a reported gear shows a shift when it is over: what is looked at before
SHOWN_LATE_AFTER_S = 1.2  # and after
SHOWN_LATE_SAMPLES_S = (0.25, 0.5, 0.75, 1.0, 1.25, 1.5)  # speeds are kept from so long before it shows a shift
TRANSIT_BESIDE_S = 0.3  # looked at, at least, before the gear was left and after the other was in
TRANSIT_STAY_S = 0.25  # in its band for so long, a gear was in
TRANSIT_MOST_S = 3.0
TRANSIT_BEFORE_S = 1.0
TRANSIT_FELL_BACK_S = 0.5
SHIFTS_LEAST = 10
LOCKED_SLIP = 0.01
LOCKED_SLIP_RPM = 50.0
LOCKED_SLIP_S = 1.0
FAST_ENGINE = 0.8
ON_LIMITER = 0.98
ON_LIMITER_S = 2.0
LIMITER_UPSHIFTS_LEAST = 3
DOWNSHIFTS_LEAST = 10

# pin, supply, temperature
PIN_RATE_HZ = 20.0
SETTLED_SAMPLES = 3
LOST_S = 0.2
EACH_COMMAND_LEAST = 20
EACH_MEANING_LEAST = 5
OUTSIDE_PRESSES = 2
OUTSIDE_SAMPLES = 10  # of one press that is outside by twice the reading error
OUTSIDE_IDLE_S = 5.0
TWO_HEAPS = 0.2  # of half a window
MARGIN_LOG_S = 1800.0
MARGIN_BLOCK_S = 300.0
MARGIN_BLOCKS = 200
MARGIN_BLOCKS_LEAST = 6
RUNNING_RPM = 400.0
SUPPLY_MORE_V = 0.1
SUPPLY_S = 0.1
SUPPLY_LEAST_S = 60.0
WARMER_K = 1.0
WARMER_S = 10.0
TEMPERATURE_GAP_S = 30.0  # a temperature is good for so long after its sample, if no data are missing
TEMPERATURE_LEAST_S = 600.0

# the script
DETENT_S = 0.5

MOST_FINDINGS = 200  # of each verdict in one check
MOST_RUNS = 500_000  # more changes than this in one channel are noise, not states
