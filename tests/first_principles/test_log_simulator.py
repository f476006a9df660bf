"""The log simulator against first principles: what judges the log checks must itself be right.

Speeds against `pint`, forces against energy, the pin against the node equation in fractions, accepted taps against the
rule of windows and debounce, sampling against counting, the written file against what was sampled.
"""

from __future__ import annotations

import csv
import io
import math
import tomllib
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np
import pint
import pytest

from tests.truth import log_cycles, log_scripts
from tests.truth.log_defects import DEFECTS, Planted, can_be_planted, plant
from tests.truth.log_designs import design_text
from tests.truth.log_files_out import write
from tests.truth.log_loggers import Logged, make_logger, record
from tests.truth.log_oracle import tellable
from tests.truth.log_sim import Sim, simulate
from tests.truth.log_sim_box import Controller
from tests.truth.log_sim_gearbox import Gearbox
from tests.truth.log_sim_truck import BOX, Coder, closed_for, make_truck, reading_span

SEEDS = (0, 3, 8, 12)
SOUND_CAUSES = {"engage", "tap", "automatic", "limiter", "forced", "held"}


@pytest.fixture(scope="module")
def sound() -> list[Sim]:
    """Four sound drives of two minutes: both forms, both ways to enable, one and two stations."""
    sims = [simulate(make_truck(seed), Planted(), seed, 120.0) for seed in SEEDS]
    assert {s.truck.coder.form for s in sims} == {"pull-up", "pull-down"}
    assert {s.truck.enable for s in sims} == {"lever", "coded"}
    return sims


# ---------------------------------------------------------------- the road


def test_output_speed_is_what_pint_makes_of_it() -> None:
    units = pint.UnitRegistry()
    for seed in range(20):
        truck = make_truck(seed)
        v = 10.0 + seed
        turns = units.Quantity(v, "m/s") / units.Quantity(truck.circumference_m(v), "m/turn")
        expected = turns.to("turn/min").magnitude * truck.axle * truck.transfer
        assert truck.output_rpm(v) == pytest.approx(expected, rel=1e-12)


def test_a_speed_sum_by_hand() -> None:
    """Circumference 3.021 m, axle 5.00: at 100 km/h the wheel turns 551.7 times a minute, the shaft five times that."""
    truck = replace(make_truck(1), roll_m=3.021, growth=0.0, wear=0.0, axle=5.0, transfer=1.0)
    wheel = 100_000.0 / 60.0 / 3.021
    assert wheel == pytest.approx(551.7, abs=0.1)
    assert truck.output_rpm(100.0 / 3.6) == pytest.approx(5.0 * wheel, rel=1e-12)


def test_energy_is_kept() -> None:
    """Work of the engine less drag, rolling, grade and brake is the change of ½ m v², to rounding."""
    truck = make_truck(2)
    rng = np.random.default_rng(5)
    gearbox = Gearbox(truck, Planted(), rng, True)
    controller = Controller(truck, Planted(), rng, gear=2)
    gearbox.gear = 2
    gearbox.v_m_per_s = 6.0
    start = 0.5 * truck.mass_kg * gearbox.v_m_per_s**2
    slowest = math.inf
    for i in range(4000):
        want = 8.0 + 3.0 * math.sin(i / 700.0) + i / 1000.0
        gearbox.step(i * truck.task_s, truck.task_s, controller, "M", want, False)
        slowest = min(slowest, gearbox.v_m_per_s)
    end = 0.5 * truck.mass_kg * gearbox.v_m_per_s**2
    assert slowest > 1.0, "a stop would take energy out without counting it"
    assert abs(end - start) > 1000.0
    assert end - start == pytest.approx(gearbox.work_j[0] - gearbox.work_j[1] - gearbox.work_j[2], abs=1e-6 * end)


def test_the_way_is_the_turns_of_the_output(sound: list[Sim]) -> None:
    """Where no wheel spins: sum of turns ÷ reduction × circumference is the integral of the road speed."""
    for sim in sound:
        truck = replace(sim.truck, growth=0.0)
        v = sim.values["road"]
        turns = np.trapezoid(sim.values["output"], sim.t_s) / 60.0
        way = np.trapezoid(v, sim.t_s)
        by_turns = turns / sim.truck.reduction * truck.circumference_m(0.0)
        # growth makes the shaft slower (at most 1 %), spinning wheels make it faster now and then
        assert by_turns == pytest.approx(way, rel=0.03)


