"""What reaches a terminal: no hidden character, and something readable on one that lacks letters."""

from __future__ import annotations

import io
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from materials import KeyfallError
from materials.plain import hidden_character, visible
from render.sheet.page import Page
from render.streams import DEGRADED, Console, Table, prepare_streams, write_json
from scenes import check_scene
from scenes.kit import check_kit

BAD = {
    "\x1b[2J": "U+001B", "a\nb.toml: ready to trace.": "U+000A", "a\x0bb": "U+000B", "a\x00": "U+0000", "\x9b1m": "U+009B",
    "\u202eevil": "U+202E", "a\u2066b": "U+2066", "a\ufffe": "U+FFFE", "a\u200b": "U+200B", "a\ufeff": "U+FEFF",
    "\U0001ffff": "U+1FFFF", "a\u2028b": "U+2028",
}  # fmt: skip
GOOD = ("Ines, no. 4", "Grüße", "漢字 かな", "مرحبا", "שלום", "👩‍🚀 🎭", "e\u0301", "नमस्ते", "a · b – c")
SCENE = 'format = 1\ntitle = "plain"\n[camera]\ndistance_m = 2\n[sitter]\nmesh = "none.obj"\n[light.key]\ngels = [\n"{}"\n]\n'


def _toml(text: str) -> str:
    return "".join(f"\\U{ord(c):08x}" if not " " <= c <= "~" else c for c in text)


def test_hidden_characters_are_told_apart_from_the_letters_of_the_world():
    assert {bad: (hidden_character(bad) or "").split("(")[-1].rstrip(")") for bad in BAD} == BAD
    assert [hidden_character(good) for good in GOOD] == [None] * len(GOOD)
    assert all(hidden_character(visible(bad)) is None for bad in [*BAD, "\ud800"])


def test_check_refuses_them_with_their_line_and_shows_them_written_out(tmp_path):
    scene, kit = tmp_path / "scene.toml", tmp_path / "kit.toml"
    for bad, code in BAD.items():
        scene.write_text(SCENE.format(_toml(bad)))
        kit.write_text(f'format = 1\n[head.a]\nnote = "{_toml(bad)}"\nenergy_ws = 100\n')
        gel = [f for f in check_scene(scene) if code in f.message]
        note = [f for f in check_kit(kit)[1] if code in f.message]
        assert [(f.line, f.severity, f.where) for f in gel] == [(9, "error", "light.key.gels[1]")]
        assert [(f.line, f.severity, f.where) for f in note] == [(3, "error", "head.a.note")]
        for finding in check_scene(scene):
            assert not any(hidden_character(line) for line in finding.format().split("\n"))
            assert "ready to trace" not in finding.format()


def test_a_name_with_them_cannot_be_a_key(tmp_path):
    scene = tmp_path / "scene.toml"
    scene.write_text('format = 1\n[camera]\ndistance_m = 2\n[light."a\\u001b[2J"]\n')
    assert any("this name holds an escape character" in f.message and f.line == 4 for f in check_scene(scene))


def test_the_console_writes_them_out_whatever_prints_them():
    out = io.StringIO()
    Console(file=out, width=200).print("a\x1b[2Jb\u202ec\n\x0ed", markup=False, highlight=False)
    assert out.getvalue() == "a\\x1b[2Jb\\u202ec\n\\x0ed\n"


def test_a_sheet_holds_none():
    page = Page(100, 50)
    page.text(10, 10, "a\x0bb\ufffe")
    assert [words.text for words in page.words] == ["a\\x0bb\\ufffe"]


def test_a_board_refuses_them_in_what_the_command_line_gives(tmp_path):
    from render.work import board_of

    for words in ({"title": "a\x0b"}, {"client": "\u202e"}, {"note": "\ud800"}, {"captions": ["\x1b"]}):
        with pytest.raises(KeyfallError, match=r"holds (a|an|half a) "):
            board_of(["none.toml"], tmp_path, **words)


@pytest.mark.parametrize(
    ("encoding", "text"),
    [("ascii", "4.5deg -> Gru?e e | ? 3x? x?".replace("u?e", "usse")), ("cp1252", "4.5° -> Grüße e | ? 3×? x?"), ("utf-8", None)],
)
def test_a_terminal_without_the_letters_gets_the_nearest(encoding, text, monkeypatch):
    given = "4.5° → Grüße e\u0301 │ 漢 3×\U0001f3ad x\ud800"
    buffer = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(buffer, encoding=encoding, errors="strict"))
    prepare_streams()
    sys.stdout.write(given)
    write_json(json.dumps({"a": "é漢\U0001f3ad"}, ensure_ascii=False))
    sys.stdout.flush()
    said = buffer.getvalue().decode(encoding)
    shown, _, kept = said.partition("{")
    assert json.loads("{" + kept) == {"a": "é漢\U0001f3ad"}
    if text is not None:
        assert shown == text
    else:
        assert shown == given.replace("\ud800", "?")
    assert sys.stdout.errors == DEGRADED


@pytest.mark.slow
def test_the_command_speaks_on_any_terminal(tmp_path):
    """A file of Latin-1 name and a gel that forges a line, on terminals that have nothing but ASCII, or Windows' letters."""
    name = tmp_path / os.fsdecode(b"Gru\xdfe\x1b[2J.toml")
    name.write_text(SCENE.format("x\\nscene.toml: ready to trace."), encoding="utf-8")
    for encoding in ("ascii", "cp1252"):
        done = subprocess.run(
            [sys.executable, "-m", "render.cli", "check", str(name)], capture_output=True, timeout=60,
            env={**os.environ, "PYTHONIOENCODING": encoding, "LANG": "C"}, cwd=Path(__file__).parents[2], check=False,
        )  # fmt: skip
        assert done.returncode == 1, done.stderr
        text = done.stdout.decode(encoding)
        assert "\x1b" not in text
        assert not any(line.endswith("ready to trace.") and "error" not in line for line in text.splitlines())
        assert b"Traceback" not in done.stderr


def test_a_narrow_terminal_loses_no_part_of_a_table():
    """Also where a column must not wrap, and the longest word is wider than the terminal."""
    words = [["standard-reflector+grid-20", "f/5.6 + 0.3", "a correction that warms"], ["snoot", "-", "unbreakable" * 3]]
    for width in (1, 12, 30, 50, 80):
        written = io.StringIO()
        table = Table(box=None, title="Heads and modifiers")
        for heading in ("setup", "reads", "what"):
            table.add_column(heading, no_wrap=heading == "reads")
        for row in words:
            table.add_row(*row)
        Console(file=written, width=width).print(table)
        said = written.getvalue()
        letters = sorted(said.replace(" ", "").replace("\n", ""))
        written_in = ["Headsandmodifiers", "setup", "reads", "what", *words[0], *words[1]]
        assert letters == sorted("".join(written_in).replace(" ", ""))
        assert "f/5.6 + 0.3" in said
