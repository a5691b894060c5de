"""What hands learn of trimmers; invented turns."""

from fluxbench.rehearsal._experience import Experience


def test_a_kind_that_was_never_turned_is_not_known() -> None:
    assert Experience().of("bias") is None


def test_the_newest_of_the_usual_way_is_remembered() -> None:
    hands = Experience()
    for track, per_turn in ((1, 0.5), (2, 0.6), (3, -0.7)):
        hands.learn("bias", track, per_turn)
    assert hands.of("bias") == 0.6
    assert hands.of("record_level") is None


def test_a_first_trimmer_that_was_the_odd_one_is_outvoted() -> None:
    hands = Experience()
    hands.learn("record_high", 1, -0.5)
    hands.learn("record_high", 2, 0.4)
    assert hands.of("record_high") == -0.5
    hands.learn("record_high", 3, 0.3)
    assert hands.of("record_high") == 0.3


def test_a_track_has_one_vote() -> None:
    hands = Experience()
    hands.learn("bias", 1, 0.5)
    hands.learn("bias", 2, -0.4)
    hands.learn("bias", 2, -0.3)
    assert hands.of("bias") == 0.5
