"""Tables of banks put together."""

from fluxbench.lineup import with_bank, with_first


def test_a_bank_leaves_the_others() -> None:
    assert with_bank([1.0, None, 3.0], [None, 2.0, None], {"bank": [2]}) == [1.0, 2.0, 3.0]
    assert with_bank([1.0, 2.0, 3.0], [None, 5.0, 6.0], {}) == [None, 5.0, 6.0]
    assert with_bank(None, [None, 2.0], {"bank": [2]}) == [None, 2.0]
    assert with_bank([1.0, 2.0], [None, None], {"bank": [2]}) == [1.0, None]


def test_what_was_found_first_stays() -> None:
    assert with_first([1.0, None], [9.0, 2.0], {"bank": [1, 2]}) == [1.0, 2.0]
    assert with_first([1.0, None], [9.0, 2.0], {}) == [1.0, None]
    assert with_first(None, [9.0], {}) == [9.0]
