"""The contract of `fluxbench tones`: a Broadcast Wave file, a line a tone, one line of error."""

import csv
import io
import json
import os
import re
import resource
import struct
import subprocess
import sys
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
import soundfile  # type: ignore[import-untyped]
from numpy.typing import NDArray
from scipy import fft

import fluxbench
from fluxbench.base import Block, DeviceLostError, Flag
from fluxbench.cli import main
from fluxbench.cli._tones_played import play
from fluxbench.signals import PassageSender, line_up_passages
from fluxbench.trade import line_up_tones

REFERENCE = Path(__file__).parents[1] / "reference"
ROOMY = 200_000
NAMES = ["number", "frequency_hz", "level_db", "level_dbfs", "start_s", "end_s"]


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return tmp_path


def told(capsys: pytest.CaptureFixture[str], *options: str) -> list[dict[str, float]]:
    """Write t.wav, and what is said of its tones."""
    assert main(["tones", "t.wav", "--seconds", "2", "--json", *options]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    rows = [json.loads(line, parse_constant=pytest.fail) for line in out.splitlines()]
    assert all(list(row) == NAMES for row in rows)
    return rows


def refused(capsys: pytest.CaptureFixture[str], code: int, *arguments: str) -> str:
    assert main(["tones", *arguments, "--json"]) == code
    out, err = capsys.readouterr()
    assert (out, err.count("\n")) == ("", 1)
    assert err.startswith("fluxbench: ")
    return err


def read_samples(path: str = "t.wav") -> tuple[NDArray[np.float64], int]:
    """By libsndfile, which is not ours."""
    wave, rate_hz = soundfile.read(path, always_2d=True)
    return wave, rate_hz


@pytest.mark.parametrize(
    ("options", "zero_vu_dbfs", "wanted"),
    [
        ("--speed 15", -16, [(1000, 0), (10_000, 0), (100, 0), (16_000, 0)]),
        ("--speed 30 --rate 96000 --zero-vu -18", -18,
         [(1000, 0), (10_000, 0), (100, 0), (16_000, 0)]),
        ("--speed 7.5 --rate 44100 --zero-vu -20", -20,
         [(1000, 0), (10_000, -10), (100, 0), (16_000, -10)]),
        ("--speed 3.75 --bits 16 --zero-vu 0", 0, [(1000, 0), (10_000, -10), (100, 0)]),
        ("--speed 7.5 --bits 16 --zero-vu -20", -20,
         [(1000, 0), (10_000, -10), (100, 0), (16_000, -10)]),
    ],
)  # fmt: skip
def test_every_tone_is_a_sine_of_its_level_where_it_is_said_to_be(
    capsys: pytest.CaptureFixture[str],
    options: str,
    zero_vu_dbfs: float,
    wanted: list[tuple[float, float]],
) -> None:
    """Two seconds hold whole periods of all: its line is one bin, 20 log10 of its height.

    Rounding moves a sample by half a step q at most, and so a line by 2 q / pi at most.
    """
    rows = told(capsys, *options.split())
    assert [row["number"] for row in rows] == list(range(1, len(wanted) + 1))
    assert [(row["frequency_hz"], row["level_db"]) for row in rows] == wanted
    wave, rate_hz = read_samples()
    step = 2.0**-15 if "--bits 16" in options else 2.0**-23
    for row in rows:
        top_dbfs = row["level_dbfs"]
        near_db = max(0.001, 20 * np.log10(1 + 2 * step / np.pi / 10 ** (top_dbfs / 20)))
        assert near_db < 0.006
        assert top_dbfs == zero_vu_dbfs + row["level_db"]
        assert row["end_s"] - row["start_s"] == pytest.approx(2.0)
        held = wave[round(row["start_s"] * rate_hz) : round(row["end_s"] * rate_hz), 0]
        assert len(held) == 2 * rate_hz
        lines = np.abs(fft.rfft(held)) * 2 / len(held)
        top = int(np.argmax(lines))
        assert top / 2 == row["frequency_hz"]
        assert 20 * np.log10(lines[top]) == pytest.approx(top_dbfs, abs=near_db)
        lines[top] = 0.0
        rest = np.sqrt(np.sum(lines**2) / 2)
        assert rest <= step / 2  # and nothing else: rounding alone


def test_tracks_are_alike_and_two_seconds_of_nothing_lie_between(
    capsys: pytest.CaptureFixture[str],
) -> None:
    rows = told(capsys, "--speed", "15", "--tracks", "5", "--no-slate")
    wave, rate_hz = read_samples()
    assert wave.shape[1] == 5
    assert (wave == wave[:, :1]).all()
    sounds = np.flatnonzero(wave[:, 0])
    gaps = np.diff(sounds)
    assert np.count_nonzero(gaps > 0.1 * rate_hz) == len(rows) - 1
    assert gaps[gaps > 0.1 * rate_hz].min() >= 2 * rate_hz
    assert sounds[0] >= 2 * rate_hz
    assert len(wave) - sounds[-1] >= 2 * rate_hz


def test_slates_can_be_counted(capsys: pytest.CaptureFixture[str]) -> None:
    """Before each tone as many pips of 250 Hz as its number, 20 dB below 0 VU, one a second."""
    rows = told(capsys, "--speed", "15")
    wave, rate_hz = read_samples()
    loud = np.abs(wave[:, 0]) > 0.5 * 10 ** (-36 / 20)
    before_s = 0.0
    for row in rows:
        first, last = round(before_s * rate_hz), round((row["start_s"] - 0.1) * rate_hz)
        at = np.flatnonzero(loud[first:last]) + first
        begins = at[np.diff(at, prepend=-rate_hz) > 0.1 * rate_hz]
        assert len(begins) == row["number"]
        assert np.diff(begins) == pytest.approx([rate_hz] * (len(begins) - 1), abs=rate_hz / 250)
        pip = wave[begins[0] + round(0.03 * rate_hz) :, 0][: round(0.08 * rate_hz)]  # 20 periods
        lines = np.abs(fft.rfft(pip)) * 2 / len(pip)
        assert np.argmax(lines) == 20
        assert 20 * np.log10(lines[20]) == pytest.approx(-36, abs=0.01)
        before_s = row["end_s"] + 0.1


def test_nothing_clicks(capsys: pytest.CaptureFixture[str]) -> None:
    """A click is a jump or a corner: both are second differences far above a sine's.

    With turn w a frame, a ramp r of 20 ms and amplitude 1, (r sin)'' is w^2 + 2 r' w + r'' at most;
    a raised cosine of n frames has r' = pi / 2n and r'' = pi^2 / 2n^2. Rounding adds two steps.
    """
    rows = told(capsys, "--speed", "15")
    wave, rate_hz = read_samples()
    bends = np.abs(np.diff(wave[:, 0], 2))

    def bend(frequency_hz: float, level_dbfs: float) -> float:
        turn, frames = 2 * np.pi * frequency_hz / rate_hz, 0.02 * rate_hz
        most = turn**2 + turn * np.pi / frames + np.pi**2 / 2 / frames**2
        return float(10 ** (level_dbfs / 20) * most + 2 * 2.0**-23)

    begin = 0
    for row in rows:
        end = round((row["end_s"] + 0.03) * rate_hz)
        slate_end = round((row["start_s"] - 0.03) * rate_hz)
        assert bends[begin:slate_end].max() <= bend(250, -36)
        assert bends[slate_end:end].max() <= bend(row["frequency_hz"], -16)
        begin = end
    assert not bends[begin:].any()


def chunks(data: bytes) -> dict[bytes, bytes]:
    """Of a RIFF file: a name, a length, so many bytes and one to make them even."""
    assert (data[:4], data[8:12]) == (b"RIFF", b"WAVE")
    assert struct.unpack_from("<I", data, 4) == (len(data) - 8,)
    found, at = {}, 12
    while at < len(data):
        name, length = struct.unpack_from("<4sI", data, at)
        found[name] = data[at + 8 : at + 8 + length]
        at += 8 + length + length % 2
    assert at == len(data)
    return found


@pytest.mark.parametrize(
    ("tracks", "mode", "more"), [(1, "mono", ""), (2, "dual-mono", ""), (3, "mono", "3 tracks")]
)
def test_the_broadcast_extension(
    capsys: pytest.CaptureFixture[str], tracks: int, mode: str, more: str
) -> None:
    """Places and sizes: bext_fields.csv (EBU Tech 3285); history: r98_fields.csv (EBU R98)."""
    earliest = datetime.now().astimezone().replace(microsecond=0)
    told(capsys, "--speed", "7.5", "--tracks", str(tracks), "--rate", "44100")
    found = chunks(Path("t.wav").read_bytes())
    assert list(found) == [b"bext", b"fmt ", b"data"]
    assert struct.unpack_from("<HIIH", found[b"fmt "], 2) == (
        tracks, 44_100, 44_100 * 3 * tracks, 3 * tracks,
    )  # fmt: skip
    rows = list(csv.DictReader((REFERENCE / "bext_fields.csv").read_text().splitlines()))
    bext, field = found[b"bext"], {}
    for row in rows:
        begin = int(row["offset_in_chunk_data"])
        length = int(row["bytes"]) if row["bytes"].isdigit() else len(bext) - begin
        field[row["field"]] = bext[begin : begin + length]
    text = {name: value.rstrip(b"\0").decode("ascii") for name, value in field.items()}
    assert text["Description"] == (
        "Line-up tones for 7.5 in/s, all tracks alike: 1 kHz 0 dB, 10 kHz -10 dB,"
        " 100 Hz 0 dB, 16 kHz -10 dB re 0 VU; 0 VU is -16 dBFS"
    )
    assert text["Originator"] == "Fluxbench"
    written = datetime.strptime(
        f"{text['OriginationDate']} {text['OriginationTime']}", "%Y-%m-%d %H-%M-%S"
    ).astimezone()
    assert earliest <= written <= earliest + timedelta(minutes=2)
    assert field["Version"] == b"\1\0"
    others = set(field) - {
        "Description", "Originator", "OriginationDate", "OriginationTime", "Version",
        "CodingHistory",
    }  # fmt: skip
    assert all(not any(field[name]) for name in others)
    history = text["CodingHistory"]
    assert history.endswith("\r\n")
    assert history.count("\n") == 1
    keys = dict(part.split("=") for part in history.strip().split(","))
    known = csv.DictReader((REFERENCE / "r98_fields.csv").read_text().splitlines())
    assert set(keys) <= {row["key"] for row in known}
    assert (keys["A"], keys["F"], keys["W"], keys["M"]) == ("PCM", "44100", "24", mode)
    assert keys["T"].startswith(
        f"Fluxbench {fluxbench.__version__}; line-up tones 7.5 in/s; rounded without dither"
    )
    assert more in keys["T"]


def test_read_finds_the_tones_and_takes_no_slate_for_one(
    capsys: pytest.CaptureFixture[str],
) -> None:
    rows = told(capsys, "--speed", "7.5", "--tracks", "2")
    assert main(["read", "--json", "t.wav"]) == 0
    line = json.loads(capsys.readouterr().out)
    capture = line["capture"]
    assert (capture["validity"], capture["tracks"], capture["notes"]) == ("ok", 2, [])
    assert capture["bext"]["originator"] == "Fluxbench"
    assert capture["bext"]["coding_history"][0]["T"].startswith("Fluxbench")
    tones = [section for section in line["sections"] if section["kind"] == "tone"]
    assert [tone["nominal_hz"] for tone in tones] == [row["frequency_hz"] for row in rows]
    for tone, row in zip(tones, rows, strict=True):
        assert tone["start_s"] == pytest.approx(row["start_s"], abs=0.03)
        assert tone["end_s"] == pytest.approx(row["end_s"], abs=0.03)
        for track in tone["tracks"]:
            assert track["validity"] == "ok"
            assert track["level_dbfs"] == pytest.approx(row["level_dbfs"], abs=0.001)


def test_without_json_it_is_a_table_and_a_caution(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["tones", "t.wav", "--speed", "7.5", "--seconds", "1", "--tracks", "24"]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert re.search(r"2\D+10000\D+-10\D+-26\D+", out)
    assert "t.wav: 0 min 29 s, 48000 Hz, 24 bit, 24 tracks; 0 VU is -16 dBFS" in out
    assert "monitors and headphones down" in out
    assert "recorded over" in out


def test_a_tone_lasts_half_a_minute_unasked(capsys: pytest.CaptureFixture[str]) -> None:
    """The least of public guides of mastering studios."""
    assert main(["tones", "t.wav", "--speed", "15", "--rate", "32100", "--json"]) == 0
    for line in capsys.readouterr().out.splitlines():
        row = json.loads(line)
        assert row["end_s"] - row["start_s"] >= 30 - 1e-9


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ("", "Missing option '--speed'"),
        ("--speed 14", "no line-up tones are known for 14 in/s; use 30, 15, 7.5, 3.75"),
        ("--speed nan", "no line-up tones are known for nan in/s"),
        ("--speed 15 --rate 32000", "16 kHz cannot be sent at --rate 32000; give one above"),
        ("--speed 15 --rate 1", "--rate cannot be 1"),
        ("--speed 15 --zero-vu 0.1", "--zero-vu cannot be 0.1"),
        ("--speed 15 --zero-vu nan", "--zero-vu cannot be nan"),
        ("--speed 15 --tracks 0", "--tracks"),
        ("--speed 15 --tracks 65", "--tracks"),
        ("--speed 15 --seconds -1", "--seconds cannot be -1"),
        ("--speed 15 --seconds inf", "--seconds cannot be inf"),
        ("--speed 15 --bits 20", "samples of 20 bits cannot be written; use 16 or 24"),
    ],
)
def test_misuse_is_one_line_and_code_2(
    capsys: pytest.CaptureFixture[str], folder: Path, options: str, says: str
) -> None:
    assert says in refused(capsys, 2, "t.wav", *options.split())
    assert list(folder.iterdir()) == []


