"""The shipped typeface, cut down to the characters of one page, so that the page carries it along.

Answers: which bytes does a page need so that every text on it is as wide as it was measured?
Touches: the shipped typeface files, through `pinproof.drawings.measure`.
Sources: OpenType specification (ISO/IEC 14496-22): table directory, checksums, glyf, loca, cmap format 4, post 3.0.

The cut-down files carry a name of their own, as the SIL Open Font License asks of changed versions. Kerning and
ligatures are left out: a text is as wide as the sum of its advances.
"""

from __future__ import annotations

import base64
import struct
from collections.abc import Iterable, Sequence

from pinproof.drawings.measure import Face, face

FAMILY = "Pinproof Text"
_KEPT = ("OS/2", "cvt ", "fpgm", "gasp", "prep")


def font_css(characters: Iterable[str]) -> str:
    """Style rules that carry the glyphs of these characters. A face that has none of them is left out."""
    wanted = sorted({ord(each) for each in characters})
    rules = []
    strong = face("strong")
    for name, family, weight in (("regular", FAMILY, "400"), ("strong", FAMILY, "600"), ("second", FAMILY + " 2", "")):
        one = face(name)
        codes = [code for code in wanted if code in one.glyphs and (name != "second" or code not in strong.glyphs)]
        if not codes:
            continue
        data = base64.b64encode(subset(one, codes, family)).decode("ascii")
        weighted = f"font-weight:{weight};" if weight else ""
        rules.append(
            f'@font-face{{font-family:"{family}";{weighted}src:url(data:font/ttf;base64,{data}) format("truetype")}}'
        )
    return "\n".join(rules)


def subset(one: Face, codes: Sequence[int], family: str) -> bytes:
    """A TrueType file with the glyphs of these character codes only; glyph numbers stay as they are.

    Raises
    ------
    ValueError
        If the face has no TrueType outlines.
    """
    if "glyf" not in one.tables:
        raise ValueError("only typefaces with TrueType outlines can be cut down")
    mapped = {code: one.glyphs[code] for code in codes}
    outlines = _outlines(one, mapped.values())
    count = max(outlines) + 1
    body, places = bytearray(), []
    for glyph in range(count):
        places.append(len(body))
        outline = outlines.get(glyph, b"")
        body += outline + b"\0" * (-len(outline) % 4)
    places.append(len(body))
    tables = {tag: one.table(tag) for tag in _KEPT if one.table(tag)}
    tables["glyf"] = bytes(body)
    tables["loca"] = struct.pack(f">{count + 1}I", *places)
    tables["hmtx"] = _metrics(one, count, set(outlines))
    tables["cmap"] = _cmap(mapped)
    tables["name"] = _names(family)
    tables["post"] = struct.pack(">IIhhIIIII", 0x00030000, 0, -100, 50, 0, 0, 0, 0, 0)
    tables["maxp"] = one.table("maxp")[:4] + struct.pack(">H", count) + one.table("maxp")[6:]
    tables["hhea"] = one.table("hhea")[:34] + struct.pack(">H", count)
    head = one.table("head")
    tables["head"] = head[:8] + b"\0\0\0\0" + head[12:50] + struct.pack(">hh", 1, 0)
    return _assemble(tables)


def _outlines(one: Face, glyphs: Iterable[int]) -> dict[int, bytes]:
    """Outlines of these glyphs and of the parts they are put together from; glyph 0 stands for "missing"."""
    long_places = struct.unpack_from(">h", one.table("head"), 50)[0] == 1
    loca, glyf = one.table("loca"), one.table("glyf")
    found: dict[int, bytes] = {}
    waiting = [0, *glyphs]
    while waiting:
        glyph = waiting.pop()
        if glyph in found:
            continue
        if long_places:
            start, end = struct.unpack_from(">II", loca, 4 * glyph)
        else:
            start, end = (2 * half for half in struct.unpack_from(">HH", loca, 2 * glyph))
        found[glyph] = glyf[start:end]
        waiting += _parts(found[glyph])
    return found


