"""Lines to play on: generated trucks that are complete, with windows, in which the sound truck reads what it must.

They take turns over the forms and their variants, so that a short list has a bit of everything.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from tests.truth.generate import generate
from tests.truth.looks import Looks
from tests.truth.networks import potential
from tests.truth.truck import Truck
from tests.truth.writer import write

SOUND_TRUCKS = 200  # so many drawn ones must all read right


@dataclass(frozen=True)
class Playing:
    """`kind`: the form and its variant in words."""

    truck: Truck
    line_id: str
    kind: str

    @property
    def text(self) -> str:
        return file_text(self.truck)


def file_text(truck: Truck) -> str:
    """The design file. The writer marks a resistor as fixed now and then, as spelling; here none is."""
    return write(truck).replace(", fixed = true", "")


def kind_of(truck: Truck, line_id: str) -> str:
    """Form and variant: what feeds it, idle resistor, how taps are fed, stations."""
    line = truck.line(line_id)
    words = [line.form]
    if line.form == "ladder":
        words.append(f"to {line.ladder_to}")
    if line.form == "elements":
        words.append(f"on {line.source_side}")
    if line.idle_resistor is not None:
        words.append("far-end idle")
    if line.end_resistor is not None:
        words.append("end resistor")
    if line.enable is not None:
        words.append("taps through enable" if line.taps_through_enable else "taps direct")
    if line.series_diode is not None:
        words.append("series diode")
    if len({c.device for c in truck.contacts_of(line_id)}) > 1 and any(
        "wheel" in c.id for c in truck.contacts_of(line_id)
    ):
        words.append("two stations")
    return ", ".join(words)


def plays(truck: Truck, line_id: str) -> bool:
    """Whether the line is complete and a sound truck always reads what it must, whatever the edges."""
    try:
        looks = Looks(truck, line_id)
    except ValueError:
        return False
    pin = truck.input_of(looks.line)
    if not looks.windows or (pin.pull_up is None and pin.pull_down is None and looks.line.form != "divider"):
        return False
    rng = np.random.default_rng(truck.seed)
    nets = {name: looks.net(f"volts {name}") for name in looks.required}
    parts = {p for net in nets.values() for p in net.parts} | looks.rail_sources(nets.values())
    values = {p: looks.part(p).at(rng.random(SOUND_TRUCKS)) for p in sorted(parts)}
    rails = looks.rails(values)
    readings = {
        name: np.broadcast_to(looks.reading(potential(net, values, rails), rails), (SOUND_TRUCKS,))
        for name, net in nets.items()
    }
    right = {name: must for name, must in looks.right.items() if must is not None}
    return bool((looks.meanings_probability(readings, right)[1] == 1).all())


SEARCHED = 2000
KNOWN: dict[str, str] = {  # kind -> seeds of the generator below `SEARCHED` that play (and line id, unless "taps")
    "divider": (
        "67 192:b_taps 276 331 332 363 395 413 493 516 553 603 706 716 720 727 806 806:b_taps 844 924 941 948 "
        "998 1013 1046 1086 1090 1098 1124 1130 1281 1298 1356 1929"
    ),
    "divider, far-end idle": (
        "1 24 43 70 89 105 313 342 404 462 477 684 738 771 790 897 926 995 1138 1265 1343 1408 1536 1548 1564 "
        "1610 1757 1817 1986 1998"
    ),
    "divider, far-end idle, series diode": "48 731",
    "divider, far-end idle, taps through enable": "198 606 964 1053",
    "divider, far-end idle, taps through enable, two stations": "1016",
    "divider, series diode": "220 670 711 1165:b_taps",
    "divider, taps direct": "1105 1851 1872",
    "divider, taps direct, two stations": "318 1372",
    "divider, taps through enable": "822 991 1211 1526 1537 1627:b_taps 1963",
    "divider, taps through enable, series diode": "1259",
    "divider, taps through enable, two stations": "77 1535",
    "elements, on feed": (
        "33 82 93 264 302:b_taps 338 568 595 661 744:b_taps 903 1081 1133 1207 1347 1442 1533 1615 1717 1826 1848"
    ),
    "elements, on feed, series diode": "1480 1516",
    "elements, on return": (
        "123 130 149 171 186 298 331:b_taps 335 435 437 472 483 509 551 635 698 701 726 742 778 779 818 843 "
        "915 919 940 979 1026 1106 1119:b_taps 1144 1158 1163 1175 1225 1258 1264 1286 1385:b_taps 1394 1395 "
        "1414 1424:b_taps 1443 1462:b_taps 1472 1493 1585:b_taps 1594 1644 1708 1720 1823 1875 1879:b_taps "
        "1968 1994"
    ),
    "elements, on return, series diode": "1534 1571 1637",
    "ladder, to ground": (
        "55 206 207 235 254 534 583 630 633:b_taps 665 809 825 909 972 986 1007:b_taps 1042 1407 1609 1681 "
        "1738 1744 1889 1995"
    ),
    "ladder, to ground, end resistor": (
        "34 35 334 361 362 371 393 416 439 461 562 574 658 736 740 867 908 917 1080 1226 1271 1275 1283 1352 "
        "1353 1354 1646 1797"
    ),
    "ladder, to supply": "146 182 183:b_taps 209 1007 1073 1115 1402 1598 1601 1943 1958",
    "ladder, to supply, end resistor": "42 59 64 96 135 189 299 432 621 947 992 1166 1231 1541 1554 1799 1978",
    "pull-down": (
        "2 29 286 295 400 604 646 735 762 861 916 928 999 1043:b_taps 1049 1170 1230 1328 1429:b_taps 1465 "
        "1479 1499 1555 1765 1810 1829 1862 1981"
    ),
    "pull-down, far-end idle": (
        "116 165 418 510 601 740:b_taps 747 833 876 967 1014 1092 1199 1278 1292 1426 1508 1549 1662 1710 1857 1898"
    ),
    "pull-down, far-end idle, series diode": "1181 1316",
    "pull-down, far-end idle, taps direct": "723 756 1190 1595 1640",
    "pull-down, far-end idle, taps through enable": "808 1312 1592",
    "pull-down, far-end idle, taps through enable, two stations": "4 240 1033 1435 1540 1847",
    "pull-down, series diode": "668",
    "pull-down, taps direct": "9 272 1058 1854",
    "pull-down, taps direct, two stations": "1459",
    "pull-down, taps through enable": "347 367",
    "pull-down, taps through enable, two stations": "615 767 1552",
    "pull-up": (
        "36 40 50 87 124 157 183 191 219 231 236 242 253 260 262 290 292 301 324 378 407:b_taps 471 521 530 "
        "534:b_taps 557 563:b_taps 593 597 648 710 713 751 770 782 842 851 893 942 943:b_taps 950 1005:b_taps "
        "1014:b_taps 1038 1110 1116:b_taps 1141 1145 1155 1180 1289 1314 1319 1333 1335 1371 1377 1396 1481 "
        "1574 1581 1612:b_taps 1616 1668 1680 1729 1739 1841 1864 1880 1890 1897 1903 1906 1916"
    ),
    "pull-up, far-end idle": (
        "8 10 99 134 141 166 267 300 309 336 353 467 515 546 669 673:b_taps 675 677 693 696 788 791 863 901 "
        "918 959 1010:b_taps 1020:b_taps 1029:b_taps 1047 1113 1162 1171 1222 1236 1285 1363 1391 1462 1473 "
        "1575:b_taps 1576 1580 1627 1652 1676 1713 1736 1812:b_taps 1837 1895:b_taps 1954"
    ),
    "pull-up, far-end idle, series diode": "800",
    "pull-up, far-end idle, taps direct": "377:b_taps 1524 1702",
    "pull-up, far-end idle, taps direct, series diode": "68",
    "pull-up, far-end idle, taps direct, two stations": "349 1269 1274 1740",
    "pull-up, far-end idle, taps through enable, two stations": "1071 1194 1417",
    "pull-up, series diode": "238 450 943 969 1094 1186 1467 1699",
    "pull-up, taps direct": "305 329 480 590 633 1262 1530 1620 1819",
    "pull-up, taps direct, series diode": "1233",
    "pull-up, taps direct, two stations": "381 525 1509 1584 1597 1896",
    "pull-up, taps through enable": "127:b_taps 1089 1882",
    "pull-up, taps through enable, two stations": "120 1519 1575",
}


def _turns() -> Iterator[tuple[int, str]]:
    """(seed, line id): the known ones, kinds taking turns, then one seed after another."""
    lists = [KNOWN[k].split() for k in sorted(KNOWN)]
    for turn in itertools.zip_longest(*lists):
        for word in turn:
            if word is not None:
                seed, _, line_id = word.partition(":")
                yield int(seed), line_id or "taps"
    for seed in itertools.count(SEARCHED):
        for line in generate(seed).lines:
            yield seed, line.id


@lru_cache(maxsize=8)
def playing_trucks(n: int) -> tuple[Playing, ...]:
    """`n` lines, kinds taking turns, always the same ones. The first 43 are of 43 kinds; beyond 500 the generator is
    searched on, which takes about a third of a second for each."""
    out: list[Playing] = []
    for seed, line_id in _turns():
        if len(out) >= n:
            break
        truck = generate(seed)
        if plays(truck, line_id):
            out.append(Playing(truck, line_id, kind_of(truck, line_id)))
    return tuple(out)