def test_another_kind_of_file_is_not_promised(
    capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    assert "end it in .wav" in refused(capsys, 2, "t.flac", "--speed", "15")
    assert list(folder.iterdir()) == []


def test_a_file_is_not_written_over_unasked(
    capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    (folder / "t.wav").write_text("mine")
    says = refused(capsys, 2, "t.wav", "--speed", "15")
    assert says == "fluxbench: t.wav is there already; give another name, or --replace\n"
    assert (folder / "t.wav").read_text() == "mine"
    told(capsys, "--speed", "15", "--replace")
    assert soundfile.info("t.wav").frames > 0


def test_no_such_folder_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    says = refused(capsys, 1, "none/t.wav", "--speed", "15")
    assert "none/t.wav cannot be written: No such file or directory" in says


def test_a_folder_that_may_not_be_written_is_one_line(
    capsys: pytest.CaptureFixture[str], folder: Path
) -> None:
    told(capsys, "--speed", "15")  # all that is imported late is there
    closed = folder / "closed"
    closed.mkdir(mode=0o500)
    user = os.geteuid()
    if user == 0:
        os.seteuid(65_534)  # nobody is asked for leave but a plain user
    try:
        says = refused(capsys, 1, f"{closed}/t.wav", "--speed", "15")
    finally:
        os.seteuid(user)
    assert "t.wav cannot be written: Permission denied" in says
    assert list(closed.iterdir()) == []


@pytest.mark.parametrize("there", [False, True])
def test_a_disk_that_fills_is_one_line_and_leaves_no_half_file(folder: Path, there: bool) -> None:
    """A limit on the length of files stands in for the disk: the system refuses to write on."""
    if there:
        (folder / "t.wav").write_text("mine")
    done = subprocess.run(
        [sys.executable, "-m", "fluxbench", "tones", "t.wav", "--speed", "15", "--replace"],
        capture_output=True,
        text=True,
        check=False,
        preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (ROOMY, ROOMY)),
    )
    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == (
        "fluxbench: t.wav cannot be written: File too large;"
        " no part of it is left, choose another place\n"
    )
    assert [file.read_text() for file in folder.iterdir()] == ["mine"] * there


class Wires:
    """A link that keeps what is sent; `lost_at_s` is when it tells of lost frames."""

    rate_hz, inputs, outputs = 48_000, 2, 2

    def __init__(self, lost_at_s: float = np.inf) -> None:
        self.sent: list[NDArray[np.float32]] = []
        self._lost_at, self._frames = lost_at_s * self.rate_hz, 0

    def exchange(self, send: NDArray[np.float32]) -> Block:
        self.sent.append(send.copy())
        first, self._frames = self._frames, self._frames + len(send)
        lost = first <= self._lost_at < self._frames
        return Block(send, first, Flag.OUTPUT_LOST if lost else Flag.NONE)

    def close(self) -> None:
        pass


def played(link: Wires, tell: Callable[[str], None]) -> NDArray[np.float32]:
    printed = line_up_tones(15.0, 2.0)
    sender = PassageSender(line_up_passages(printed, -16.0), link.rate_hz, link.outputs)
    play(link, sender, printed, tell)
    return np.concatenate(list(sender.blocks()))


def test_what_is_played_is_what_a_file_would_hold() -> None:
    link, said = Wires(), []
    wanted = played(link, said.append)
    sound = np.concatenate(link.sent)
    assert np.array_equal(sound[: len(wanted)], wanted)
    assert not sound[len(wanted) :].any()
    assert said[0] == "tone 1 of 4: 1 kHz at 0 dB for 2 s"
    assert len(said) == 4


def test_tones_with_a_gap_are_told_and_end_at_once() -> None:
    link = Wires(lost_at_s=4.0)
    with pytest.raises(DeviceLostError, match=r"frames were lost 4\.\d s after the begin"):
        played(link, lambda line: None)
    assert sum(map(len, link.sent)) < 4.6 * link.rate_hz


def test_whoever_breaks_off_hears_no_click() -> None:
    link, said = Wires(), []

    def stop(line: str) -> None:
        said.append(line)
        if len(said) == 2:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        played(link, stop)
    sound = np.concatenate(link.sent)[:, 0]
    assert not sound[-4800:].any()
    # A sine of 10 kHz at -16 dBFS moves by 2 pi f/fs of its peak a frame at most (closed form).
    assert np.abs(np.diff(sound[-20_000:])).max() < 1.01 * 10 ** (-16 / 20) * 2 * np.pi * 10 / 48


def test_nothing_is_sent_before_somebody_has_agreed(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("n\n"))
    assert main(["tones", "--interface", "none", "--speed", "15"]) == 2
    err = capsys.readouterr().err
    assert "monitors and headphones down" in err
    assert "nothing was sent" in err


@pytest.mark.parametrize(
    ("options", "why"),
    [
        ((), "say where the tones go"),
        (("t.wav", "--interface", "some"), "say where the tones go"),
        (("--interface", "some", "--json"), "are for a file"),
    ],
)
def test_one_place_for_the_tones(
    capsys: pytest.CaptureFixture[str], options: tuple[str, ...], why: str
) -> None:
    assert main(["tones", *options, "--speed", "15"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert why in err