def test_settled_gears_have_their_ratio(sound: list[Sim]) -> None:
    for sim in sound:
        for gear, ratio in enumerate(sim.truck.ratios, 1):
            here = (sim.gear_true == gear) & (sim.values["output"] > 50.0)
            q = sim.values["turbine"][here] / sim.values["output"][here]
            assert np.allclose(q, ratio, rtol=1e-9)


def test_a_locked_converter_does_not_slip_more_than_it_may(sound: list[Sim]) -> None:
    for sim in sound:
        locked = (sim.values["lockup"] >= 0.999) & (sim.gear_true > 0)
        engine, turbine = sim.values["engine"][locked], sim.values["turbine"][locked]
        if len(engine):
            assert np.max(1.0 - turbine / engine) <= sim.truck.slip_locked + 1e-9
    assert sum(bool(np.any(s.values["lockup"] >= 0.999)) for s in sound) >= 3


def test_a_sound_truck_does_nothing_that_a_check_may_call_a_fault(sound: list[Sim]) -> None:
    for sim in sound:
        assert {s.cause for s in sim.shifts} <= SOUND_CAUSES
        assert sim.values["engine"].max() <= sim.truck.most_rpm
        for shift in sim.shifts:
            assert shift.cause == "engage" or abs(shift.new - shift.old) == 1
            if shift.new < shift.old:
                output = float(sim.at("output", np.array([shift.command_s]))[0])
                assert output * sim.truck.ratios[shift.new - 1] <= sim.truck.most_rpm
        assert BOX.supply_low_v < sim.values["supply"].min() and sim.values["supply"].max() < BOX.supply_high_v


# ---------------------------------------------------------------- the pin


def test_the_pin_by_the_node_equation_in_fractions() -> None:
    """5 V over 1 kΩ, 620 Ω ∥ 3900 Ω to ground: r = 535/1535 (textbook divider)."""
    coder = Coder("pull-up", 1000.0, 1000.0, 5.0, {"lever_down": 620.0}, {"lever_down": 620.0}, 3900.0, 3900.0,
                  {}, 0.0, 1e-3, 0.0, 0.0, 0.0)  # fmt: skip
    parallel = Fraction(620 * 3900, 620 + 3900)
    expected = 5 * parallel / (parallel + 1000)
    ohm = coder.code_ohm(frozenset({"lever_down"}), 20.0)
    assert ohm == pytest.approx(float(parallel), rel=1e-12)
    assert coder.pin_v(ohm, 13.8) == pytest.approx(float(expected), rel=1e-12)
    # a leak of 5 kΩ to ground is one more resistor in parallel
    with_leak = 1 / (1 / parallel + Fraction(1, 5000))
    assert coder.pin_v(ohm, 13.8, 5000.0) == pytest.approx(float(5 * with_leak / (with_leak + 1000)), rel=1e-12)


def test_between_events_the_pin_follows_its_filter(sound: list[Sim]) -> None:
    """One time constant after an event 1/e of the jump is left; ten later nothing."""
    tried = 0
    for sim in sound:
        tau = sim.truck.coder.filter_s
        for i in range(1, len(sim.contact_s) - 1):
            t = float(sim.contact_s[i])
            if min(t - sim.contact_s[i - 1], sim.contact_s[i + 1] - t) < 12.0 * tau or t < 1.0:
                continue
            before, one, ten = sim.pin_at(np.array([t - 1e-9, t + tau, t + 10.0 * tau]))
            if abs(ten - before) < 0.05:
                continue
            assert (one - ten) / (before - ten) == pytest.approx(math.exp(-1.0), abs=0.01)
            tried += 1
    assert tried > 20


