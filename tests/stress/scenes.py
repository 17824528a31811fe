"""Scene and kit files damaged at random, through the check: nothing but our own errors, in bounded time and memory."""

from __future__ import annotations

import json
import random
import re
import tempfile
from pathlib import Path

from materials import KeyfallError
from materials.plain import hidden_character
from scenes import build_stage, load_scene
from scenes.check import check_scene
from scenes.findings import Finding
from scenes.kit import check_kit

from .limits import in_time

LIMIT_S = 60
"""Longest processor time of one check, some hundred times the usual one."""

MOST_GROWTH_BYTES = 1_000_000_000
JARGON = ("pydantic", "ValidationError", "Traceback", "NoneType", "numpy", "ndarray", "trimesh", "codec", "ctx")
NUMBERS = (
    "0", "-0.0", "-1", "1e308", "-1e308", "1e-320", "nan", "inf", "-inf", "9007199254740993", "1e15", "0.1", "360", "2",
    "100", "0x" + "f" * 5000, "1_000_000", "0b1", "4e18", "1979-05-27", "1979-05-27T07:32:00Z", "07:32:00",
)  # fmt: skip
VALUES = (
    '""', '"x"', "true", "false", "[]", "{}", "[[]]", "[1, 2]", "[1, 2, 3]", '["a", "b"]', "{ a = 1 }", '"1/0"', '"1/8"',
    '"nan"', '"/dev/zero"', '"/"', '"."', '"gel.csv"', '"box.obj"', '"kit.toml"', '"slide.png"', '"lamp.ies"', '"' + "n" * 5000 + '"',
    '"a\\u0000b"', '"\\u001b[2J"', '"\\u202e"', '"\\ufffe"', '"é漢🎭"', "'''\nx\n'''", "[" * 400 + "]" * 400, '"face"', '"background"',
    '["grid-20"]', '["standard-reflector", "grid-10"]', '"snoot"', '"octagon"', '"sun"', '"sky"', '"ambient"', '"rectangle"', '"tube"',
)  # fmt: skip
PUT = ("[", "]", '"', "'", "=", ",", "{", "}", "\n", "#", "\0", "\x1b", "\u202e", "\ufeff", "é", "[[", "-", "e", ".", "\r")
SCENES = {path.name: path.read_text(encoding="utf-8") for path in sorted((Path(__file__).parent / "sound").glob("*.toml"))}
"""Sound files, which are damaged."""

IES = "IESNA:LM-63-2002\nTILT=NONE\n1 1000 1 3 1 1 2 0.1 0.1 0\n1 1 100\n0 45 90\n0\n100 70 0\n"


def run(count: int, seed: int) -> list[str]:
    """Check `count` damaged files; returns what went wrong, one text each, empty when nothing did."""
    chance = random.Random(seed)
    failures: list[str] = []
    before = _peak_bytes()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        lay_out(folder)
        for number in range(count):
            own = random.Random(chance.getrandbits(64))
            if own.random() < 0.2:
                fault = _side_fault(folder, own)
                failures += [f"file {number} of seed {seed}: {fault}"] if fault else []
                continue
            file, data = damaged(own)
            path = folder / f"mutant-{file}"
            path.write_bytes(data)
            fault = _fault(path, data, kit=file == "kit.toml", build=own.random() < 0.3)
            if fault:
                failures.append(f"file {number} of seed {seed} ({file}): {fault}")
    grown = _peak_bytes() - before
    if grown > MOST_GROWTH_BYTES:
        failures.append(f"{grown / 1e6:.0f} MB of memory were taken")
    return failures


def _side_fault(folder: Path, chance: random.Random) -> str:
    """Damage a file that a sound scene names, check the scene, and put the file right again."""
    file, scene = chance.choice(
        (("box.obj", "open.toml"), ("gel.csv", "plain.toml"), ("lamp.ies", "rich.toml"), ("slide.png", "rich.toml"))
    )
    place = folder / file
    sound = place.read_bytes()
    data = sound
    for _ in range(chance.choice((1, 1, 2))):
        if file.endswith(".png") or chance.random() < 0.3:
            data = _flipped(data, chance)[: chance.choice((None, None, chance.randrange(len(data) + 1)))]
        else:
            way = chance.choice((_new_number, _swapped, _lost_line, _moved_line, _put, _cut))
            data = way(data.decode("utf-8", "replace"), chance).encode("utf-8", "surrogatepass")
    place.write_bytes(data)
    try:
        return _fault(folder / scene, SCENES[scene].encode(), kit=False, build=True, about=f"{file}: {data[:600]!r}")
    finally:
        place.write_bytes(sound)


def lay_out(folder: Path) -> None:
    """Write the sound scenes, and the files they name."""
    from PIL import Image

    corners = [(x, y, z) for x in (-0.2, 0.2) for y in (0, 1.7) for z in (-0.12, 0.12)]
    quads = "1 2 4 3|5 7 8 6|1 5 6 2|3 4 8 7|1 3 7 5|2 6 8 4"
    text = "".join("v {} {} {}\n".format(*corner) for corner in corners)
    (folder / "box.obj").write_text(text + "".join(f"f {quad}\n" for quad in quads.split("|")))
    (folder / "gel.csv").write_text("nm,t\n380,0.2\n780,0.8\n")
    (folder / "lamp.ies").write_text(IES)
    Image.new("L", (8, 8), 200).save(folder / "slide.png")
    for name, content in SCENES.items():
        (folder / name).write_text(content, encoding="utf-8")


