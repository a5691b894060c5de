"""Every command that the documentation shows runs, and prints what the page shows.

All of them run in this process, each page in a folder of its own with the files that it speaks of.
What needs a server, a sound server, a browser or minutes stands in `PROVEN` with the test that runs
it: its words are read by the command all the same.
"""

import re
import shlex
import shutil
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from io import StringIO
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import soundfile

from fluxbench.cli import main
from fluxbench.cli._main import COMMANDS
from tests.benches.written_lineup import shown, whole, write_lineup
from tests.unit.test_house_style import ROOT, committed_files

PAGES = sorted(file for file in committed_files() if file.suffix == ".md")
BLOCK = re.compile(r"^( *)```(\w*)\n(.*?)^ *```", re.M | re.S)
SERVED = (
    "tests/contract/test_serve.py::test_killed_and_started_again_it_goes_on_and_no_turn_is_lost"
)
REHEARSED = "tests/contract/test_rehearse.py::"
SHARED = "tests/unit/book/test_shared.py::"
PROVEN = {
    "serve --lan": "tests/network/test_tablet.py::"
    "test_a_tablet_is_paired_gets_the_controls_and_loses_them",
    "serve --book postgresql:": f"{SHARED}test_a_bench_goes_on_with_its_own_line_up_alone",
    "serve": SERVED,
    "book import book.zip --book postgresql:": f"{SHARED}"
    "test_to_a_server_and_back_nothing_is_another",
    "book demo": "tests/unit/rehearsal/test_demo_book.py::"
    "test_the_planted_wear_drift_dirt_and_relap_are_found_and_nothing_else",
    "rehearse --interface": "tests/sound/test_rehearse_jack.py::"
    "test_the_first_stages_pass_and_an_interrupt_ends_it",
    "rehearse --fault": f"{REHEARSED}test_a_line_up_that_cannot_go_on_is_one_line_and_no_json",
    "rehearse --seed 2 --method needle": "tests/unit/rehearsal/test_needle.py::"
    "test_he_comes_to_an_end",
    "rehearse": f"{REHEARSED}test_the_line_is_the_schema_s",
    "deck": "tests/sound/test_deck_server.py::test_it_says_where_its_controls_are",
    "interfaces check": "tests/sound/test_commands.py::test_a_loop_back_check_measures_a_wire",
    "interfaces calibrate": "tests/contract/test_interfaces_calibrated.py::"
    "test_readings_are_typed_while_the_tone_stands",
    "interfaces": "tests/sound/test_commands.py::test_interfaces_for_people",
    "tones --speed 15 --zero-vu -18 --interface": "tests/contract/test_tones.py::"
    "test_what_is_played_is_what_a_file_would_hold",
    "catalogue --scheduler": "tests/contract/test_catalogue_cluster.py::"
    "test_a_worker_is_killed_and_the_catalogue_is_that_of_one_machine",
}
SHORTER = {"tones": ["--seconds", "1"], "catalogue": ["--workers", "1"]}
"""What is added so that an example takes a moment; nothing else of it is changed."""
ELSEWHERE = ("/media/stick", "/srv/studio")
"""Folders of other machines: they are folders below the test's own."""


@dataclass(frozen=True)
class Example:
    """One command, and what the page shows below it."""

    page: Path
    command: str
    shown: str

    @property
    def words(self) -> list[str]:
        return shlex.split(self.command, comments=True)


def examples_of(page: Path) -> Iterator[Example]:
    """Of `console` blocks and those with a `$` each command, of others each line that is one."""
    for indent, _, block in BLOCK.findall(page.read_text()):
        text = re.sub(rf"^{indent}", "", block, flags=re.M)
        if re.search(r"^\$ ", text, re.M):
            steps = [step.partition("\n") for step in re.split(r"^\$ ", text, flags=re.M)[1:]]
        else:
            steps = [(line, "", "") for line in text.splitlines()]
        for line, _, below in steps:
            command = re.sub(r"^\./run\b", "fluxbench", line)
            if line.strip() == "./run":
                command = "fluxbench serve"
            if re.search(r"\bfluxbench [a-z-]", command) and not re.search(
                r"^pip |\[[A-Z]", command
            ):
                yield Example(page, command, below)


EXAMPLES = [example for page in PAGES for example in examples_of(page)]


