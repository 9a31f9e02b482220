"""From storeys and windows to the strips of the cavity: geometry by hand, and what holds for every elevation."""

import pytest
from hypothesis import given
from hypothesis import strategies as st
from wall_texts import PLAIN, faults

from cavity.errors import InputError
from cavity.wallfile import parse_wall

COLUMN = PLAIN[PLAIN.index("[[column]]") : PLAIN.index("[[rail]]")]
TWO = '[[storey]]\nheight = "3 m"\nrepeat = 2\n'
ROW = '[[window]]\nleft = ["2 m", "6 m"]\nwidth = "1.5 m"\nsill = "0.9 m"\nhead = "2.4 m"\n'


def wall_with(text: str) -> str:
    """The starter, 12 m wide and without rails, with storeys and windows instead of its column."""
    assert 'wall_width = "12 m"' in PLAIN
    rails = PLAIN[PLAIN.index("[[rail]]") : PLAIN.index("[[openings]]")]
    return (
        PLAIN.replace(COLUMN, text + "\n")
        .replace(rails, "")
        .replace('building_height = "7 m"', 'building_height = "12 m"')
    )


def strips(text: str):
    return parse_wall(wall_with(text)).elevation.strips


def test_windows_in_two_storeys_leave_four_strips():
    wall = parse_wall(wall_with(TWO + ROW))
    assert [(column.name, column.bottom, column.top) for column in wall.columns] == [
        ("full height", 0.0, 6.0),
        ("below windows, storey 1", 0.0, 0.9),
        ("between windows, storeys 1 and 2", 2.4, 3.9),
        ("above windows, storey 2", 5.4, 6.0),
    ]
    # two windows of 1.5 m in 12 m
    assert [column.fraction for column in wall.columns] == [0.75, 0.25, 0.25, 0.25]
    assert wall.elevation.floors == (0.0, 3.0, 6.0) and len(wall.elevation.windows) == 4
    assert wall.elevation.strips[0].spans == ((0.0, 2.0), (3.5, 6.0), (7.5, 12.0))
    assert wall.site.building_height == 12.0


def test_a_wall_without_windows_is_one_strip():
    (strip,) = strips(TWO)
    assert (strip.name, strip.bottom, strip.top, strip.spans) == ("full height", 0.0, 6.0, ((0.0, 12.0),))


def test_a_door_has_no_strip_below_and_one_storey_names_no_storey():
    found = strips(
        '[[storey]]\nheight = "3 m"\n[[window]]\nleft = "1 m"\nwidth = "1 m"\nsill = "0 m"\nhead = "2.1 m"\n'
    )
    assert [(strip.name, strip.bottom, strip.top) for strip in found] == [
        ("full height", 0.0, 3.0),
        ("above windows", 2.1, 3.0),
    ]


def test_windows_as_a_fraction_of_the_wall_length():
    found = strips(TWO + '[[window]]\nfraction = "40 %"\nsill = "0.9 m"\nhead = "2.4 m"\n')
    assert {strip.name: sum(b - a for a, b in strip.spans) for strip in found} == pytest.approx(
        {"full height": 7.2, "below windows, storey 1": 4.8, "between windows, storeys 1 and 2": 4.8,
         "above windows, storey 2": 4.8}
    )  # fmt: skip


def test_windows_of_one_storey_only():
    text = TWO + ROW.replace("head = ", "storeys = 2\nhead = ")
    assert [(strip.bottom, strip.top) for strip in strips(text)] == [(0.0, 6.0), (0.0, 3.9), (5.4, 6.0)]


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        (TWO + ROW.replace('"2.4 m"', '"3.4 m"'), "window[1].head", "not between its sill"),
        (TWO + ROW.replace('"6 m"', '"11 m"'), "window[1].left", "ends beyond the wall"),
        (TWO + ROW.replace('"6 m"', '"3 m"'), "window", "overlap"),
        (TWO + ROW.replace('width = "1.5 m"\n', ""), "window[1].width", "is missing"),
        (TWO + ROW + "storeys = [3]\n", "window[1].storeys", "storey 3"),
        (ROW, "window", "without a [[storey]]"),
        (TWO + COLUMN, "column", "together with [[storey]]"),
        ("", "column", "is missing"),
        (TWO + ROW + '[[window]]\nfraction = "20 %"\nsill = "1 m"\nhead = "2 m"\n', "window[1].left", "fraction"),
        (TWO + 2 * '[[window]]\nfraction = "60 %"\nsill = "1 m"\nhead = "2 m"\n', "window[1].fraction", "add up"),
    ],
)  # fmt: skip
def test_what_cannot_be_built_is_refused_with_its_place(text, key, words):
    found = faults(wall_with(text))
    assert set(found) == {key}
    assert words in str(found[key])


windows = st.lists(
    st.tuples(
        st.integers(0, 20),  # left, half metres
        st.integers(1, 4),  # width, half metres
        st.integers(0, 15),  # sill, decimetres
        st.integers(3, 14),  # height, decimetres
        st.integers(1, 3),  # storey
    ),
    max_size=6,
)