def damaged(chance: random.Random) -> tuple[str, bytes]:
    """A file's name and its damaged bytes."""
    name = chance.choice(list(SCENES))
    text = SCENES[name]
    for _ in range(chance.choice((1, 1, 1, 2, 3))):
        text = chance.choice(_WAYS)(text, chance)
    data = text.encode("utf-8", "surrogatepass")
    if chance.random() < 0.1:
        data = _flipped(data, chance)
    return name, data


def _flipped(data: bytes, chance: random.Random) -> bytes:
    changed = bytearray(data or b"\0")
    for _ in range(chance.randint(1, 4)):
        changed[chance.randrange(len(changed))] ^= 1 << chance.randrange(8)
    return bytes(changed)


def _new_value(text: str, chance: random.Random) -> str:
    places = list(re.finditer(r"(?m)= (.+)$", text))
    if not places:
        return text
    place = chance.choice(places)
    return text[: place.start(1)] + chance.choice(NUMBERS + VALUES) + text[place.end(1) :]


def _new_number(text: str, chance: random.Random) -> str:
    places = list(re.finditer(r"\d+(\.\d+)?", text))
    place = chance.choice(places) if places else None
    return text if place is None else text[: place.start()] + chance.choice(NUMBERS) + text[place.end() :]


def _swapped(text: str, chance: random.Random) -> str:
    tokens = re.split(r"(\s+)", text)
    i, j = chance.randrange(len(tokens)), chance.randrange(len(tokens))
    tokens[i], tokens[j] = tokens[j], tokens[i]
    return "".join(tokens)


def _tables(text: str) -> list[str]:
    return re.split(r"(?m)^(?=\[)", text)


def _lost_table(text: str, chance: random.Random) -> str:
    parts = _tables(text)
    del parts[chance.randrange(len(parts))]
    return "".join(parts)


def _doubled_table(text: str, chance: random.Random) -> str:
    parts = _tables(text)
    part = chance.choice(parts)
    renamed = re.sub(r"\.(\w+)\]", lambda found: f".{found.group(1)}{chance.choice(('2', '', '-b'))}]", part, count=1)
    return "".join([*parts, renamed])


def _lost_line(text: str, chance: random.Random) -> str:
    lines = text.split("\n")
    del lines[chance.randrange(len(lines))]
    return "\n".join(lines)


def _moved_line(text: str, chance: random.Random) -> str:
    lines = text.split("\n")
    lines.insert(chance.randrange(len(lines)), lines.pop(chance.randrange(len(lines))))
    return "\n".join(lines)


def _put(text: str, chance: random.Random) -> str:
    at = chance.randrange(len(text) + 1)
    return text[:at] + chance.choice(PUT) + text[at + chance.choice((0, 0, 1, 5)) :]


def _cut(text: str, chance: random.Random) -> str:
    return text[: chance.randrange(len(text) + 1)]


def _other_key(text: str, chance: random.Random) -> str:
    keys = list(re.finditer(r"(?m)^(\w+) =", text))
    if len(keys) < 2:
        return text
    place, other = chance.sample(keys, 2)
    return text[: place.start(1)] + other.group(1) + text[place.end(1) :]


_WAYS = (
    _new_value, _new_value, _new_value, _new_number, _new_number, _swapped, _lost_table, _doubled_table, _lost_line,
    _moved_line, _put, _put, _cut, _other_key,
)  # fmt: skip


def _fault(path: Path, data: bytes, *, kit: bool, build: bool, about: str = "") -> str:
    """What is wrong with how a file was taken; empty when nothing is."""
    try:
        with in_time(LIMIT_S):
            findings = check_kit(path)[1] if kit else check_scene(path)
            if build and not kit and not any(f.severity == "error" for f in findings):
                build_stage(load_scene(path))
    except KeyfallError as error:
        return f"the check was passed, and then: {error} {about}"
    except BaseException as error:
        if isinstance(error, KeyboardInterrupt):
            raise
        last = error.__traceback__
        while last is not None and last.tb_next is not None:
            last = last.tb_next
        place = f"{Path(last.tb_frame.f_code.co_filename).name}:{last.tb_lineno}" if last is not None else "?"
        return f"{type(error).__name__}: {str(error)[:200]} ({place})\n{about or repr(data[:3000])}"
    lines = data.count(b"\n") + data.count(b"\r") + 1
    return next((wrong for f in findings if (wrong := _ill_said(f, lines))), "")


def _ill_said(finding: Finding, lines: int) -> str:
    text = finding.format()
    json.dumps([finding.message, finding.fix]).encode()
    if any(hidden_character(line) for line in text.split("\n")) or len(text.split("\n")) > 2:
        return f"hidden characters or too many lines in {text!r}"
    if not 1 <= (finding.line or 1) <= lines:
        return f"line {finding.line} of {lines}: {text}"
    word = next((word for word in JARGON if word in text), None)
    return f"'{word}' in {text}" if word else ""


def _peak_bytes() -> int:
    try:
        import resource
    except ImportError:  # Windows
        return 0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
