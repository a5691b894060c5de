"""Resumable and exact: nothing measured twice, nothing missed, whatever happens to the workers."""

import csv
import json
import os
import shutil
from collections.abc import Callable
from contextlib import nullcontext
from importlib.resources import files
from pathlib import Path

import jsonschema
import numpy as np
import pytest

from fluxbench.base import CaptureError, MisuseError
from fluxbench.captures.catalogue import Declared, Done, LocalCrew, catalogue
from fluxbench.captures.catalogue._journal import Journal, Outcome
from fluxbench.captures.catalogue._written import cell
from tests.captures import crashing, made
from tests.captures.inline import InlineCrew

RATE_HZ = 8000
SCHEMA = json.loads(
    files("fluxbench.captures.catalogue").joinpath("catalogue.schema.json").read_text()
)
OUTPUTS = ("catalogue.csv", "catalogue.jsonl", "catalogue.html")

Run = Callable[..., Done]


def capture(path: Path, level_dbfs: float = -20.0) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    return made.written(path, made.tone(2.5, RATE_HZ, 1000.0, level_dbfs), RATE_HZ, "PCM_16")


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    folder = tmp_path / "archive"
    for number in range(4):
        capture(folder / f"reel {number // 2}" / f"{number}.wav", -20.0 - number)
    return folder


@pytest.fixture
def run(tmp_path: Path, archive: Path) -> Run:
    def one(to: str = "out", **options: object) -> Done:
        chosen = {"measure": crashing.counted, **options}
        with LocalCrew(2) if chosen.pop("processes", False) else nullcontext(InlineCrew()) as crew:
            return catalogue(
                [str(archive)],
                tmp_path / to,
                lambda path: Declared(),
                crew,
                **chosen,  # type: ignore[arg-type]
            )

    return one


def lines(folder: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in (folder / "catalogue.jsonl").read_text().splitlines()]


def log(folder: Path) -> list[str]:
    return sorted(
        name for file in folder.rglob("measured.log") for name in file.read_text().splitlines()
    )


def test_a_second_run_measures_nothing_and_writes_the_same(
    run: Run, archive: Path, tmp_path: Path
) -> None:
    first = run()
    kept = {name: (tmp_path / "out" / name).read_bytes() for name in OUTPUTS}
    second = run()
    assert (first.measured, second.measured) == (4, 0)
    assert log(archive) == ["0.wav", "1.wav", "2.wav", "3.wav"]
    assert kept == {name: (tmp_path / "out" / name).read_bytes() for name in OUTPUTS}
    for line in lines(tmp_path / "out"):
        jsonschema.validate(line, SCHEMA)
    assert [line["reel"] for line in lines(tmp_path / "out")] == [
        "reel 0",
        "reel 0",
        "reel 1",
        "reel 1",
    ]


def test_content_counts_not_names_or_times(run: Run, archive: Path, tmp_path: Path) -> None:
    run()
    a, b = archive / "reel 0" / "0.wav", archive / "reel 0" / "1.wav"
    times = a.stat()
    shutil.copyfile(b, archive / "copy.wav")
    a.rename(archive / "moved.wav")
    capture(b, -7.0)
    os.utime(b, ns=(times.st_atime_ns, times.st_mtime_ns))
    assert run().measured == 1  # 1.wav has another content; its old one is known by its copy
    told = {str(line["path"]).rpartition("/")[2]: line for line in lines(tmp_path / "out")}
    assert set(told) == {"copy.wav", "moved.wav", "1.wav", "2.wav", "3.wav"}
    assert told["1.wav"]["levels"]["level_dbfs"][0] == pytest.approx(-7.0, abs=0.01)  # type: ignore[index]


def test_twins_are_measured_once(run: Run, archive: Path, tmp_path: Path) -> None:
    for name in ("x", "y", "z"):
        shutil.copyfile(archive / "reel 0" / "0.wav", archive / "reel 0" / f"{name}.wav")
    assert run().measured == 4
    same = [line for line in lines(tmp_path / "out") if line["same_as"]]
    assert len(same) == 3
    assert {line["same_as"] for line in same} == {str(archive / "reel 0" / "0.wav")}