def proof_of(example: Example) -> str | None:
    """Where it is proven, if it cannot run here: the longest beginning counts."""
    said = example.command.partition("fluxbench ")[2]
    fits = [start for start in PROVEN if re.match(rf"{re.escape(start)}(?!\w)", said)]
    return max(fits, key=len) if fits else None


RUN_HERE = [example for example in EXAMPLES if proof_of(example) is None]


@pytest.fixture(scope="module")
def things(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """What pages speak of: captures of 24 tracks, folders of them, and a book with a line-up."""
    folder = tmp_path_factory.mktemp("things")
    time_s = np.arange(66 * 8000)[:, None] / 8000
    tone = 0.2 * np.sin(2 * np.pi * 1000 * time_s).astype(np.float32)
    soundfile.write(folder / "transfer.wav", np.repeat(tone[: 66 * 8000], 24, axis=1), 8000)
    for name in ("archive", "reels", "stick", "studio"):
        (folder / name).mkdir()
    for name in ("archive/a.wav", "reels/one.wav", "reels/two.wav"):
        soundfile.write(folder / name, tone[: 8 * 8000], 8000)
    (folder / "data" / "fluxbench").mkdir(parents=True)
    write_lineup(folder / "data" / "fluxbench" / "book.db", shown(4), whole(4))
    return folder


@cache
def files_told(page: Path) -> dict[str, str]:
    """A file that a page shows, such as reel.toml for the block marked `toml`."""
    return {
        f"reel.{kind}": re.sub(rf"^{indent}", "", block, flags=re.M)
        for indent, kind, block in BLOCK.findall(page.read_text())
        if kind == "toml"
    }


@pytest.mark.parametrize(
    "page", sorted({example.page for example in RUN_HERE}), ids=lambda page: page.stem
)
def test_examples_run_and_print_what_the_page_shows(
    page: Path,
    things: Path,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """In the order of the page, so that a later one finds what an earlier one wrote."""
    folder = tmp_path / "here"
    shutil.copytree(things, folder)
    for name, text in files_told(page).items():
        (folder / name).write_text(text)
    monkeypatch.chdir(folder)
    monkeypatch.setenv("XDG_DATA_HOME", str(folder / "data"))
    for example in [example for example in RUN_HERE if example.page == page]:
        source, _, command = example.command.rpartition("| ")
        if source:
            listed = "".join(f"{file}\n" for file in sorted(folder.glob("archive/*.wav")))
            monkeypatch.setattr("sys.stdin", StringIO(listed))
        code, out, errors = run(command, folder, capsys)
        assert code == 0, f"{example.command}: {errors}"
        if example.shown.strip():
            assert out == example.shown


def run(command: str, folder: Path, capsys: Any) -> tuple[int, str, str]:
    """A command as a shell would: words, patterns of file names, an output into a file."""
    command, _, into = command.partition(" > ")
    for place in ELSEWHERE:
        command = command.replace(place, str(folder / Path(place).name))
    words = []
    for word in shlex.split(command)[1:]:
        found = sorted(str(file) for file in folder.glob(word)) if "*" in word else []
        words += found or [word]
    code = main([*words, *SHORTER.get(words[0], [])])
    out, errors = capsys.readouterr()
    if into:
        (folder / into.strip()).write_text(out)
    return code, out, errors


@pytest.mark.parametrize("start", PROVEN)
def test_what_cannot_run_here_runs_in_a_test_that_exists(start: str) -> None:
    assert any(proof_of(example) == start for example in EXAMPLES), "no page shows it any more"
    file, _, name = PROVEN[start].partition("::")
    assert re.search(rf"^(async )?def {name}\b", (ROOT / file).read_text(), re.M)


@pytest.mark.parametrize(
    "example", [e for e in EXAMPLES if e not in RUN_HERE], ids=lambda e: e.command[:60]
)
def test_what_cannot_run_here_is_understood(example: Example) -> None:
    """Its command takes these words, though it is not called."""
    name, *rest = example.words[1:]
    command = COMMANDS[name].load(name)
    while getattr(command, "commands", None) and rest and rest[0] in command.commands:
        command = command.commands[rest.pop(0)]
    if getattr(command, "commands", None):
        assert command.invoke_without_command or rest == []
    else:
        command.make_context(name, rest)


def test_there_are_examples() -> None:
    assert len(RUN_HERE) >= 20
    assert len({example.page for example in RUN_HERE}) >= 8
