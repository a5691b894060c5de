"""The instrument itself: what the shim and the disk say of plain files is what must be said."""

import random
from collections import defaultdict
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.faults.disk import Disk, read_trace
from tests.faults.shim import HERE, run_behind

pytestmark = pytest.mark.compiled

A, B = b"a" * 512, b"b" * 512


@pytest.fixture(scope="module")
def ends(shim: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[dict[str, bytes]]]:
    """After each word: what 200 power cuts leave."""
    folder = tmp_path_factory.mktemp("plain")
    root, trace = folder / "root", folder / "trace"
    root.mkdir()
    run_behind(shim, str(HERE / "plain_files.py"), str(root), str(trace))
    (folder / "empty").mkdir()
    events = list(read_trace(trace))
    found: dict[str, list[dict[str, bytes]]] = defaultdict(list)
    for seed in range(20):
        chance = random.Random(seed)
        disk = Disk(folder / "empty", chance)
        disk.root = root
        for event in events:
            disk.follow(event)
            if event.what == "!":
                word = event.data.decode().strip()
                found[word] += [disk.after_a_cut(chance) for _ in range(10)]
    assert disk.as_seen() == {
        str(path.relative_to(root)): path.read_bytes() for path in root.rglob("*") if path.is_file()
    }
    return found


def always(content: dict[str, bytes]) -> Callable[[list[dict[str, bytes]]], bool]:
    return lambda found: all(left == content for left in found)


def test_what_is_synced_is_kept_and_nothing_else_is_sure(
    ends: dict[str, list[dict[str, bytes]]],
) -> None:
    """By the words of POSIX on fsync, and of a directory's own fsync for names."""
    assert {*map(tuple, ends["content synced"])} == {(), ("file",)}
    assert always({"file": A * 4})(ends["name synced"])
    assert always({"file": B * 4})(ends["synced again"])
    assert always({"file": B})(ends["cut synced"])
    assert {*map(tuple, ends["renamed"])} == {("file",), ("renamed",)}
    assert {*map(tuple, ends["folder made"])} == {("renamed",), ("renamed", "folder/inner")}
    assert always({"renamed": B, "folder/inner": b"inner"})(ends["folder synced"])
    assert {*map(tuple, ends["removed"])} == {("renamed", "folder/inner"), ("folder/inner",)}
    assert always({"folder/inner": b"inner"})(ends["removal synced"])


def test_what_is_not_synced_is_kept_lost_or_garbage_a_sector_at_a_time(
    ends: dict[str, list[dict[str, bytes]]],
) -> None:
    lengths = {len(left["file"]) for left in ends["cut"]}
    assert lengths == {512, 2048}
    over = [left["file"] for left in ends["written over"]]
    assert A * 4 in over
    assert B * 4 in over
    sectors = {file[at : at + 512] for file in over for at in range(0, 2048, 512)}
    assert {A, B} < sectors
    assert len(sectors) > 10
    mixed = [file for file in over if file[:512] == A and file[512:1024] == B]
    assert mixed


def test_after_a_sync_that_failed_only_what_is_written_anew_is_sure(
    ends: dict[str, list[dict[str, bytes]]],
) -> None:
    """The second sync succeeds and has nothing to write."""
    for word in ("sync failed", "sync of nothing"):
        left = {files["folder/inner"][5:] for files in ends[word]}
        assert {b"", b" lost"} < left
    assert {files["folder/inner"] for files in ends["written again"]} == {b"inner kept"}