def test_what_kills_its_worker_is_set_aside_alone(run: Run, archive: Path, tmp_path: Path) -> None:
    capture(archive / "crash.wav", -33.0)
    run("undisturbed", measure=crashing.counted)
    (archive / "reel 0" / "measured.log").unlink()
    done = run(measure=crashing.dying_of_some, processes=True)
    assert done.verdicts == {"good": 4, "set aside": 1}
    aside = [line for line in lines(tmp_path / "out") if line["verdict"] == "set aside"]
    assert [str(line["path"]).rpartition("/")[2] for line in aside] == ["crash.wav"]
    assert "died" in str(aside[0]["remedy"])
    # Known from now on, until somebody asks again.
    assert run(measure=crashing.counted).measured == 0
    assert run(measure=crashing.counted, retry=True).measured == 1
    for name in OUTPUTS:
        assert (tmp_path / "out" / name).read_bytes() == (
            tmp_path / "undisturbed" / name
        ).read_bytes()


def test_a_file_that_is_none_is_set_aside_and_the_others_are_not(
    run: Run, archive: Path, tmp_path: Path
) -> None:
    (archive / "broken.wav").write_bytes(b"RIFF\0\0\0\0WAVEjunk")
    (archive / "away.wav").symlink_to(archive / "nowhere.wav")
    done = run()
    assert done.verdicts == {"good": 4, "set aside": 2}
    for line in lines(tmp_path / "out"):
        jsonschema.validate(line, SCHEMA)


def test_a_file_that_changes_all_the_time_is_not_believed(
    run: Run, archive: Path, tmp_path: Path
) -> None:
    done = run(measure=crashing.changing)
    assert done.verdicts == {"set aside": 4}
    assert done.measured == 0
    assert run().measured == 4


def test_a_line_that_was_not_finished_is_cut_off(tmp_path: Path) -> None:
    path = tmp_path / "journal"
    with Journal(path) as journal:
        journal.add("a" * 64, Outcome({"x": 1}))
        journal.add("b" * 64, Outcome(None, "why"))
    whole = path.read_bytes()
    for length in range(len(whole.splitlines()[0]) + 1, len(whole)):
        path.write_bytes(whole[:length])
        with Journal(path) as journal:
            assert "a" * 64 in journal
            assert "b" * 64 not in journal
            journal.add("b" * 64, Outcome(None, "why"))
        assert path.read_bytes() == whole


def test_a_damaged_line_is_not_believed(tmp_path: Path) -> None:
    path = tmp_path / "journal"
    with Journal(path) as journal:
        journal.add("a" * 64, Outcome({"x": 1}))
        journal.add("b" * 64, Outcome({"x": 2}))
    path.write_bytes(path.read_bytes().replace(b'{"x":1}', b'{"x":7}'))
    with Journal(path) as journal:
        assert "a" * 64 not in journal
        assert journal.get("b" * 64) == Outcome({"x": 2})


def test_one_run_at_a_time(tmp_path: Path) -> None:
    with Journal(tmp_path / "journal"), pytest.raises(CaptureError, match="in use by another run"):
        Journal(tmp_path / "journal")


def test_no_captures_is_misuse(run: Run, archive: Path) -> None:
    shutil.rmtree(archive)
    archive.mkdir()
    with pytest.raises(MisuseError, match="no captures"):
        run()


def test_names_cannot_do_harm(run: Run, archive: Path, tmp_path: Path) -> None:
    capture(archive / "=cmd()<script>alert(1)</script>" / "@x'&\".wav", -41.0)
    run()
    with (tmp_path / "out" / "catalogue.csv").open(newline="") as table:
        rows = list(csv.reader(table))
    assert not [value for row in rows for value in row if value.startswith(("=", "@", "+"))]
    page = (tmp_path / "out" / "catalogue.html").read_text()
    assert "<script" not in page
    assert "http" not in page
    assert "&lt;script&gt;alert(1)" in page


@pytest.mark.parametrize("text", ["=1", "+1", "-a", "@x", "\t=1", " =1", "\r\n=1"])
def test_no_cell_is_a_formula(text: str) -> None:
    assert str(cell(text)).startswith("'")


def test_numbers_stay_numbers() -> None:
    assert cell(-1.5) == -1.5
    assert np.isfinite(float(str(cell(-1.5))))
