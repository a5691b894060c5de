"""The code, the list of devices, and how often somebody may knock."""

import json
import stat
from itertools import count
from pathlib import Path

import pytest

from fluxbench.base import BookError, ConflictError
from fluxbench.web._devices import AT_MOST, KEPT_DAYS, Devices
from fluxbench.web._lan import link_to
from fluxbench.web._limits import Limit
from fluxbench.web._pairing import FREE_TRIES, LASTS_S, LONGEST_WAIT_S, TRIES, Pairing


class Clock:
    """Time that passes when told to."""

    def __init__(self) -> None:
        self.now_s = 1000.0

    def __call__(self) -> float:
        return self.now_s


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def pairing(clock: Clock) -> Pairing:
    codes = (f"{number:06}" for number in count(1))
    made = Pairing(clock, lambda: next(codes))
    made.open()
    return made


def test_a_code_lets_one_device_in(pairing: Pairing) -> None:
    assert pairing.try_code("000001").right
    assert pairing.code == "000002"
    assert not pairing.try_code("000001").right


def test_a_code_ends(pairing: Pairing, clock: Clock) -> None:
    clock.now_s += LASTS_S - 1.0
    assert pairing.left_s == pytest.approx(1.0)
    clock.now_s += 1.0
    assert pairing.code is None
    assert not pairing.try_code("000001").right


def test_none_is_open_until_one_is_drawn_or_after_it_is_closed(clock: Clock) -> None:
    pairing = Pairing(clock)
    assert pairing.code is None
    pairing.open()
    assert pairing.code is not None
    assert len(pairing.code) == 6
    pairing.close()
    assert pairing.code is None


def test_wrong_codes_cost_longer_and_longer_and_then_void_it(
    pairing: Pairing, clock: Clock
) -> None:
    waits = []
    for _ in range(TRIES):
        tried = pairing.try_code("999999")
        waits.append(tried.wait_s)
        clock.now_s += tried.wait_s
    assert waits == [0.0] * FREE_TRIES + [1.0, 2.0, 4.0]
    assert pairing.code is None
    assert not pairing.try_code("000001").right
    pairing.open()  # somebody at the desk: no wait for the right code, but the count goes on
    assert pairing.try_code("999999").wait_s == 8.0


def test_while_it_waits_the_right_code_is_not_looked_at_either(
    pairing: Pairing, clock: Clock
) -> None:
    for _ in range(FREE_TRIES + 1):
        pairing.try_code("999999")
    early = pairing.try_code("000001")
    assert (early.right, early.wait_s) == (False, pytest.approx(1.0))
    clock.now_s += 1.0
    assert pairing.try_code("000001").right
    assert pairing.wrong == 0


def test_the_longest_wait_has_an_end(pairing: Pairing, clock: Clock) -> None:
    longest = 0.0
    for _ in range(40):
        tried = pairing.try_code("999999")
        longest = max(longest, tried.wait_s)
        clock.now_s += tried.wait_s
        if pairing.code is None:
            pairing.open()
    assert longest == LONGEST_WAIT_S


def guesses_in_a_day(pairing: Pairing, clock: Clock) -> int:
    """Codes that somebody gets looked at in a day, with a desk that draws a code at each chance."""
    looked_at, ends_s = 0, clock.now_s + 86_400.0
    while clock.now_s < ends_s and looked_at < 1000:
        if pairing.code is None:
            clock.now_s += 1.0
            pairing.open()
        before = pairing.wrong
        tried = pairing.try_code("999999")
        looked_at += pairing.wrong - before
        clock.now_s += tried.wait_s
    return looked_at


def test_a_code_is_not_guessed_in_a_day(pairing: Pairing, clock: Clock) -> None:
    """Even at a careless desk: a million codes, so the chance is guesses / 1e6."""
    assert guesses_in_a_day(pairing, clock) < 200