def test_every_part_of_the_box_reads_inside_its_span() -> None:
    """Trucks drawn from the inside of the box: the corners bound them all."""
    rng = np.random.default_rng(1)
    for seed in range(10):
        truck = make_truck(seed)
        for meaning in truck.coder.windows:
            closed = closed_for(truck, meaning)
            low, high = reading_span(truck.coder, closed)
            for _ in range(40):
                drop = (BOX.drop_low_v, BOX.drop_high_v) if truck.coder.form == "pull-down" else (-0.05, 0.05)
                trial = replace(
                    truck.coder,
                    ohm={k: v * rng.uniform(0.985, 1.015) for k, v in truck.coder.marked_ohm.items()},
                    idle_ohm=truck.coder.marked_idle_ohm * rng.uniform(0.985, 1.015),
                    pull_ohm=truck.coder.marked_pull_ohm * rng.uniform(0.98, 1.02),
                    contact_ohm=rng.uniform(0.0, BOX.closed_ohm), offset_v=rng.uniform(*drop), reference_v=5.0,
                )  # fmt: skip
                volts = rng.uniform(BOX.supply_low_v, BOX.supply_high_v)
                pin = trial.pin_v(trial.code_ohm(closed, 20.0), volts, rng.uniform(5e4, 1e7), rng.uniform(2e5, 1e8))
                assert low - 1e-12 <= trial.reading(pin, volts) <= high + 1e-12
            window = truck.coder.windows[meaning]
            assert window[0] <= low + 1e-12 and high <= window[1], "the design's own proof must hold"


def test_what_is_accepted_lay_in_its_window_for_the_debounce_time(sound: list[Sim]) -> None:
    seen = 0
    for sim in sound:
        coder, truck = sim.truck.coder, sim.truck
        for t, meaning in sim.accepted:
            times = t - np.arange(0.0, truck.debounce_s - 0.5 * truck.task_s, truck.task_s)
            pin, volts = sim.pin_at(times), sim.at("supply", times)
            low, high = coder.windows[meaning]
            readings = np.array([coder.reading(p, v) for p, v in zip(pin, volts, strict=True)])
            slack = 5.0 * coder.noise_v / (5.0 if coder.form == "pull-up" else 11.0)
            assert np.all((readings > low - slack) & (readings < high + slack))
            seen += 1
    assert seen > 40


def test_long_presses_arrive_once_and_short_ones_never(sound: list[Sim]) -> None:
    for sim in sound:
        truck = sim.truck
        for press in sim.presses:
            close = [t for t, m in sim.accepted if press.on_s < t < press.off_s + truck.debounce_s + 0.05]
            alone = sum(p.on_s < press.off_s + 0.3 and p.off_s > press.on_s - 0.3 for p in sim.presses) == 1
            lever_still = all(abs(t - press.on_s) > 1.0 and abs(t - press.off_s) > 1.0 for t, _ in sim.lever_moves)
            if alone and lever_still and press.off_s - press.on_s > truck.debounce_s + 2.0 * truck.task_s + 0.006:
                assert len(close) == 1, press


def test_a_tap_becomes_a_shift_in_the_time_that_the_box_takes(sound: list[Sim]) -> None:
    """Bounce, debounce, at most two tasks, the command's own time; then torque and inertia phase."""
    for sim in sound:
        truck = sim.truck
        for press in sim.presses:
            if press.outcome != "step":
                continue
            shift = sim.shifts[press.shift]
            late = shift.command_s - press.on_s
            assert truck.debounce_s - 1e-9 <= late <= 0.006 + truck.debounce_s + truck.command_s + 4.0 * truck.task_s
            if not math.isnan(shift.end_s):
                assert shift.end_s - shift.begin_s == pytest.approx(truck.torque_s + truck.inertia_s, rel=0.12)


# ---------------------------------------------------------------- planted defects


@pytest.mark.parametrize("kind", [k for k in DEFECTS if k != "stations_differ"])
def test_a_planted_defect_is_there(kind: str) -> None:
    """Each kind shows in the truth of at least one of a few drives, in its own way."""
    shown = False
    for seed in range(40, 52):
        truck = make_truck(seed)
        if not can_be_planted(kind, truck):
            continue
        planted = plant(kind, truck, seed, 150.0)
        sim = simulate(truck, planted, seed, 150.0)
        causes = [s.cause for s in sim.shifts]
        outcomes = [p.outcome for p in sim.presses]
        v = sim.values
        shown = {
            "wrong_lever_code": planted.design_lever_code not in (-1, truck.lever_codes["M"]),
            "never_manual": not v["mode"].any() and len(outcomes) > 0,
            "missed": "missed" in outcomes, "doubled": "doubled" in causes, "reversed": "reversed" in outcomes,
            "unasked": "unasked" in causes, "bounce": "doubled" in causes,
            "slow_shift": any(s.end_s - s.begin_s > 0.8 for s in sim.shifts if s.cause != "engage"),
            "flare": any((s.old, s.new) in planted.flare_rpm for s in sim.shifts),
            "slip": bool(planted.slip) and max(planted.slip.values()) >= 0.015,
            "overspeed": bool(v["engine"].max() > truck.most_rpm),
            "pin_drift": math.isfinite(planted.leak_ohm) or planted.wear_ohm > 0.0,
            "false_command": command_from_water(sim),
            "wrong_gear": bool(np.any(v["gear"] != np.array([g if g == g else -9 for g in sim.gear_true]))),
            "wrong_driveline": planted.design_axle != 1.0 or planted.design_roll != 1.0,
            "supply_low": v["supply"].min() < 11.9, "hot": v["coder_temperature"].max() > 75.0,
            "limiter_below_line": planted.limiter_rpm < truck.up_line_rpm,
        }[kind]  # fmt: skip
        if shown:
            break
    assert shown


