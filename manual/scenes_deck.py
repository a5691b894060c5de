"""Scenes of a bench with a practice deck, whose tape takes its time."""

from contextlib import suppress

from manual.camera import Camera, end, part, post, press, screen, until
from tests.browser.hands import Setting, see


def first(camera: Camera) -> None:
    """The first hour: the offer, and the first of its turns."""
    page = camera.page
    camera.draw("first-turns")
    press(page, "Show me")
    page.locator(".first-hand").wait_for()
    page.locator(".first .number").wait_for()
    page.wait_for_timeout(4000)
    camera.draw("first-level")


def quiet(camera: Camera) -> None:
    """What a new bench shows that needs no tape: most screens are empty yet."""
    page = camera.page
    camera.draw("bench")
    for name, key, buttons in (
        ("decks-empty", "d", ()),
        ("deck-asked", "d", ("Add the first deck",)),
        ("tapes-empty", "t", ("Calibration",)),
        ("reels-empty", "t", ("Reels",)),
        ("interfaces-empty", "t", ("Interfaces",)),
        ("history-empty", "h", ()),
        ("work-out", "w", ()),
        ("work-out-losses", "w", ("Waves and losses",)),
        ("captures-empty", "c", ()),
        ("practice", "p", ()),
        ("exercises", "p", ("Exercises",)),
    ):
        screen(page, key, *buttons)
        camera.draw(name)


def beside(camera: Camera) -> None:
    """What a new bench has beside its screens: faults, forms, the helps, silence."""
    page = camera.page
    screen(page, "p")
    page.get_by_text("Faults", exact=True).click()
    page.wait_for_timeout(500)
    camera.draw("faults")
    page.keyboard.press("b")
    for name, words in (("whose-fault", "Whose fault"), ("reel-label", "A reel from elsewhere")):
        press(page, words)
        camera.draw(name)
        press(page, "Leave it")
    page.keyboard.press("?")
    page.wait_for_timeout(800)
    camera.draw("help")
    press(page, "Words of the trade, explained")
    camera.draw("words")
    page.locator(".word-card").get_by_role("button", name="close").click()
    page.keyboard.press("Escape")
    page.wait_for_timeout(800)
    camera.draw("silenced")


def line_up(camera: Camera) -> None:
    """The beginning of one: what is asked, what the input check hears, the calibration tape."""
    page = camera.page
    page.keyboard.press("b")
    press(page, "Begin the line-up")
    page.get_by_text("Stop the tape and listen to the input").wait_for()
    camera.draw("asked")
    press(page, "Let the practice deck do it")
    page.wait_for_timeout(1500)
    camera.draw("input-check")
    until(page, lambda: page.locator(".focus .number").count() > 0)
    page.wait_for_timeout(6000)
    camera.draw("reproduce")
    page.locator(".stages [aria-current] button").click()
    page.wait_for_timeout(500)
    camera.draw("stage")
    page.locator(".stage-card").get_by_role("button", name="close").click()
    page.locator(".advised-head .word").click()
    page.wait_for_timeout(800)
    camera.draw("word")
    page.locator(".word-card").get_by_role("button", name="close").click()
    screen(page, "p")
    camera.draw("practice-line-up")
    screen(page, "d")
    camera.draw("runs-elsewhere")
    page.keyboard.press("b")
    end(page)
    page.wait_for_timeout(1000)
    camera.draw("stopped")


class _Drawn(Exception):  # noqa: N818 - no error: it ends what the hand was doing
    """What was wanted has been drawn."""


def bias(camera: Camera) -> None:
    """The peak has been passed, and the hand is on its way to the sheet's over-bias."""
    page = camera.page
    part(page, ["bias"])
    until(page, lambda: page.locator(".focus .number, .focus .who").count() > 0)
    page.wait_for_timeout(4000)
    camera.draw("bias-sought")
    screen(page, "p")
    page.get_by_label("Which trimmer").select_option("bias")

    def draw() -> None:
        screen(page, "b")
        page.wait_for_timeout(500)
        if see(page).deviation_db is not None:  # else it was in at once, and the next one is sought
            camera.draw("bias")
            raise _Drawn
        screen(page, "p")

    with suppress(_Drawn):
        for track in range(1, 5):
            Setting(page, track).done(120.0, draw)
    end(page)


def azimuth(camera: Camera) -> None:
    """A stack's screw, seen as delay across the tape."""
    page = camera.page
    part(page, ["azimuth"])
    until(page, lambda: page.locator(".focus .number").count() > 0)
    page.wait_for_timeout(6000)
    camera.draw("azimuth")
    screen(page, "p")
    camera.draw("practice-azimuth")
    end(page)


def verified(camera: Camera) -> None:
    """Every quantity of every track, the worst first."""
    page = camera.page
    page.keyboard.press("b")
    press(page, "Verify the deck")
    camera.draw("verify")
    press(page, "Begin to verify")
    until(page, lambda: page.locator(".focus.ended").count() > 0, 600.0)
    page.wait_for_timeout(1500)
    camera.draw("verified")
    press(page, "Response")
    camera.draw("response")


def doubt(camera: Camera) -> None:
    """Another calibration tape than that of the sheet, and the question that comes of it."""
    page = camera.page
    post(page, "deck/faults", on=["wrong_tape"])
    part(page, ["reproduce"])
    until(page, lambda: page.get_by_role("button", name="End it here").count() > 0)
    camera.draw("doubt")
    screen(page, "p")
    camera.draw("practice-doubt")
    end(page)


def cables(camera: Camera) -> None:
    """Two channels for four tracks: the cables of the first bank."""
    page = camera.page
    post(page, "commands", id="banks", command="begin", kind="line-up",
         channels={"inputs": [1, 2], "outputs": [1, 2]})  # fmt: skip
    page.get_by_text("Cable the returns").first.wait_for()
    camera.draw("cables")
    end(page)


def by_meters(camera: Camera) -> None:
    """An exercise without the bench: meters below trimmers, one screw at its end."""
    page = camera.page
    post(page, "exercises/begin", id="alone", name="by-the-meter", seed=1)
    screen(page, "p")
    camera.draw("exercise")
    post(page, "deck/load", tape="calibration")
    post(page, "deck/transport", state="play", monitor="reproduce", ready=[])
    post(page, "deck/turn", id="far", trimmer="reproduce_level", turns=-30.0, track=2)
    page.wait_for_timeout(14_000)
    camera.draw("by-meters")
    press(page, "Hand it in")
    page.wait_for_timeout(1500)
    camera.draw("verdict")


def school(camera: Camera) -> None:
    """What is wrong, named by the person."""
    page = camera.page
    post(page, "exercises/begin", id="wrong", name="before-any-tape", seed=1)
    screen(page, "p")
    press(page, "Say what is wrong")
    camera.draw("answer")
