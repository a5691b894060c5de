"""The contract of `fluxbench work-out`: one JSON object on one line, these names and values."""

import json
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from fluxbench.cli import main

CONTRACT = Path(__file__).parents[1] / "reference" / "work-out.json"
EXAMPLES: dict[str, dict[str, object]] = json.loads(CONTRACT.read_text())["examples"]


def arguments(example: str) -> list[str]:
    """The command of an example without what stands in brackets."""
    return [*shlex.split(example.partition(" [")[0]), "--json"]


def run(*arguments: str) -> "subprocess.CompletedProcess[str]":
    command = [sys.executable, "-m", "fluxbench", *arguments]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def answer(capsys: pytest.CaptureFixture[str], command: str) -> dict[str, float | None]:
    assert main(shlex.split(f"work-out {command} --json")) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.count("\n") == 1
    found = json.loads(out, parse_constant=pytest.fail)
    assert isinstance(found, dict)
    return found


@pytest.mark.parametrize("example", EXAMPLES)
def test_example(example: str) -> None:
    done = run(*arguments(example))
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.count("\n") == 1
    found = json.loads(done.stdout)
    wanted = EXAMPLES[example]
    assert list(found) == list(wanted)
    if wanted.get("drop_db") == "a number":
        assert isinstance(found["drop_db"], float)
        assert found["estimate"] is True
    else:
        for name, shown in wanted.items():
            decimals = len(repr(shown).partition(".")[2])
            assert found[name] == pytest.approx(shown, abs=0.501 * 10**-decimals)


def test_there_is_an_example_of_every_command(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["work-out", "--help"]) == 0
    listed = capsys.readouterr().out.partition("Commands:")[2].split("\n")
    commands = {line.split()[0] for line in listed if line.strip()}
    assert commands == {example.split()[1] for example in EXAMPLES}


@pytest.mark.parametrize("example", EXAMPLES)
def test_without_json_it_is_a_sentence_with_its_source(
    capsys: pytest.CaptureFixture[str], example: str
) -> None:
    assert main(arguments(example)[:-1]) == 0
    out, err = capsys.readouterr()
    assert err == ""
    assert out.splitlines()[-1].startswith("Source: ")
    assert out.count("\n") <= 12


@pytest.mark.parametrize(
    ("command", "names"),
    [
        ("flux 355 --re 185", ["+5.66 dB", "+6"]),
        ("losses --gap-um 4 --speed-ips 15 --frequency-hz 10000", ["gap", "0.19", "Eargle"]),
        ("azimuth --arcmin 2 --distance-mm 49 --speed-ips 15 --frequency-hz 1e4", ["half a turn"]),
        ("reel --length-ft 2500 --speed-ips 15", ["33 min 20 s"]),
        ("level -10 --unit dbv", ["-7.78 dBu", "0.31623 V"]),
        (
            "over-bias --drop-db 3 --frequency-hz 1e4 --speed-ips 15 --gap-um 9 --to-speed-ips 30",
            ["estimate", "not published"],
        ),
    ],
)
def test_the_sentence(capsys: pytest.CaptureFixture[str], command: str, names: list[str]) -> None:
    assert main(shlex.split(f"work-out {command}")) == 0
    out = capsys.readouterr().out
    for name in names:
        assert name in out


def test_equalisation_by_name_is_that_of_its_time_constants(
    capsys: pytest.CaptureFixture[str],
) -> None:
    """IASA-TC 04: NAB at 15 ips is 3180 + 50 us, IEC1 is 35 us alone."""
    for name, t1_us, t2_us in [("nab", "3180", "50"), ("IEC1", "inf", "35")]:
        by_name = answer(
            capsys, f"equalisation --standard {name} --speed-ips 15 --frequency-hz 1e4"
        )
        by_constants = answer(
            capsys, f"equalisation --t1-us {t1_us} --t2-us {t2_us} --frequency-hz 1e4"
        )
        assert by_name == by_constants
    assert by_name["re_reference_db"] == -7.456  # published table, 10 kHz, 35 us


def test_the_reference_frequency_is_a_choice(capsys: pytest.CaptureFixture[str]) -> None:
    """At the reference itself nothing is missing, and the level stays as it is."""
    found = answer(capsys, "equalisation --t1-us inf --t2-us 35 --frequency-hz 500 --re-hz 500")
    assert found["re_reference_db"] == 0
    assert found["flux_level_db"] == -0.052