def command_from_water(sim: Sim) -> bool:
    """A command was accepted while no button was pressed."""
    return any(all(not p.on_s <= t <= p.off_s + 0.2 for p in sim.presses) for t, _ in sim.accepted)


def test_missed_taps_come_as_often_as_planted() -> None:
    """Binomial: the count of several drives lies within four standard deviations of p."""
    missed = valid = 0
    for seed in range(6):
        sim = simulate(make_truck(seed), Planted("missed", miss_p=0.3), seed, 200.0)
        missed += sum(p.outcome == "missed" for p in sim.presses)
        valid += sum(p.outcome in ("missed", "step", "refused", "held, then step") for p in sim.presses)
    assert valid > 80
    assert abs(missed - 0.3 * valid) < 4.0 * math.sqrt(valid * 0.3 * 0.7)


def test_the_same_seed_is_the_same_drive() -> None:
    one, two = (simulate(make_truck(7), Planted(), 7, 60.0) for _ in range(2))
    assert all(np.array_equal(one.values[k], two.values[k]) for k in one.values)
    other = simulate(make_truck(7), Planted(), 8, 60.0)
    assert not np.array_equal(one.values["road"], other.values["road"])


# ---------------------------------------------------------------- loggers


def logged_of(sim: Sim, seed: int, profile: str, clean: bool = True) -> Logged:
    return record(sim, make_logger(seed, sim.truck, sim.length_s, profile=profile, clean=clean), seed)


def test_channels_have_their_rate_delay_and_noise(sound: list[Sim]) -> None:
    for sim, profile in zip(sound, ("full", "bus", "wires", "poll"), strict=True):
        logged = logged_of(sim, sim.seed, profile)
        for role, samples in logged.samples.items():
            channel = samples.channel
            assert len(samples.at_s) == pytest.approx(sim.length_s * channel.rate_hz, rel=0.03, abs=4)
            wait = samples.shown_s - samples.at_s - channel.delay_s
            assert np.all(wait >= -1e-6) and np.all(wait <= 1.5 / logged.logger.row_hz + 1e-6)
            if role in ("turbine", "oil", "supply") and len(samples.at_s) > 200:
                off = samples.values - sim.at(role, samples.at_s)
                expected = math.hypot(channel.sigma, channel.quantum / math.sqrt(12.0))
                assert float(np.std(off)) == pytest.approx(expected, rel=0.15)
                assert abs(float(np.mean(off))) < 5.0 * expected / math.sqrt(len(off)) + 1e-9 + 0.02 * channel.quantum


def test_a_short_press_hides_between_samples_as_often_as_it_should() -> None:
    """80 ms at 10 Hz is missed by one press in five (counting: 1 − 80/100)."""
    rng = np.random.default_rng(3)
    begin = rng.uniform(10.0, 1000.0, 20_000)
    hit = np.ceil(begin * 10.0) / 10.0 <= begin + 0.080
    assert float(np.mean(hit)) == pytest.approx(0.8, abs=4.0 * math.sqrt(0.16 / 20_000))


