"""Does the harness engine agree with the slow checker? On generated run trees, whole trucks and plain sums.

    python3 dev.py truth 1000 --harness             a thousand of each, seeds 0 to 999
    python3 dev.py truth 200 --harness --seed 7000  two hundred from seed 7000

For each seed a run tree with nets of any shape (`agree_harness_layout`), a whole truck from the text of a design file
(`agree_harness_trucks`), and rules on plain numbers, here. These three know the product; the checker `wiring_trees`
does not.
"""

from __future__ import annotations

import math
import random
from collections import Counter
from fractions import Fraction

from tests.truth import wiring_trees as wt
from tests.truth.agree_harness_layout import Outcome, compare_wiring
from tests.truth.agree_harness_trucks import compare_truck, judge_bundle
from tests.truth.runner import command, run_seeds

OUTSIDES_MM = ("1.6", "1.61", "1.9", "2.1", "2.4", "3.0", "3.7", "4.3", "6.0")  # invented
TUBES_MM = ("1.6/0.8", "2.4/1.2", "3.2/1.6", "4.8/2.4", "6.4/2.1", "9.5/3.2", "12.7/4.2", "19/6.4")  # of the page
SLEEVES_MM = (3, 4, 6, 8, 10, 13, 16, 20, 25, 32, 40)  # of the page


def compare_sums(seed: int, out: Outcome) -> None:
    """Stagger, current, ohms, fuses, bundles, tubes on plain numbers; many at the very edge of a rule."""
    rng = random.Random(f"sums {seed}")
    out.seen["sums"] += 1
    _stagger(rng, out)
    _conductors(rng, out)
    _fuses(rng, out)
    _covers(rng, out, packed=seed % 25 == 0)


def _stagger(rng: random.Random, out: Outcome) -> None:
    from pinproof.harness import stagger
    from pinproof.harness.stagger import slots_mm

    first, last, splice = rng.randint(0, 300), rng.randint(300, 900), rng.choice([40, 150])
    slots = slots_mm(first, last, splice)
    out.same("sums: slots", list(range(first, last + 1, splice + 25)), slots)
    slopes = [rng.randint(-4, 4) for _ in range(rng.randint(0, min(len(slots), 5)))]
    found = stagger(slots, slopes)
    page = wt.page_slots(slots, slopes)
    out.same("sums: stagger", sorted(zip(slopes, page, strict=True)), sorted(zip(slopes, found, strict=True)))
    shift = sum(c * x for c, x in zip(slopes, found, strict=True))
    ends = slots if len(slots) < 2 * len(slopes) else [*slots[: len(slopes)], *slots[len(slots) - len(slopes) :]]
    out.same("sums: least shift", wt.least_shift(ends, slopes), shift)


def _conductors(rng: random.Random, out: Outcome) -> None:
    from pinproof.harness import size as rule
    from pinproof.tables import awg_area_m2

    size: str | int = rng.choice([*wt.MM2, *wt.AWG, "0.9", "1.25", "3.1"])
    area = wt.area_mm2(size)
    area_m2 = awg_area_m2(size) if isinstance(size, int) else float(area) * 1e-6
    out.near(f"sums: area {size}", area / 10**6, area_m2)
    out.near(f"sums: ohms {size}", wt.ohm_per_m(size), rule.ohm_per_m(area_m2))
    temp_c = Fraction(rng.randint(-20, 180))
    out.near(
        f"sums: warm ohms {size}",
        wt.at_temperature(wt.ohm_per_m(size), temp_c),
        rule.hot_ohm_per_m(area_m2, float(temp_c)),
    )
    loaded = rng.randint(0, 45)
    wires = rng.randint(loaded, 120)
    k = wt.bundle_factor(loaded, wires)
    out.near(f"sums: bundle factor {loaded} of {wires}", k, rule.bundle_factor(loaded, wires))
    rated, ambient = (
        Fraction(rng.choice([85, 100, 105, 125, 150, 200, 260])),
        Fraction(rng.choice([-10, 20, 70, 80, 105, 150])),
    )
    column = wt.column_c(rated)
    table = wt.table_a(size, column)
    assert table is not None
    allowed = wt.allow_squared(table, Fraction(column), rated, ambient, k)
    what = f"{size}, rated {rated}, at {ambient} °C, factor {k}"
    found = rule.allow_a(area_m2, float(rated), float(ambient), float(k))
    out.near(f"sums: allowed current: {what}", math.sqrt(allowed), found)
    carries = Fraction(rng.randint(3, 90))
    stated = wt.allow_squared(carries, rated, rated, ambient, k)
    own = rule.allow_a(area_m2, float(rated), float(ambient), float(k), float(carries))
    out.near(f"sums: stated current: {what}", math.sqrt(stated), own)
    amp = Fraction(rng.randint(0, 300), 10)
    hot = wt.wire_c(ambient, rated, amp, allowed)
    warm = rule.wire_temp_c(float(ambient), float(rated), float(amp), found)
    if hot is None:
        out.same("sums: wire temperature", True, math.isinf(warm))
    else:
        out.near(f"sums: wire temperature: {what}, {amp} A", hot, warm)


