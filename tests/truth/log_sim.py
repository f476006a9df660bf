"""A simulated drive: hand, contacts, pin, controller, gearbox and road, stepped at the controller's task period.

Contacts move in continuous time; the pin between two events follows its filter exactly. Speeds are stepped and may be
interpolated. The road: a point mass with drag, a grade and a pull that the throttle scales.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from tests.truth.log_defects import Planted
from tests.truth.log_sim_box import Controller, Seen, Shift
from tests.truth.log_sim_driver import Driver, Press
from tests.truth.log_sim_gearbox import Gearbox
from tests.truth.log_sim_truck import DOWN, LEVERS, MEANINGS, UP, Truck

CHANNELS = (
    "engine", "turbine", "output", "road", "throttle", "brake", "lockup", "supply", "oil", "ambient",
    "coder_temperature", "vertical", "gear_commanded", "gear", "lever", "mode", "tap_up", "tap_down", "meaning",
    "refused", "limp",
)  # fmt: skip
STEPPED = frozenset(CHANNELS[12:])  # hold their value between tasks, never interpolated


@dataclass
class Sim:
    """What truly happened. Arrays have one entry a task; speeds in rpm and m/s, angles none."""

    truck: Truck
    planted: Planted
    seed: int
    style: str
    t_s: np.ndarray
    values: dict[str, np.ndarray]
    gear_true: np.ndarray  # NaN while shifting, 0 in neutral
    leak_ohm: np.ndarray
    presses: list[Press]
    shifts: list[Shift]
    engagements: list[tuple[float, bool]]
    lever_moves: list[tuple[float, str]]
    contact_s: np.ndarray  # times from which a set of contacts holds
    contact_sets: list[frozenset[str]]
    accepted: list[tuple[float, str]] = field(default_factory=list)

    @property
    def length_s(self) -> float:
        return float(self.t_s[-1])

    def at(self, channel: str, t_s: np.ndarray) -> np.ndarray:
        """The true value of a channel at any times."""
        if channel == "pin":
            return self.pin_at(t_s)
        return sample(self.t_s, self.values[channel], t_s, channel in STEPPED)

    def set_at(self, t_s: float) -> frozenset[str]:
        return self.contact_sets[max(int(np.searchsorted(self.contact_s, t_s, side="right")) - 1, 0)]

    def settled_pin_v(self, index: int, t_s: np.ndarray) -> np.ndarray:
        """What the pin would settle to with one set of contacts, at the supply, heat, water and wear of these times."""
        coder, closed = self.truck.coder, self.contact_sets[index]
        heat = self.at("coder_temperature", t_s)
        volts = self.at("supply", t_s)
        leak = np.interp(t_s, self.t_s, 1.0 / self.leak_ohm)
        ground, supply = (leak, 0.0 * leak) if self.planted.leak_to == "ground" else (0.0 * leak, leak)
        wear = self.planted.wear_ohm * (t_s / self.length_s) ** 2 if self.planted.wear_contact in closed else 0.0 * t_s
        out = np.empty(len(t_s))
        for i in range(len(t_s)):
            g_inf = (math.inf if ground[i] <= 0 else 1.0 / ground[i], math.inf if supply[i] <= 0 else 1.0 / supply[i])
            ohm = coder.code_ohm(closed, float(heat[i]), float(wear[i]))
            out[i] = coder.pin_v(ohm, float(volts[i]), *g_inf)
        return out

    def pin_at(self, t_s: np.ndarray) -> np.ndarray:
        """Volts at the pin, with its filter: exponential from where the event before left it. [V]"""
        t_s = np.asarray(t_s, dtype=float)
        order = np.argsort(t_s, kind="stable")
        at = t_s[order]
        out = np.empty(len(at))
        tau = self.truck.coder.filter_s
        starts = np.append(self.contact_s, np.inf)
        left = float(self.settled_pin_v(0, np.array([0.0]))[0])
        cuts = np.searchsorted(at, starts, side="left")
        cuts[0] = 0
        for i in range(len(self.contact_sets)):
            chosen = slice(int(cuts[i]), int(cuts[i + 1]))
            if chosen.stop > chosen.start:
                t = at[chosen]
                # the slow causes need no finer grid than 50 ms
                grid = np.unique(np.concatenate([np.arange(t[0], t[-1], 0.05), t[[0, -1]]]))
                goal = np.interp(t, grid, self.settled_pin_v(i, grid))
                start = float(self.contact_s[i])
                begin = float(self.settled_pin_v(i, np.array([max(start, 0.0)]))[0])
                out[chosen] = goal + (left - begin) * np.exp(-np.maximum(t - start, 0.0) / tau)
            if math.isfinite(starts[i + 1]):
                end = float(self.settled_pin_v(i, np.array([starts[i + 1]]))[0])
                begin = float(self.settled_pin_v(i, np.array([max(float(self.contact_s[i]), 0.0)]))[0])
                left = end + (left - begin) * math.exp(-(starts[i + 1] - max(float(self.contact_s[i]), 0.0)) / tau)
        back = np.empty(len(at))
        back[order] = out
        return back


def sample(grid_s: np.ndarray, values: np.ndarray, t_s: np.ndarray, stepped: bool) -> np.ndarray:
    if not stepped:
        return np.interp(t_s, grid_s, values)
    return values[np.clip(np.searchsorted(grid_s, t_s, side="right") - 1, 0, len(values) - 1)]


def supply_noise(rng: np.random.Generator, times: np.ndarray, base_v: float) -> np.ndarray:
    """Charging voltage, loads that switch, ripple."""
    out = np.full(len(times), base_v)
    for _ in range(int(rng.integers(2, 7))):
        a = float(rng.uniform(0.0, times[-1]))
        out[(times > a) & (times < a + float(rng.uniform(2.0, 30.0)))] -= float(rng.uniform(0.1, 0.5))
    kernel = np.ones(9) / 9.0
    out = np.maximum(out, base_v - 0.9)
    return np.convolve(np.pad(out, 4, mode="edge"), kernel, mode="valid") + 0.03 * np.sin(times * 37.0)


def as_built(truck: Truck, planted: Planted) -> Truck:
    """The truck with its wheel station built from other parts; what is printed on them stays as the design says."""
    if planted.wheel_ohm == 1.0 and not planted.wheel_swapped:
        return truck
    ohm = dict(truck.coder.ohm)
    up, down = ohm["wheel_up"], ohm["wheel_down"]
    if planted.wheel_swapped:
        up, down = down, up
    ohm["wheel_up"], ohm["wheel_down"] = up * planted.wheel_ohm, down * planted.wheel_ohm
    return replace(truck, coder=replace(truck.coder, ohm=ohm))


def simulate(truck: Truck, planted: Planted, seed: int, length_s: float = 240.0, style: str = "drive") -> Sim:
    """One log's worth of truth. The same arguments give the same drive."""
    truck = as_built(truck, planted)
    driver = Driver(truck, planted, seed, length_s, style)
    length_s = driver.length_s
    rng = np.random.default_rng([seed, 7004])
    dt = truck.task_s
    n = round(length_s / dt) + 1
    t_all = np.arange(n) * dt
    engine_on = style != "key on"
    supply = supply_noise(rng, t_all, truck.supply_v if engine_on else 12.5)
    if planted.supply_v:
        inside = (t_all >= planted.supply_from_s) & (t_all < planted.supply_until_s)
        supply[inside] = supply[inside] + planted.supply_v
    coder_c = truck.ambient_c + (planted.coder_c + 8.0) * (1.0 - np.exp(-t_all / (0.25 * length_s)))
    if not planted.coder_c:
        coder_c = truck.ambient_c + 8.0 * (1.0 - np.exp(-t_all / 300.0))
    leak = (
        np.array([planted.leak_at(float(t)) for t in t_all]) if math.isfinite(planted.leak_ohm) else np.full(n, np.inf)
    )
    rows = {name: np.zeros(n) for name in CHANNELS}
    rows["supply"], rows["coder_temperature"] = supply, coder_c
    rows["ambient"] = np.full(n, truck.ambient_c)
    rows["oil"] = 60.0 + 25.0 * (1.0 - np.exp(-t_all / 400.0))
    rows["vertical"] = rough(rng, t_all)
    gear_true = np.zeros(n)
    controller, contact_s, contact_sets = simulate_steps(truck, planted, driver, rng, rows, gear_true, leak)
    return Sim(
        truck, planted, seed, style, t_all, rows, gear_true, leak, driver.presses, controller.shifts,
        controller.engagements, driver.lever_moves, np.array(contact_s), contact_sets,
        controller.accepted,
    )  # fmt: skip