def test_a_pairing_without_waits_would_be_noticed(
    pairing: Pairing, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("fluxbench.web._pairing.FREE_TRIES", 10**9)
    assert guesses_in_a_day(pairing, clock) > 200


def test_signs_of_any_script_are_a_wrong_code(pairing: Pairing) -> None:
    assert not pairing.try_code("٠٠٠٠٠١").right
    assert not pairing.try_code("").right


# The list.


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "book.db.devices"


def test_devices_outlive_the_bench_and_their_secrets_are_not_written(file: Path) -> None:
    devices = Devices(file)
    tablet, secret = devices.add("Tablet")
    devices.hold(tablet.id)
    again = Devices(file)
    assert again.owner_of(secret) == tablet
    assert again.holder == tablet.id
    assert secret not in file.read_text()
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert again.owner_of(secret + "a") is None
    assert again.owner_of(tablet.sha256) is None


def test_a_secret_has_256_bits_and_is_never_the_same(file: Path) -> None:
    devices = Devices(file)
    secrets = {devices.add("Tablet")[1] for _ in range(AT_MOST)}
    assert len(secrets) == AT_MOST
    assert all(len(secret) == 43 for secret in secrets)  # 32 bytes at 6 bits a sign
    with pytest.raises(ConflictError, match="revoke one"):
        devices.add("one too many")


def test_who_was_removed_is_known_no_longer(file: Path) -> None:
    devices = Devices(file)
    tablet, secret = devices.add("Tablet")
    devices.hold(tablet.id)
    devices.remove(tablet.id)
    assert devices.owner_of(secret) is None
    assert Devices(file).owner_of(secret) is None
    assert Devices(file).holder is None


def test_a_device_of_long_ago_has_to_be_paired_again(file: Path) -> None:
    devices = Devices(file)
    _, secret = devices.add("Tablet")
    told = json.loads(file.read_text())
    told["devices"][0]["paired_at"] = "2020-01-01T00:00:00Z"
    file.write_text(json.dumps(told))
    assert KEPT_DAYS < 365
    assert Devices(file).owner_of(secret) is None


@pytest.mark.parametrize(
    ("given", "called"),
    [
        ("  Tablet\n at the\tdeck ", "Tablet at the deck"),
        ("", "Device"),
        ("\x1b[31mred", "[31mred"),
        ("desk", "desk 2"),
        ("x" * 100, "x" * 40),
    ],
)
def test_names_are_for_people(file: Path, given: str, called: str) -> None:
    assert Devices(file).add(given)[0].name == called


def test_no_two_have_the_same_name(file: Path) -> None:
    devices = Devices(file)
    assert [devices.add("Tablet")[0].name for _ in range(3)] == ["Tablet", "Tablet 2", "Tablet 3"]


@pytest.mark.parametrize("text", ["", "[]", "{}", '{"devices": [{}], "holder": null}', "\x00"])
def test_a_damaged_list_lets_nobody_in_and_says_so(file: Path, text: str) -> None:
    file.write_text(text)
    with pytest.raises(BookError, match="move that file away"):
        Devices(file)


def test_who_cannot_be_written_down_is_not_let_in(file: Path) -> None:
    devices = Devices(file / "nowhere")
    with pytest.raises(BookError, match="cannot be written"):
        devices.add("Tablet")
    assert list(devices) == []


# How often.


def test_so_many_at_once_then_so_many_a_second(clock: Clock) -> None:
    limit = Limit(3, 2.0, clock)
    assert [limit.wait_s("a") for _ in range(4)] == [0.0, 0.0, 0.0, 2.0]
    assert limit.wait_s("b") == 0.0
    clock.now_s += 2.0
    assert [limit.wait_s("a"), limit.wait_s("a") > 0.0] == [0.0, True]


def test_the_code_stands_where_no_browser_sends_it() -> None:
    assert link_to("192.168.7.5:7355", "000001") == "http://192.168.7.5:7355/#pair=000001"