def _fuses(rng: random.Random, out: Outcome) -> None:
    from pinproof.harness.fuse import Peak, fuse_for, judge_fuse

    family = rng.choice(["medium", "mini", "maxi"])
    ratings = wt.RATINGS_A[family]
    rating = Fraction(rng.choice(ratings))
    amp = rating * rng.choice(
        [Fraction(4, 5), Fraction(79, 100), Fraction(81, 100), Fraction(rng.randint(1, 120), 100)]
    )
    percents = [110, 111, 135, 136, 160, 200, 201, 350, 600, 601, rng.randint(50, 700)]
    seconds = ["0.02", "0.019", "0.04", "0.15", "0.149", "0.25", "0.75", "0.74", "1000"]
    peaks = [(rating * rng.choice(percents) / 100, Fraction(rng.choice(seconds))) for _ in range(rng.randint(0, 3))]
    given = [Peak(f"load{n}", float(a), float(s)) for n, (a, s) in enumerate(peaks)]
    words = {wt.inrush_passes(rating, a, s) for a, s in peaks} | ({"fail"} if amp > rating * 8 / 10 else set())
    verdict = next((word for word in ("fail", "not shown") if word in words), "pass")
    what = f"{float(rating)} A, {float(amp)} A, {[(float(a), float(s)) for a, s in peaks]}"
    out.same(f"sums: fuse verdict: {what}", verdict, judge_fuse(float(rating), float(amp), given).verdict)
    page, found = wt.fuse_for(amp, peaks, ratings), fuse_for(float(amp), given, family)
    chosen = float(page) if page is not None else None
    out.same(f"sums: fuse chosen: {what}", chosen, found.rating_a if found.verdict == "pass" else None)


def _covers(rng: random.Random, out: Outcome, *, packed: bool) -> None:
    from pinproof.harness import bundle_m, shrink_for
    from pinproof.harness.bundle import sleeve_for, supports

    count = rng.choice([1, 2, 2, 3, 3, 3, 4, 5, 6, 7, 8, 9, 12, 19, 25])
    few = rng.sample(OUTSIDES_MM, rng.choice([1, 1, 2, 3]))
    diameters = [float(rng.choice(few)) for _ in range(count)]
    found = bundle_m([each / 1000 for each in diameters])
    judge_bundle(out, f"sums {diameters}", diameters, found.diameter_m * 1000, found.exact)
    if packed and found.exact and count < 6:
        alike = min(diameters) >= 0.99 * max(diameters)  # the page takes them all for the thickest
        held = wt.packing_mm([max(diameters)] * count if alike else diameters)
        ratio = found.diameter_m * 1000 / held
        out.same(f"packing: {diameters}: {ratio}", True, 1 - 1e-4 <= ratio <= 1 + 1e-9)
    tubes = [tuple(Fraction(each) for each in row.split("/")) for row in TUBES_MM]
    supplied, recovered = rng.choice(tubes)
    thick = rng.choice([supplied * 8 / 10, recovered * 11 / 10, Fraction(rng.randint(50, 2000), 100)])
    page = wt.shrink_for(thick, [(each[0], each[1]) for each in tubes])
    tube = shrink_for(float(thick) / 1000)
    shown = None if tube is None else tuple(round(each * 1000, 6) for each in tube)
    out.same(
        f"sums: shrink over {float(thick)} mm", None if page is None else tuple(float(each) for each in page), shown
    )
    wide = rng.choice([Fraction(rng.choice(SLEEVES_MM)) * 8 / 10, Fraction(rng.randint(10, 3500), 100)])
    sleeve = sleeve_for(float(wide) / 1000)
    least = next((each for each in SLEEVES_MM if each >= wide * 125 / 100), None)
    out.same(f"sums: sleeve over {float(wide)} mm", least, None if sleeve is None else round(sleeve * 1000, 6))
    support, end = rng.choice([200, 150, 610]), rng.choice([80, 50])
    length = rng.choice([2 * end, 2 * end + 1, 2 * end + 3 * support, 2 * end + 3 * support + 1, rng.randint(1, 5000)])
    what = f"sums: supports of {length} mm, {end}, {support}"
    out.same(what, wt.supports(length, support, end), supports(length / 1000, end / 1000, support / 1000))


def compare(seed: int) -> Outcome:
    """All of one seed."""
    out = Outcome(seed)
    compare_wiring(seed, out)
    compare_truck(seed, out)
    compare_sums(seed, out)
    return out


def run(count: int, start: int, jobs: int) -> tuple[int, Counter[str]]:
    """Compare `count` seeds and print what differs; the number of seeds that disagree, and what was compared."""
    return run_seeds(compare, count, start, jobs)


if __name__ == "__main__":
    command("--harness", 300, run)
