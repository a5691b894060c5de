"""Whatever a file holds, `read` gives a line or a validity, never a traceback."""

import json
import struct
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fluxbench.captures._bext import broadcast_extension, coding_history
from fluxbench.cli import main
from tests.captures import made

RATE_HZ = 8000
WAVE = made.tone(0.4, RATE_HZ, 1000.0)

SOMETIMES = settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)


@pytest.fixture(scope="module")
def seeds(tmp_path_factory: pytest.TempPathFactory) -> list[bytes]:
    """Good files of every kind, to be spoiled."""
    folder = tmp_path_factory.mktemp("seeds")
    kinds = (("WAV", "PCM_16"), ("WAV", "FLOAT"), ("RF64", "PCM_24"), ("AIFF", "PCM_16"),
             ("FLAC", "PCM_16"))  # fmt: skip
    return [
        made.written(folder / f"{kind}{coding}", WAVE, RATE_HZ, coding, format=kind).read_bytes()
        for kind, coding in kinds
    ]


@pytest.fixture(scope="module")
def good(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return made.written(tmp_path_factory.mktemp("good") / "good.wav", WAVE, RATE_HZ)


def check(content: bytes, folder: Path, good: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One line for each file, on standard output or on standard error; the good one measured."""
    bad = folder / "bad.wav"
    bad.write_bytes(content)
    code = main(["read", "--json", f"{bad}", f"{good}"])
    out, err = capsys.readouterr()
    lines = [json.loads(line, parse_constant=pytest.fail) for line in out.splitlines()]
    assert lines[-1]["capture"]["path"] == f"{good}"
    assert lines[-1]["capture"]["validity"] == "ok"
    assert len(lines) + err.count("\n") == 2
    assert code == (1 if err else 0)


@SOMETIMES
@given(data=st.data())
def test_headers_and_data_with_other_bytes_in_them(
    data: st.DataObject,
    seeds: list[bytes],
    good: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    content = bytearray(data.draw(st.sampled_from(seeds)))
    for _ in range(data.draw(st.integers(1, 4))):
        most = data.draw(st.sampled_from([64, len(content) - 4]))
        at = data.draw(st.integers(0, most))
        some = data.draw(st.binary(min_size=1, max_size=4))
        content[at : at + len(some)] = some
    if data.draw(st.booleans()):
        content = content[: data.draw(st.integers(0, len(content)))]
    check(bytes(content), tmp_path, good, capsys)


@SOMETIMES
@given(
    tag=st.sampled_from([0, 1, 3, 0xFFFE, 7]),
    tracks=st.one_of(st.integers(0, 3), st.integers(0, 65_535)),
    rate_hz=st.one_of(st.sampled_from([0, 7999, 8000, 192_000, 192_001]), st.integers(0, 2**32)),
    bits=st.one_of(st.sampled_from([8, 16, 24, 32, 64]), st.integers(0, 65_535)),
    size=st.one_of(st.integers(0, 4000), st.integers(0, 2**32 - 1)),
    body=st.binary(max_size=4000),
)
def test_headers_of_any_format(
    tag: int,
    tracks: int,
    rate_hz: int,
    bits: int,
    size: int,
    body: bytes,
    good: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    fmt = made.chunk(b"fmt ", made.wave_format(tracks, rate_hz, bits, tag))
    check(made.wave_file(fmt, b"data" + struct.pack("<I", size) + body), tmp_path, good, capsys)


@settings(SOMETIMES, max_examples=40)
@given(
    values=st.lists(
        st.one_of(st.floats(width=32), st.sampled_from([0.0, 1.0, -1.0, 1e-30])), max_size=24
    ),
    level=st.sampled_from([0.0, 1e-4, 0.5, 4.0]),
)
def test_any_samples(
    values: list[float],
    level: float,
    good: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    samples = (level * made.tone(0.6, RATE_HZ, 700.0, 0.0)).astype("<f4")[:, 0]
    samples[1000 : 1000 + len(values)] = np.array(values, "<f4")
    fmt = made.chunk(b"fmt ", made.wave_format(1, RATE_HZ, 32, 3))
    check(made.wave_file(fmt, made.chunk(b"data", samples.tobytes())), tmp_path, good, capsys)


@given(st.binary(max_size=800))
def test_any_broadcast_extension(chunk: bytes) -> None:
    """It is read or it is none; what is shown of it can be shown."""
    found = broadcast_extension(chunk)
    assert (found is None) == (len(chunk) < 602)
    if found is not None:
        assert found.description.isascii()


@given(st.text(max_size=60))
def test_any_coding_history(text: str) -> None:
    """Nothing that is written is lost but spaces, commas and line ends."""
    told = "".join(key + value for line in coding_history(text) for key, value in line.items())
    letters = {letter for letter in text if letter.isalnum() and letter.isascii()}
    assert letters - set(told) == set() or "=" in text


FRAMES = 8000
STRETCHES = st.tuples(
    st.sampled_from(["tone", "burst", "noise", "silence", "clipped", "direct", "nothing"]),
    st.sampled_from([50.0, 440.0, 1000.0, 3150.0, 3999.0]),
    st.lists(st.sampled_from([0.0, 1e-5, 1e-3, 0.05, 0.9]), min_size=3, max_size=3),
)


def stretch(kind: str, frequency_hz: float, peaks: list[float], seed: int) -> "made.F64":
    frames = FRAMES // 2 if kind == "burst" else 2 * FRAMES
    sine = made.tone(frames / RATE_HZ, RATE_HZ, frequency_hz, 0.0)
    random = np.random.default_rng(seed).standard_normal((frames, 3))
    each = {"tone": sine, "burst": sine, "noise": 0.3 * random, "clipped": 3.0 * sine,
            "direct": 0.3 + sine, "nothing": np.full((frames, 3), np.nan)}  # fmt: skip
    return np.asarray(np.clip(each.get(kind, 0.0 * sine) * np.array(peaks), -1.0, 1.0))


@settings(SOMETIMES, max_examples=30)
@given(parts=st.lists(STRETCHES, min_size=2, max_size=6), under=st.booleans())
def test_any_sections_side_by_side(
    parts: list[tuple[str, float, list[float]]],
    under: bool,
    good: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Whatever stands beside what on which track, and whatever that would tell."""
    samples = np.concatenate([stretch(*part, seed=k) for k, part in enumerate(parts)])
    if under:
        samples = samples + made.noise(len(samples) / RATE_HZ, RATE_HZ, -70.0, tracks=3)
    fmt = made.chunk(b"fmt ", made.wave_format(3, RATE_HZ, 32, 3))
    data = made.chunk(b"data", samples.astype("<f4").tobytes())
    check(made.wave_file(fmt, data), tmp_path, good, capsys)