def rough(rng: np.random.Generator, times: np.ndarray) -> np.ndarray:
    """Vertical acceleration: noise with jolts. [m/s²]"""
    out = rng.normal(0.0, 1.5, len(times))
    for _ in range(len(times) // 400):
        i = int(rng.integers(0, len(times)))
        out[i : i + 12] += float(rng.uniform(5.0, 25.0)) * np.sin(np.linspace(0, math.pi, len(out[i : i + 12])))
    return out


def simulate_steps(
    truck: Truck, planted: Planted, driver: Driver, rng: np.random.Generator, rows: dict[str, np.ndarray],
    gear_true: np.ndarray, leak: np.ndarray,
) -> tuple[Controller, list[float], list[frozenset[str]]]:  # fmt: skip
    """The loop over the controller's tasks; fills the rows in place, returns the history of the contacts too."""
    coder, dt, n = truck.coder, truck.task_s, len(gear_true)
    engine_on = driver.style != "key on"
    controller = Controller(truck, planted, rng)
    gearbox = Gearbox(truck, planted, rng, engine_on)
    noise = rng.normal(0.0, coder.noise_v, n)
    closed: frozenset[str] = frozenset()
    contact_s, contact_sets = [-1.0], [closed]
    left_v = coder.pin_v(coder.code_ohm(closed, 20.0), float(rows["supply"][0]))
    event_s = -1.0
    out = {name: rows[name] for name in rows}
    waiting: list[tuple[float, str, Press | None]] = []
    wear_c = planted.wear_contact
    length_s = (n - 1) * dt

    def settled(set_: frozenset[str], i: int) -> float:
        wear = planted.wear_at(i * dt, length_s) if wear_c in set_ else 0.0
        ohm = coder.code_ohm(set_, float(rows["coder_temperature"][i]), wear)
        to_ground = leak[i] if planted.leak_to == "ground" else math.inf
        to_supply = leak[i] if planted.leak_to == "supply" else math.inf
        return coder.pin_v(ohm, float(rows["supply"][i]), to_ground, to_supply)

    for i in range(n):
        now = i * dt
        lever = driver.lever_at(now)
        if lever != driver.lever:
            driver.move(now, lever)
            if truck.enable == "coded" and (lever == "M") != ("lever_manual" in closed):
                driver.events.append((now - 1e-6, "lever_manual", lever == "M"))
                driver.events.sort()
        events = driver.due(now)
        for t, contact, is_closed in events:
            vf = settled(closed, i)
            left_v = vf + (left_v - vf) * math.exp(-(t - event_s) / coder.filter_s)
            closed = closed | {contact} if is_closed else closed - {contact}
            event_s = t
            contact_s.append(t)
            contact_sets.append(closed)
        v_final = settled(closed, i)
        pin = v_final + (left_v - v_final) * math.exp(-(now - event_s) / coder.filter_s)
        reading = coder.reading(pin + noise[i], float(rows["supply"][i]))
        seen = Seen(
            reading, truck.lever_codes[lever], gearbox.engine_rpm, gearbox.turbine_rpm, gearbox.output_rpm,
            gearbox.throttle, gearbox.shift is not None, lever in ("D", "M") and engine_on,
        )  # fmt: skip
        command = controller.decode(now, reading)
        controller.update_mode(now, seen, bool(command))
        if command:
            waiting.append((now + truck.command_s, command, press_of(driver, now, closed)))
        while waiting and waiting[0][0] <= now:
            _, direction, press = waiting.pop(0)
            controller.tap(now, seen, direction, press)
        controller.act(now, seen)
        gearbox.step(now, dt, controller, lever, driver.want_speed(now), driver.full_throttle)
        if i % max(round(0.1 / dt), 1) == 0:
            driver.think(now, controller.gear, gearbox.engine_rpm, gearbox.shift is not None)
        shown = gearbox.shown_gear(controller.gear, lever)
        out["engine"][i], out["turbine"][i], out["output"][i] = (
            gearbox.engine_rpm, gearbox.turbine_rpm, gearbox.output_rpm,
        )  # fmt: skip
        out["road"][i], out["throttle"][i], out["brake"][i] = gearbox.v_m_per_s, gearbox.throttle, gearbox.brake
        out["lockup"][i] = gearbox.lock
        out["gear_commanded"][i] = -1 if lever == "R" and engine_on else controller.gear
        out["gear"][i] = planted.report.get(shown, shown)
        out["lever"][i] = LEVERS.index(lever)
        out["mode"][i] = controller.manual
        out["tap_up"][i], out["tap_down"][i] = controller.meaning == UP, controller.meaning == DOWN
        out["meaning"][i] = MEANINGS.index(controller.meaning)
        out["refused"][i] = now < controller.refused_until_s
        gear_true[i] = gearbox.true_gear(lever)
    for press in driver.presses:
        if not press.outcome:
            press.outcome = "not seen"
    return controller, contact_s, contact_sets


def press_of(driver: Driver, now_s: float, closed: frozenset[str]) -> Press | None:
    """The press that made the controller accept a command now, if there is one."""
    for press in reversed(driver.presses):
        if press.on_s <= now_s <= press.off_s + 0.15:
            return press
        if press.off_s < now_s - 5.0:
            break
    return None
