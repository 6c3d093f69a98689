"""So many inside at once, so many waiting, in the order they came."""

from concurrent.futures import ThreadPoolExecutor

from scalewitness.serving.rooms import Room, RoomEach

SOON, LONG = 0.05, 30.0


def waiting(room: Room) -> int:
    return len(room._line)


def test_whoever_finds_a_chair_is_let_in_as_they_came() -> None:
    room, let_in = Room(places=1, chairs=3), []

    def come(name: str) -> None:
        assert room.enter(LONG)
        let_in.append(name)
        room.leave()

    assert room.enter(0)
    with ThreadPoolExecutor(3) as threads:
        for number, name in enumerate("abc", 1):
            threads.submit(come, name)
            while waiting(room) < number:
                pass
        assert not room.enter(LONG)  # no chair is left: no waiting
        room.leave()
    assert let_in == ["a", "b", "c"]
    assert room.enter(0)


def test_whoever_waits_too_long_leaves_the_chair_and_the_place_to_others() -> None:
    room = Room(places=1, chairs=1)
    assert room.enter(0)
    assert not room.enter(SOON)
    assert waiting(room) == 0
    room.leave()
    assert room.enter(0)


def test_everyone_has_a_room_of_their_own_that_is_forgotten_afterwards() -> None:
    rooms = RoomEach()
    assert rooms.enter("odile", 0)
    assert rooms.enter("greta", 0)
    assert not rooms.enter("odile", SOON)
    rooms.leave("odile")
    assert rooms.enter("odile", 0)
    rooms.leave("odile")
    rooms.leave("greta")
    assert (rooms._rooms, dict(rooms._users)) == ({}, {})
