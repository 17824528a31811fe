"""What of a mesh file is text: its encoding, its faces by line, and whether it describes materials."""

from __future__ import annotations

import codecs
import json
import re
from typing import Any

from materials.errors import DataError

MOST_ELEMENTS = 200_000_000
"""Largest count of one list of a glTF file: more is a damaged count, which would fill the memory."""

_MATERIAL_LINES = re.compile(rb"^[ \t]*(mtllib|usemtl)\b[^\n]*", re.MULTILINE)
_RELATIVE = re.compile(rb"^[ \t]*f[ \t][^\n]*[ \t/]-\d", re.MULTILINE)
_FROM_ZERO = re.compile(rb"^[ \t]*f[ \t](?:[^\n]*[ \t])?0+(?:[/ \t]|$)", re.MULTILINE)
_VERTEX = re.compile(rb"^[ \t]*v(?=[ \t]|$)([^\n#]*)(#[^\n]*)?", re.MULTILINE)
_COLOURED_OBJ = re.compile(rb"^[ \t]*v(?:[ \t]+[^ \t\n#]+){6,7}[ \t]*$", re.MULTILINE)
_PLY_END = b"end_header"
_GLB_HEADER_BYTES = 20


def checked_text(kind: str, data: bytes, name: str) -> tuple[bytes, bool]:
    """The bytes of a mesh file as its reader wants them, and whether it describes colours or materials.

    Text in another encoding than UTF-8 becomes UTF-8, faces of an OBJ file that count back from the last vertex are
    counted from the first, and names of material files are left out, since no materials are read.

    Raises
    ------
    DataError
        For a vertex of an OBJ file that is not three numbers, a face that counts back beyond the first vertex, or a
        count that is damaged.
    """
    if kind == "obj":
        return _obj(_utf8(data), name)
    if kind == "ply":
        end = data.find(_PLY_END)
        head = data[: max(end, 0)]
        plain = bytes(letter if letter < 0x80 else ord("?") for letter in head)
        return plain + data[len(head) :], b"property uchar red" in head or b"diffuse_red" in head
    if kind in ("gltf", "glb"):
        return data, _gltf(kind, data, name)
    if kind == "stl" and _is_binary_stl(data):
        return data, False
    return _utf8(data), kind == "off" and b"COFF" in data[:64]


def _utf8(data: bytes) -> bytes:
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return data.decode("utf-16", "replace").encode()
    data = data.removeprefix(codecs.BOM_UTF8)
    try:
        data.decode("utf-8")
    except UnicodeDecodeError:
        return data.decode("iso-8859-1").encode()
    return data


def _is_binary_stl(data: bytes) -> bool:
    return len(data) >= 84 and len(data) == 84 + 50 * int.from_bytes(data[80:84], "little")


def _obj(data: bytes, name: str) -> tuple[bytes, bool]:
    data = data.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    bare = _MATERIAL_LINES.sub(b"", data)
    noted = bare != data or _COLOURED_OBJ.search(data) is not None
    bare, broken = _three_each(bare)
    if broken or _FROM_ZERO.search(bare):
        raise DataError(f"the mesh file '{name}' is damaged: {broken_line('obj', bare)}. Export it again.")
    return (_counted_from_the_first(bare, name) if _RELATIVE.search(bare) else bare), noted


def _three_each(data: bytes) -> tuple[bytes, bool]:
    """An OBJ file whose vertices have the same number of numbers, three where they differed, and no remarks: its reader
    takes them all as one list, which goes wrong where their number is right by chance. Whether a vertex has fewer."""
    forms = {(len(found.group(1).split()), bool(found.group(2))) for found in _VERTEX.finditer(data)}
    counts = [count for count, _ in forms]
    if len(forms) > 1 or any(remark for _, remark in forms):
        data = _VERTEX.sub(lambda found: b" ".join([b"v", *found.group(1).split()[:3]]), data)
    return data, min(counts, default=3) < 3


def _counted_from_the_first(data: bytes, name: str) -> bytes:
    """An OBJ file whose faces count from the first vertex; lines stay where they are."""
    seen = {b"v": 0, b"vt": 0, b"vn": 0}
    lines = data.split(b"\n")
    for number, line in enumerate(lines):
        words = line.split(b"#")[0].split()
        if words and words[0] in seen:
            seen[words[0]] += 1
        elif words and words[0] == b"f" and b"-" in line:
            corners = [_corner(word, tuple(seen.values()), name, number + 1) for word in words[1:]]
            lines[number] = b" ".join([b"f", *corners])
    return b"\n".join(lines)


def _corner(word: bytes, counts: tuple[int, ...], name: str, line: int) -> bytes:
    parts = word.split(b"/")
    for place, part in enumerate(parts[:3]):
        if part.startswith(b"-"):
            try:
                index = counts[place] + int(part) + 1
            except ValueError:
                index = 0
            if index < 1:
                back = part.decode("ascii", "replace")[1:20]
                raise DataError(
                    f"the mesh file '{name}' is damaged: on line {line} a face counts back {back} entries, and "
                    f"{counts[place]} stand before it. Export it again."
                )
            parts[place] = str(index).encode()
    return b"/".join(parts)


def broken_line(kind: str, data: bytes) -> str:
    """What is wrong with the first wrong line of an OBJ file, as "on line 7 ..."; empty where nothing is found."""
    if kind != "obj":
        return ""
    count = sum(1 for line in data.split(b"\n") if line.split(None, 1)[:1] == [b"v"])
    for number, line in enumerate(data.split(b"\n"), start=1):
        words = line.split(b"#")[0].split()
        if words[:1] == [b"v"] and (len(words) < 4 or not all(_is_number(word) for word in words[1:4])):
            return f"on line {number} a vertex is not three numbers"
        if words[:1] == [b"f"]:
            wrong = next((w for w in words[1:] if not 1 <= _index(w) <= count), None)
            if wrong is not None:
                return f"on line {number} a face names vertex {_index(wrong)}, and the file has {count}"
            if len(words) < 4:
                return f"on line {number} a face has fewer than three corners"
    return ""


def _index(word: bytes) -> int:
    try:
        return int(word.split(b"/")[0])
    except ValueError:
        return 0


def _is_number(word: bytes) -> bool:
    try:
        float(word)
    except ValueError:
        return False
    return True


def _gltf(kind: str, data: bytes, name: str) -> bool:
    text = data
    if kind == "glb" and len(data) >= _GLB_HEADER_BYTES:
        text = data[_GLB_HEADER_BYTES : _GLB_HEADER_BYTES + int.from_bytes(data[12:16], "little")]
    try:
        tree = json.loads(text)
    except (ValueError, RecursionError):
        return False  # its own reader refuses it
    if not isinstance(tree, dict):
        return False
    counts = [_count(entry) for entry in _entries(tree, "accessors")]
    if any(not 0 <= count <= MOST_ELEMENTS for count in counts):
        raise DataError(f"the mesh file '{name}' is damaged: a list in it has {max(counts)} entries. Export it again.")
    return bool(_entries(tree, "materials"))


def _entries(tree: dict[str, Any], key: str) -> list[Any]:
    found = tree.get(key)
    return found if isinstance(found, list) else []


def _count(entry: Any) -> int:
    count = entry.get("count", 0) if isinstance(entry, dict) else 0
    return count if isinstance(count, int) else 0