def _parts(outline: bytes) -> list[int]:
    """Glyph numbers that a composite outline refers to."""
    if len(outline) < 10 or struct.unpack_from(">h", outline)[0] >= 0:
        return []
    parts, at, more = [], 10, True
    while more:
        flags, glyph = struct.unpack_from(">HH", outline, at)
        parts.append(glyph)
        at += 4 + (4 if flags & 0x0001 else 2)
        at += 2 if flags & 0x0008 else 4 if flags & 0x0040 else 8 if flags & 0x0080 else 0
        more = bool(flags & 0x0020)
    return parts


def _metrics(one: Face, count: int, used: set[int]) -> bytes:
    hmtx = one.table("hmtx")
    stated = struct.unpack_from(">H", one.table("hhea"), 34)[0]
    out = bytearray()
    for glyph in range(count):
        if glyph not in used:
            out += b"\0\0\0\0"
            continue
        at = 4 * glyph + 2 if glyph < stated else 4 * stated + 2 * (glyph - stated)
        out += struct.pack(">H", one.advances[glyph]) + hmtx[at : at + 2]
    return bytes(out)


def _cmap(mapped: dict[int, int]) -> bytes:
    """One segment for each run of codes whose glyphs run along with them."""
    runs: list[tuple[int, int, int]] = []
    for code, glyph in sorted(mapped.items()):
        if runs and code == runs[-1][1] + 1 and (glyph - code) & 0xFFFF == runs[-1][2]:
            runs[-1] = (runs[-1][0], code, runs[-1][2])
        else:
            runs.append((code, code, (glyph - code) & 0xFFFF))
    runs.append((0xFFFF, 0xFFFF, 1))
    count = len(runs)
    power = 1 << (count.bit_length() - 1)
    head = struct.pack(
        ">HHHHHHH", 4, 16 + 8 * count, 0, 2 * count, 2 * power, power.bit_length() - 1, 2 * (count - power)
    )
    columns = [[run[1] for run in runs], [0], [run[0] for run in runs], [run[2] for run in runs], [0] * count]
    table = head + b"".join(struct.pack(f">{len(column)}H", *column) for column in columns)
    return struct.pack(">HHHHI", 0, 1, 3, 1, 12) + table


def _names(family: str) -> bytes:
    texts = {1: family, 2: "Regular", 4: family, 6: family.replace(" ", "")}
    records, body = b"", b""
    for number, text in texts.items():
        raw = text.encode("utf-16-be")
        records += struct.pack(">HHHHHH", 3, 1, 0x409, number, len(raw), len(body))
        body += raw
    return struct.pack(">HHH", 0, len(texts), 6 + len(records)) + records + body


def _assemble(tables: dict[str, bytes]) -> bytes:
    count = len(tables)
    power = 1 << (count.bit_length() - 1)
    head = struct.pack(">IHHHH", 0x00010000, count, 16 * power, power.bit_length() - 1, 16 * (count - power))
    at = len(head) + 16 * count
    directory, body, head_at = b"", b"", 0
    for tag in sorted(tables):
        data = tables[tag]
        padded = data + b"\0" * (-len(data) % 4)
        if tag == "head":
            head_at = at + len(body)
        directory += struct.pack(">4sIII", tag.encode("ascii"), _checksum(padded), at + len(body), len(data))
        body += padded
    whole = head + directory + body
    adjusted = struct.pack(">I", (0xB1B0AFBA - _checksum(whole)) & 0xFFFFFFFF)
    return whole[: head_at + 8] + adjusted + whole[head_at + 12 :]


def _checksum(padded: bytes) -> int:
    words: tuple[int, ...] = struct.unpack(f">{len(padded) // 4}I", padded)
    return sum(words) & 0xFFFFFFFF
