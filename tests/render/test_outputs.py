"""Sets of files: whole or not at all, never two runs together, nothing of the user's lost, nothing left behind."""

from __future__ import annotations

import errno
import json
import os
import threading
import time
from pathlib import Path

import pytest

from render.outputs import CHECKSUMS, OutputError, OutputFolder
from render.publish import carry_out, checksum, faults_of
from render.record import Record

from .cli_scene import keyfall

pytestmark = pytest.mark.quick

OLD, NEW = ("a.png", "b.png", "only-old.tif"), ("a.png", "b.png", "only-new.png")


class Told(Record):
    """A manifest."""

    run: str
    checksums: dict[str, str] = CHECKSUMS


def files_in(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def publish(folder: Path, run: str, names: tuple[str, ...]) -> Told:
    with OutputFolder(folder) as out:
        for name in names:
            out.write_text(name, f"{run} {name}")
        return out.finish("report.json", Told(run=run))


def whole_set(folder: Path) -> str | None:
    """The run whose set lies in the folder, complete; None where there is none. Files of two runs are a failure."""
    runs = {name: (folder / name).read_text().split()[0] for name in {*OLD, *NEW} if (folder / name).exists()}
    assert len(set(runs.values())) <= 1, f"mixed: {runs}"
    if not (folder / "report.json").exists():
        return None
    run = json.loads((folder / "report.json").read_text())["run"]
    assert faults_of(folder / "report.json") == []
    assert set(runs) == set(OLD if run == "old" else NEW)
    assert set(runs.values()) == {run}
    return run


def test_a_set_comes_whole_with_a_manifest_and_takes_the_place_of_the_last(tmp_path):
    publish(tmp_path, "old", OLD)
    assert whole_set(tmp_path) == "old"
    (tmp_path / "mine.txt").write_text("mine")
    told = publish(tmp_path, "new", NEW)
    assert whole_set(tmp_path) == "new"
    assert told.checksums == {name: checksum(tmp_path / name) for name in NEW}
    assert files_in(tmp_path) == {*NEW, "report.json", "mine.txt"}
    assert json.loads(keyfall("verify", tmp_path, "--json").stdout) == {"report.json": []}
    assert "report.json: all its files are whole." in keyfall("verify", tmp_path).stdout
    (tmp_path / "b.png").write_text("edited")
    (tmp_path / "a.png").unlink()
    assert [fault.split()[0] for fault in faults_of(tmp_path / "report.json")] == ["a.png", "b.png"]
    result = keyfall("verify", tmp_path)
    assert (result.exit_code, result.stdout.count("\n")) == (1, 2)
    assert "report.json: a.png is missing." in result.stdout
    assert keyfall("verify", tmp_path / "mine.txt").exit_code == 1
    (tmp_path / "empty").mkdir()
    assert "holds no results" in keyfall("verify", tmp_path / "empty").stderr


def test_what_the_user_changed_of_an_earlier_set_stays(tmp_path):
    publish(tmp_path, "old", OLD)
    (tmp_path / "only-old.tif").write_text("retouched")
    publish(tmp_path, "new", NEW)
    assert (tmp_path / "only-old.tif").read_text() == "retouched"


@pytest.mark.parametrize(
    "manifest", ["[]", "{", "[" * 100_000, '{"checksums": 3}', '{"checksums": {"../x": "1", "mine.txt": 2, "\\u0000": "1"}}']
)
def test_a_manifest_that_is_none_takes_nothing_away(tmp_path, manifest):
    (tmp_path / "report.json").write_text(manifest)
    (tmp_path / "mine.txt").write_text("mine")
    publish(tmp_path, "new", NEW)
    assert files_in(tmp_path) == {*NEW, "report.json", "mine.txt"}


@pytest.mark.skipif(not hasattr(os, "fork"), reason="kills a copy of this process")
@pytest.mark.filterwarnings("ignore:This process")
@pytest.mark.parametrize("before", [True, False])
def test_a_kill_at_any_step_of_publishing_mixes_nothing_and_loses_nothing(tmp_path, before):
    """A copy of this process is killed right before, or right after, its nth renaming, for every n."""
    steps = 0
    for kill_at in range(100):
        folder = tmp_path / str(kill_at)
        publish(folder, "old", OLD)
        (folder / "mine.txt").write_text("mine")
        child = os.fork()
        if child == 0:
            end_at_move(kill_at, before)
            publish(folder, "new", NEW)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        killed = os.waitstatus_to_exitcode(status) == 9
        whole_set(folder)
        assert (folder / "mine.txt").read_text() == "mine"
        with OutputFolder(folder):
            pass  # whoever writes here next brings it to its end
        run = whole_set(folder)
        assert run in ("old", "new")
        assert files_in(folder) == {*(OLD if run == "old" else NEW), "report.json", "mine.txt"}
        steps = kill_at
        if not killed:
            break
    assert steps == 9  # the plan, four files that go, four that come


def end_at_move(number: int, before: bool) -> None:
    original, calls = os.replace, [0]

    def replace(source, target):
        if calls[0] == number and before:
            os._exit(9)
        original(source, target)
        if calls[0] == number:
            os._exit(9)
        calls[0] += 1

    os.replace = replace  # of a process that is about to end


def test_a_plan_that_cannot_be_read_is_said_and_nothing_is_lost(tmp_path):
    for text in ("", "{", "[]", '{"go": 3, "come": []}', '{"go": ["../a"], "come": []}', "[" * 100_000):
        (tmp_path / ".writing-deadbeef" / "old").mkdir(parents=True, exist_ok=True)
        (tmp_path / ".writing-deadbeef" / "old" / "a.png").write_text("old")
        (tmp_path / ".writing-deadbeef" / "plan.json").write_text(text)
        with pytest.raises(OutputError, match=r"deadbeef' holds the results of a run that was cut off"):
            publish(tmp_path, "new", NEW)
        assert (tmp_path / ".writing-deadbeef" / "old" / "a.png").read_text() == "old"


def test_a_file_that_can_be_moved_neither_there_nor_back_is_not_lost(tmp_path, monkeypatch):
    """The disk fails in the middle; the next run brings it to its end."""
    publish(tmp_path, "old", OLD)
    moves, original = [], os.replace

    def replace(source, target):
        moves.append(target)
        if len(moves) > 4:
            raise OSError(5, "Input/output error", str(target))
        original(source, target)

    with monkeypatch.context() as patch:
        patch.setattr(os, "replace", replace)
        with pytest.raises(OutputError, match="Input/output error"):
            publish(tmp_path, "new", NEW)
    with OutputFolder(tmp_path):
        pass
    assert whole_set(tmp_path) == "new"


def test_a_file_that_cannot_be_moved_leaves_the_earlier_set(tmp_path, monkeypatch):
    publish(tmp_path, "old", OLD)
    original = os.replace
    for refused in (*NEW, "report.json"):

        def replace(source, target, refused=refused):
            if Path(target) == tmp_path / refused and Path(source).parent.name == "new":
                raise PermissionError(13, "open in another program", str(target))
            original(source, target)

        with monkeypatch.context() as patch:
            patch.setattr(os, "replace", replace)
            with pytest.raises(OutputError, match=f"{refused}' cannot be written: open in another program"):
                publish(tmp_path, "new", NEW)
        assert whole_set(tmp_path) == "old"
        assert files_in(tmp_path) == {*OLD, "report.json"}


def test_nothing_lies_in_the_folder_while_results_are_made(tmp_path):
    with OutputFolder(tmp_path / "deep" / "look") as out:
        assert files_in(tmp_path) == set()
        out.write_text("a", "1")
    assert files_in(tmp_path / "deep" / "look") == {"a"}


def test_litter_of_dead_processes_goes_and_what_lives_or_is_the_users_stays(tmp_path):
    (tmp_path / ".writing-deaddead" / "new").mkdir(parents=True)
    (tmp_path / ".writing-deaddead" / "new" / "a.png").write_text("half")
    (tmp_path / ".writing-emptyone").mkdir()
    (tmp_path / ".writing-longago_.png").write_text("half")
    os.utime(tmp_path / ".writing-longago_.png", (1, 1))
    (tmp_path / ".writing-just_now.png").write_text("perhaps of a running earlier version")
    (tmp_path / ".writing-letters").mkdir()
    (tmp_path / ".writing-letters" / "draft.txt").write_text("mine")
    with OutputFolder(tmp_path) as live:
        live.write_text("a", "1")
        mine = {".writing-letters", ".writing-just_now.png"}
        with OutputFolder(tmp_path) as other:
            other.write_text("b", "2")
        assert len(files_in(tmp_path) - mine - {"b"}) == 1
    assert files_in(tmp_path) == {"a", "b", *mine}


@pytest.mark.skipif(os.name != "posix", reason="Windows knows no such files")
@pytest.mark.parametrize("kind", ["pipe", "link to a device", "folder", "link to a folder"])
def test_a_device_pipe_or_folder_is_never_replaced(tmp_path, kind):
    publish(tmp_path, "old", OLD)
    place = tmp_path / "only-new.png"
    if kind == "pipe":
        os.mkfifo(place)
    elif kind == "folder":
        place.mkdir()
    else:
        place.symlink_to("/dev/null" if kind == "link to a device" else "/")
    before = place.lstat().st_ino, place.lstat().st_mode
    with pytest.raises(OutputError, match=r"only-new.png' cannot be written"):
        publish(tmp_path, "new", NEW)
    assert (place.lstat().st_ino, place.lstat().st_mode) == before
    assert files_in(tmp_path) == {*OLD, "report.json", "only-new.png"}
    with pytest.raises(OutputError, match="is a device or pipe"):
        publish(Path("/dev/null"), "new", NEW)


def test_where_there_are_no_locks_nothing_young_is_swept(tmp_path, monkeypatch):
    """As on some network drives: neither the set of another run that may live, nor this one's own."""
    fcntl = pytest.importorskip("fcntl")

    def none(*_):
        raise OSError(errno.ENOLCK, "No locks available")

    monkeypatch.setattr(fcntl, "flock", none)
    for name in ("youngone", "long_ago"):
        (tmp_path / f".writing-{name}" / "new").mkdir(parents=True)
    os.utime(tmp_path / ".writing-long_ago", (1, 1))
    publish(tmp_path, "old", OLD)
    publish(tmp_path, "new", NEW)
    assert whole_set(tmp_path) == "new"
    assert files_in(tmp_path) == {*NEW, "report.json", ".writing-youngone"}


def test_a_name_that_is_too_long_is_said(tmp_path):
    with pytest.raises(OutputError, match="File name too long"):
        publish(tmp_path / ("n" * 300), "new", NEW)


def test_two_runs_into_one_folder_take_turns(tmp_path):
    """Eight threads publish at once, each with locks of its own; whichever is last, its set is whole."""

    def run(name: str) -> None:
        for _ in range(5):
            publish(tmp_path, name, OLD if name == "old" else NEW)

    threads = [threading.Thread(target=run, args=(name,)) for name in ("old", "new") * 4]
    for thread in threads:
        thread.start()
    while any(thread.is_alive() for thread in threads):
        time.sleep(0.001)
    assert whole_set(tmp_path) in ("old", "new")
    assert not [name for name in files_in(tmp_path) if name.startswith(".")]


def test_the_manifest_goes_first_and_comes_last_whatever_it_holds(tmp_path, monkeypatch):
    """Also one of an earlier version, which names no files."""
    (tmp_path / "report.json").write_text('{"format": 2}')
    (tmp_path / "a.png").write_text("old")
    moves, original = [], os.replace

    def replace(source, target):
        moves.append((Path(source).parent.name == "new", Path(source).name))
        original(source, target)

    monkeypatch.setattr(os, "replace", replace)
    publish(tmp_path, "new", NEW)
    gone = [name for comes, name in moves if not comes and name != "plan.json.part"]
    assert gone == ["report.json", "a.png"]
    assert [name for comes, name in moves if comes] == [*NEW, "report.json"]


def test_going_on_leaves_what_the_user_put_there_meanwhile(tmp_path):
    """A set killed after its old files went; then the user puts a file of his own where one of them was. Another old file
    was gone before it could be set aside, so that what lies in its place is the new one."""
    from render.publish import Plan, staging_parts

    staging = tmp_path / ".writing-deadbeef"
    new, old = staging_parts(staging)
    for part in (new, old):
        part.mkdir(parents=True)
    (new / "a.png").write_text("new")
    (old / "gone.png").write_text("old")
    (tmp_path / "gone.png").write_text("mine")
    (tmp_path / "b.png").write_text("new")
    carry_out(tmp_path, staging, Plan(("gone.png", "a.png", "b.png"), ("b.png", "a.png")))
    assert (tmp_path / "b.png").read_text() == "new"
    assert (tmp_path / "gone.png").read_text() == "mine"
    assert (tmp_path / "a.png").read_text() == "new"


def test_a_full_disk_is_said(tmp_path):
    def full(path: Path) -> None:
        path.write_text("half")
        raise OSError(28, "No space left on device")

    def write() -> None:
        with OutputFolder(tmp_path) as out:
            out.write_text("numbers", "1")
            out.write("picture", full)

    with pytest.raises(OutputError, match=r"picture' cannot be written: No space left"):
        write()
    assert not files_in(tmp_path)


def test_a_series_loses_what_an_earlier_run_left_and_nothing_else(tmp_path):
    for name in ("page-1.png", "page-2.png", "page-x.png", "other.png"):
        (tmp_path / name).write_text("old")

    def failing():
        with OutputFolder(tmp_path) as out:
            out.series("page-[0-9].png")
            out.write_text("page-1.png", "new")
            raise OSError

    with pytest.raises(OSError, match=r"^$"):
        failing()
    assert (tmp_path / "page-2.png").read_text() == "old"
    with OutputFolder(tmp_path) as out:
        out.series("page-[0-9].png")
        out.write_text("page-1.png", "new")
    assert {p.name: p.read_text() for p in tmp_path.iterdir()} == {
        "page-1.png": "new", "page-x.png": "old", "other.png": "old",
    }  # fmt: skip