def _apart(rows):
    """The windows that do not overlap one before them."""
    kept = []
    for left, width, sill, height, storey in rows:
        ends = (left, left + width, sill + 30 * storey, sill + height + 30 * storey)
        if all(ends[0] >= o[1] or ends[1] <= o[0] or ends[2] >= o[3] or ends[3] <= o[2] for o, _ in kept):
            kept.append((ends, (left, width, sill, height, storey)))
    return [row for _, row in kept]


def _text(rows, mirror=False):
    text = '[[storey]]\nheight = "3 m"\nrepeat = 3\n'
    for left, width, sill, height, storey in rows:
        start = 24 - left - width if mirror else left
        text += (
            f'[[window]]\nleft = "{0.5 * start} m"\nwidth = "{0.5 * width} m"\nsill = "{0.1 * sill:.1f} m"\n'
            f'head = "{0.1 * (sill + height):.1f} m"\nstoreys = {storey}\n'
        )
    return text


@given(windows)
def test_strips_and_windows_cover_the_wall_and_nothing_twice(rows):
    rows = _apart(rows)
    wall = parse_wall(wall_with(_text(rows)))
    glazed = sum(0.5 * width * 0.1 * height for _, width, _, height, _ in rows)
    clad = sum((b - a) * (s.top - s.bottom) for s in wall.elevation.strips for a, b in s.spans)
    assert clad + glazed == pytest.approx(12.0 * 9.0, rel=1e-9)
    assert sum(c.fraction * c.height for c in wall.columns) * 12.0 == pytest.approx(clad, rel=1e-9)
    for strip in wall.elevation.strips:
        for a, b in strip.spans:
            for window in wall.elevation.windows:
                assert min(b, window.right) - max(a, window.left) < 1e-6 or (
                    min(strip.top, window.top) - max(strip.bottom, window.bottom) < 1e-6
                )
    assert len({column.name for column in wall.columns}) == len(wall.columns)


@given(windows, st.randoms(use_true_random=False))
def test_order_of_windows_and_the_mirrored_wall_give_the_same_strips(rows, random):
    rows = _apart(rows)
    first = parse_wall(wall_with(_text(rows))).columns
    random.shuffle(rows)

    def plain(columns):
        return sorted((c.bottom, c.top, round(c.fraction, 9)) for c in columns)

    assert plain(parse_wall(wall_with(_text(rows))).columns) == plain(first)
    assert plain(parse_wall(wall_with(_text(rows, mirror=True))).columns) == plain(first)


# ---- vents and barriers by their place ---------------------------------------------------------------------------
SETS = PLAIN[PLAIN.index("[[openings]]") : PLAIN.index("[compare]")]


def with_vent(height, more=""):
    one = f'[[openings]]\nname = "one"\n[[openings.vent]]\nheight = "{height}"\nslot = "10 mm"\n'
    return parse_wall(wall_with(TWO + ROW + more).replace(SETS, one))


@pytest.mark.parametrize(
    ("word", "heights"),
    [
        ("base", [0.0, 2.4, 5.4]),
        ("head", [0.9, 3.9, 6.0]),
        ("wall base", [0.0]),
        ("wall top", [6.0]),
        ("window sill", [0.9, 3.9]),
        ("window head", [2.4, 5.4]),
        ("above barriers", [3.05]),
        ("below barriers", [2.95]),
    ],
)
def test_a_word_for_the_height_of_a_vent_means_its_places(word, heights):
    wall = with_vent(word, '[[barrier]]\nname = "closer"\nat = "storeys"\nabove = "0 mm"\n')
    found = wall.opening_sets[0].openings
    assert [opening.height for opening in found] == pytest.approx(heights)
    by_name = {column.name: column for column in wall.columns}
    for opening in found:
        for name in opening.columns:
            assert by_name[name].bottom <= opening.height <= by_name[name].top


def test_barriers_at_the_storeys_and_above_the_windows():
    text = '[[barrier]]\nname = "storey"\nat = "storeys"\n[[barrier]]\nname = "lintel"\nat = "window heads"\n'
    wall = parse_wall(wall_with(TWO + ROW + text))
    assert [(barrier.name, barrier.height) for barrier in wall.barriers] == [
        ("storey", 3.05), ("lintel, 2.45 m", 2.45), ("lintel, 5.45 m", 5.45),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        ('[[barrier]]\nname = "b"\n', "barrier[1]", "neither height nor at"),
        ('[[barrier]]\nname = "b"\nheight = "3 m"\nat = "storeys"\n', "barrier[1]", "height and at"),
    ],
)
def test_a_barrier_without_one_place_is_refused(text, key, words):
    assert words in str(faults(wall_with(TWO + ROW + text))[key])


def test_window_heads_without_windows_are_refused():
    found = faults(wall_with(TWO + '[[barrier]]\nname = "b"\nat = "window heads"\n'))
    assert "there are no window heads" in str(found["barrier[1].at"])
    with pytest.raises(InputError, match="no strip has such a height"):
        parse_wall(wall_with(TWO).replace('height = "base"', 'height = "window sill"'))