@pytest.mark.parametrize("seed", range(0, 24, 3))
def test_the_file_holds_what_was_sampled(seed: int, tmp_path: Path, sound: list[Sim]) -> None:
    """Read back with nothing but the map: every row of every channel, to the digits that are printed."""
    sim = sound[seed % 4]
    logged = record(sim, make_logger(seed, sim.truck, sim.length_s), seed)
    log, map_ = write(logged, tmp_path, "one", seed)
    told = tomllib.loads(map_.read_text(encoding="utf-8"))
    text = log.read_bytes().decode(told["file"]["encoding"]).removeprefix("\ufeff")
    rows = list(csv.reader(io.StringIO(text), delimiter=told["file"]["delimiter"]))[told["file"]["skip_lines"] :]
    body = rows[2 if told["file"]["unit_row"] else 1 :]
    assert len(body) == len(logged.row_s) + logged.logger.duplicates
    heads = [each.split(" [")[0].split(" (")[0] for each in rows[0]]
    for entry in told["channel"]:
        role = entry["role"].split(".")[0]
        samples, channel = logged.samples[role], logged.samples[role].channel
        cells = [row[heads.index(entry["header"])] for row in body]
        filled = [c for c in cells if c != ""]
        assert filled or len(samples.values) == 0
        if channel.unit == "code":
            words = {str(v): v for v in range(-1, 12)} | {w: v for v, w in channel.words.items()}
            assert {words[c] for c in filled} == {int(v) for v in samples.values}
        elif logged.logger.habit != "straight":
            factor, offset = channel.scale
            numbers = {round(float(c.replace(",", ".")), channel.digits) for c in filled}
            wanted = {round(float(v * factor + offset), channel.digits) + 0.0 for v in samples.values}
            assert max(min(abs(n - w) for w in wanted) for n in list(numbers)[:50]) < 0.51 * 10.0**-channel.digits


def test_design_files_are_plain_toml() -> None:
    for seed in range(12):
        truck = make_truck(seed)
        parsed = tomllib.loads(design_text(truck, Planted(design_axle=1.1)))
        assert float(parsed["drive"]["axle"]["ratio"]["value"]) == pytest.approx(1.1 * truck.axle, rel=1e-5)
        assert len(parsed["drive"]["gear"]) == len(truck.ratios)
        assert parsed["line"][0]["form"] == truck.coder.form


# ---------------------------------------------------------------- the oracle


def test_nothing_can_be_told_without_the_channel_that_shows_it() -> None:
    for kind, gone in (
        ("missed", ("tap_up", "tap_down", "meaning", "pin")), ("hot", ("coder_temperature",)), ("flare", ("turbine",)),
        ("supply_low", ("supply",)), ("wrong_lever_code", ("lever",)), ("pin_drift", ("pin",)),
        ("wrong_gear", ("gear",)),
    ):  # fmt: skip
        truck = next(t for t in map(make_truck, range(60, 90)) if can_be_planted(kind, t))
        planted = plant(kind, truck, truck.seed, 150.0)
        sim = simulate(truck, planted, truck.seed, 150.0)
        logger = make_logger(truck.seed, truck, 150.0, profile="full", clean=True)
        less = replace(logger, channels=tuple(c for c in logger.channels if c.role not in gone))
        assert not tellable(record(sim, less, 1), planted).tellable


def test_a_fast_clean_log_tells_missed_taps_and_a_noisy_slow_one_does_not() -> None:
    truck, planted = make_truck(0), Planted("missed", miss_p=0.4)
    sim = simulate(truck, planted, 0, 200.0)
    assert any(p.outcome == "missed" for p in sim.presses)
    logger = make_logger(0, truck, 200.0, profile="full", clean=True)
    keep = tuple(
        c for c in logger.channels if c.role in ("engine", "output", "gear_commanded", "mode", "pin", "supply")
    )
    good = tellable(record(sim, replace(logger, channels=keep), 0), planted)
    assert good.tellable and good.p > 0.95
    for at, until in good.stretches:
        assert any(p.outcome == "missed" and at - 0.01 <= p.on_s <= until for p in sim.presses)
    noisy = tuple(replace(c, sigma=3.0 if c.unit == "V" else 3000.0) if c.role == "pin" else c for c in keep)
    bad = tellable(record(sim, replace(logger, channels=noisy), 0), planted)
    assert bad.p < good.p


