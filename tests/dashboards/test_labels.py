"""Names beside points: none covers another or a point, and the marked ones are always there."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from dashboards.charts.labels import HEIGHT, WIDTH, Point, _label, _mark, positions

places = st.floats(0.0, 1.0)
points = st.lists(
    st.builds(
        Point,
        x=places,
        y=places,
        name=st.text("abcdefgh ", min_size=1, max_size=12),
        is_always_named=st.just(False),
    ),
    max_size=25,
)


def test_points_with_room_around_are_all_named_below() -> None:
    apart = [Point(x, y, "Otter crew") for x in (0.2, 0.5, 0.8) for y in (0.3, 0.7)]
    assert positions(apart) == ["bottom center"] * 6


def test_a_name_stands_beside_a_line_where_there_is_room() -> None:
    point = Point(0.5, 0.5, "Otter")
    below = [(0.0, 0.42), (1.0, 0.42)]
    through = [(0.0, 0.5), (1.0, 0.5)]
    assert positions([point], [through]) == ["bottom center"]
    assert positions([point], [below]) == ["top center"]
    steep = [(0.499, 0.0), (0.501, 1.0)]
    assert positions([point], [steep, below, through]) == ["top right"]
    everywhere = [[(0.0, height / 40), (1.0, height / 40)] for height in range(41)]
    assert positions([point], everywhere) == ["bottom center"]


def test_of_points_that_lie_together_some_go_without_a_name() -> None:
    together = [Point(0.5, 0.5, f"Crew number {number}") for number in range(9)]
    found = positions(together)
    assert 1 <= sum(one is not None for one in found) < 9


def test_who_is_marked_is_named_whatever_lies_around() -> None:
    together = [Point(0.5, 0.5, "Crew", is_always_named=number == 8) for number in range(9)]
    assert positions(together)[8] is not None


@given(points)
def test_no_name_covers_another_or_a_point(shown: list[Point]) -> None:
    found = positions(shown)
    boxes = [_label(one, place) for one, place in zip(shown, found, strict=True) if place]
    assert all(0.0 <= box.left <= box.right <= WIDTH and box.top <= 1.5 * HEIGHT for box in boxes)
    for index, box in enumerate(boxes):
        assert not any(box.meets(other) for other in boxes[index + 1 :])
    for at, one in enumerate(shown):
        place = found[at]
        if place:
            box = _label(one, place)
            assert not any(
                box.meets(_mark(other)) for other_at, other in enumerate(shown) if other_at != at
            )