def test_a_loss_not_asked_for_is_null(capsys: pytest.CaptureFixture[str]) -> None:
    """About 4 dB where the wavelength is two gaps is a rule of design (Mallinson 1993)."""
    found = answer(capsys, "losses --gap-um 19.05 --speed-ips 15 --frequency-hz 10000")
    assert found["gap_db"] == pytest.approx(4, abs=1)
    assert [found[f"{name}_db"] for name in ("spacing", "thickness", "azimuth")] == [None] * 3


def test_no_voltage_is_null_in_decibels(capsys: pytest.CaptureFixture[str]) -> None:
    found = answer(capsys, "level 0 --unit volts")
    assert found == {"dbu": None, "dbv": None, "volts": 0}


@pytest.mark.parametrize("unit", ["dbu", "dbv", "volts"])
def test_a_level_in_any_unit(capsys: pytest.CaptureFixture[str], unit: str) -> None:
    """-10 dBV = -7.782 dBu = 0.3162 V (IEC 60027-3)."""
    value = {"dbu": "-7.7815125", "dbv": "-10", "volts": "0.31622777"}[unit]
    found = answer(capsys, f"level {value} --unit {unit}")
    assert found == {"dbu": -7.782, "dbv": -10, "volts": 0.31623}


def test_over_bias_also_by_tone_and_gap(capsys: pytest.CaptureFixture[str]) -> None:
    """Twice the frequency at twice the speed is the same wave (a rule of 1967): nothing changes."""
    command = "over-bias --drop-db 3 --frequency-hz 1e4 --speed-ips 15 --gap-um 9"
    same = answer(capsys, f"{command} --to-speed-ips 30 --to-frequency-hz 2e4")
    assert same == {"drop_db": 3, "estimate": True}
    wider = answer(capsys, f"{command} --to-gap-um 12.7")["drop_db"]
    assert wider is not None
    assert wider > 3


@pytest.mark.parametrize(
    ("command", "says"),
    [
        ("flux 0 --re 185", "NWB_PER_M cannot be 0"),
        ("flux nan --re 185", "NWB_PER_M cannot be nan"),
        ("flux 355", "Missing option '--re'"),
        ("equalisation --frequency-hz 1000", "--standard with --speed-ips"),
        ("equalisation --t2-us 35 --frequency-hz 1000", "inf for none"),
        ("equalisation --t1-us inf --t2-us 35 --standard NAB --frequency-hz 1e3", "one of the two"),
        ("equalisation --t1-us 0 --t2-us 35 --frequency-hz 1e3", "time constant of 0"),
        ("equalisation --t1-us inf --t2-us inf --frequency-hz 1e3", "time constant of inf"),
        ("equalisation --standard XYZ --speed-ips 15 --frequency-hz 1e3", "IEC1, CCIR"),
        ("equalisation --standard NAB --speed-ips 14 --frequency-hz 1e3", "use 30, 15"),
        ("equalisation --t1-us inf --t2-us 35 --frequency-hz 0", "--frequency-hz cannot be 0"),
        ("wavelength --speed-ips -15 --frequency-hz 1000", "--speed-ips cannot be -15"),
        ("wavelength --speed-ips inf --frequency-hz 1000", "--speed-ips cannot be inf"),
        ("losses --speed-ips 15 --frequency-hz 1000", "no loss is asked for"),
        ("losses --speed-ips 15 --frequency-hz 1000 --gap-um -1", "--gap-um cannot be -1"),
        ("losses --speed-ips 15 --frequency-hz 1000 --azimuth-arcmin 3", "both"),
        ("over-bias --drop-db 3 --frequency-hz 1e4 --speed-ips 15 --gap-um 9", "--to-speed-ips"),
        (
            "over-bias --drop-db -1 --frequency-hz 1e4 --speed-ips 15 --gap-um 9 --to-gap-um 7",
            "over-bias of -1 dB",
        ),
        (
            "over-bias --drop-db 3 --frequency-hz 1e4 --speed-ips 15 --gap-um 9 --to-speed-ips 0",
            "--to-speed-ips cannot be 0",
        ),
        ("azimuth --arcmin 5400 --distance-mm 4 --speed-ips 15 --frequency-hz 1e4", "arc-min"),
        ("reel --length-ft -1 --speed-ips 15", "--length-ft cannot be -1"),
        ("level 4 --unit vu", "vu"),
        ("level -1 --unit volts", "VALUE cannot be -1"),
        ("level inf --unit dbu", "VALUE cannot be inf"),
        ("level 4", "Missing option '--unit'"),
    ],
)
def test_misuse_is_one_line_and_code_2(
    capsys: pytest.CaptureFixture[str], command: str, says: str
) -> None:
    assert main([*shlex.split(f"work-out {command}"), "--json"]) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("fluxbench: ")
    assert err.count("\n") == 1
    assert says in err