def test_sound_logs_have_nothing_to_tell() -> None:
    """Asked for a defect that is not there, the oracle finds no event."""
    truck = make_truck(3)
    sim = simulate(truck, Planted(), 3, 120.0)
    logged = logged_of(sim, 3, "full")
    for kind in ("missed", "doubled", "reversed", "unasked", "bounce", "overspeed", "pin_drift", "supply_low", "hot"):
        assert not tellable(logged, replace(Planted(), kind=kind)).tellable


# ---------------------------------------------------------------- scripts and cycles


def test_scripted_sessions_count_what_was_pressed() -> None:
    for seed in (1, 3, 5):
        session = log_scripts.key_on(seed)
        phases = tomllib.loads(session.script)["phase"]
        counted = next(p for p in phases if p["kind"] == "key on, engine off")
        extra = session.planted.startswith("a press")
        assert counted["up"] == sum(p.direction == "up" for p in session.logged.sim.presses) + extra
        assert len(session.logged.sim.accepted) == len(session.logged.sim.presses)
    drive = log_scripts.drive(2, 150.0)
    phase = tomllib.loads(drive.script)["phase"][0]
    steps = sum(s.cause == "tap" for s in drive.logged.sim.shifts)
    refused = phase.get("refused_up", 0) + phase.get("refused_down", 0)
    missed = sum(p.outcome == "missed" for p in drive.logged.sim.presses)
    assert phase["up"] + phase["down"] - refused - missed == steps
    assert not drive.logged.has("tap_up") and not drive.logged.has("pin")


CYCLE_FACTS = {"udds": (1369, 11.9904, 91.25), "hwfet": (765, 16.5068, 96.40), "us06": (600, 12.8876, 129.23),
               "wltc_3b": (1800, 23.2663, 131.30)}  # fmt: skip


@pytest.mark.parametrize("name", CYCLE_FACTS)
def test_the_cycles_are_the_published_ones(name: str) -> None:
    """Duration, distance (trapezoid) and top speed; US cycles also as remembered from their publishers (memory)."""
    seconds, speed = log_cycles.speeds(name)
    duration, way_km, top = CYCLE_FACTS[name]
    assert seconds[-1] - seconds[0] == duration
    assert np.trapezoid(speed, seconds) / 1000.0 == pytest.approx(way_km, abs=1e-4)
    assert speed.max() * 3.6 == pytest.approx(top, abs=0.005)


def test_the_recorded_city_follows_its_schedule() -> None:
    """The dynamometer's speed against the schedule: 0.34 mph root mean square, at no lag (computed from both files)."""
    t, schedule = log_cycles.speeds("udds")
    recorded_s, recorded = log_cycles.speeds("dyno_measured_city")
    off = np.interp(t, recorded_s, recorded) - schedule
    assert math.sqrt(float(np.mean(off**2))) * 3600.0 / log_cycles.MILE_M == pytest.approx(0.338, abs=0.02)


@pytest.mark.parametrize("name", ["udds", "us06"])
def test_cycle_signals_follow_the_ratios(name: str) -> None:
    cycle = log_cycles.make_cycle(name, 4)
    ratios = np.array(log_cycles.example()["ratios"])
    settled = np.isfinite(cycle.gear) & (cycle.output_rpm > 50.0)
    q = cycle.turbine_rpm[settled] / cycle.output_rpm[settled]
    assert np.allclose(q, ratios[cycle.gear[settled].astype(int) - 1], rtol=1e-9)
    able = settled & (np.nan_to_num(cycle.gear) >= 2)
    assert float(np.mean(cycle.lockup[able] > 0.5)) == pytest.approx(0.5, abs=0.12)
    assert np.all(cycle.engine_rpm >= cycle.turbine_rpm - 1e-9)
    assert len(set(cycle.delays_s.values())) == len(cycle.delays_s)


def test_gears_can_be_told_on_the_cycles() -> None:
    """A plain teller keeps wrong under 0.2 % and unknown under 10 %, so the product can be asked to."""
    for name in ("udds", "wltc_3b"):
        cycle = log_cycles.make_cycle(name, 0)
        got = log_cycles.score(cycle, cycle.rows_s - cycle.rows_s[0], log_cycles.plain_teller(cycle))
        assert got.samples > 5000 and got.wrong_share < 0.002 and got.unknown_share < 0.10
        upside_down = 7.0 - log_cycles.plain_teller(cycle)
        assert log_cycles.score(cycle, cycle.rows_s - cycle.rows_s[0], upside_down).wrong_share > 0.5
