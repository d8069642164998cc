"""Does the wire do what it is told? Plain sockets at both ends."""

import errno
import socket
import threading
import time
from collections.abc import Iterator

import pytest

from tests.real.wire import Wire, Wires

WAIT_S = 5.0


class Echo:
    """Answers what it hears; keeps what it heard and how each connection ended."""

    def __init__(self) -> None:
        self.server = socket.create_server(("127.0.0.1", 0))
        self.heard = bytearray()
        self.ended: list[str] = []
        self.news = threading.Condition()
        threading.Thread(target=self._serve, daemon=True).start()

    def _serve(self) -> None:
        while True:
            try:
                line, _ = self.server.accept()
            except OSError:
                return
            threading.Thread(target=self._echo, args=(line,), daemon=True).start()

    def _echo(self, line: socket.socket) -> None:
        how = "fin"
        with line:
            try:
                while data := line.recv(4096):
                    with self.news:
                        self.heard += data
                        self.news.notify_all()
                    line.sendall(data)
            except OSError:
                how = "rst"
        with self.news:
            self.ended.append(how)
            self.news.notify_all()

    def until_heard(self, data: bytes) -> None:
        with self.news:
            assert self.news.wait_for(lambda: data in self.heard, WAIT_S), bytes(self.heard)

    def until_ended(self) -> str:
        with self.news:
            assert self.news.wait_for(lambda: self.ended, WAIT_S)
            return self.ended[-1]


@pytest.fixture
def echo() -> Iterator[Echo]:
    made = Echo()
    yield made
    made.server.close()


@pytest.fixture
def wire(echo: Echo) -> Iterator[Wire]:
    with Wires() as wires:
        yield wires.add("box", echo.server.getsockname())


@pytest.fixture
def line(wire: Wire, echo: Echo) -> Iterator[socket.socket]:
    with socket.create_connection(wire.address, WAIT_S) as made:
        made.sendall(b"?")  # what comes back went the whole way, so it stands
        assert made.recv(1) == b"?"
        echo.heard.clear()
        wire.out.lost = wire.back.lost = 0
        yield made


def whole(line: socket.socket, size: int) -> bytes:
    data = b""
    while len(data) < size and (piece := line.recv(size - len(data))):
        data += piece
    return data


def rest(line: socket.socket) -> tuple[bytes, str]:
    """What still comes, and how it ends."""
    data = b""
    try:
        while piece := line.recv(4096):
            data += piece
    except ConnectionResetError:
        return data, "rst"
    return data, "fin"


def nothing_comes(line: socket.socket, within_s: float = 0.3) -> bool:
    line.settimeout(within_s)
    try:
        line.recv(1)
    except TimeoutError:
        line.settimeout(WAIT_S)
        return True
    return False


def test_at_rest_it_carries_every_byte_both_ways_and_the_end(line: socket.socket, echo: Echo) -> None:
    data = bytes(range(256)) * 4000
    threading.Thread(target=line.sendall, args=(data,), daemon=True).start()
    assert whole(line, len(data)) == data
    line.shutdown(socket.SHUT_WR)
    assert rest(line) == (b"", "fin")
    assert echo.until_ended() == "fin"


@pytest.mark.parametrize("by", ["rst", "fin"])
@pytest.mark.parametrize("after", [0, 1, 5])
def test_a_reply_is_cut_after_byte_k(wire: Wire, line: socket.socket, after: int, by: str) -> None:
    wire.back.cut_after, wire.back.cut_by = after, by
    line.sendall(b"abcdefgh")
    data, how = rest(line)
    assert how == by
    assert data == b"abcdefgh"[: len(data)]  # a reset may overtake what was not read yet
    assert len(data) == after if by == "fin" else len(data) <= after


def test_what_is_lost_one_way_still_comes_the_other(wire: Wire, line: socket.socket, echo: Echo) -> None:
    wire.back.lose = True
    line.sendall(b"one")
    echo.until_heard(b"one")
    assert nothing_comes(line)
    wire.back.lose, wire.out.lose = False, True
    line.sendall(b"two")
    assert nothing_comes(line)
    assert echo.heard == b"one"
    assert (wire.back.lost, wire.out.lost) == (3, 3)


def test_half_open_tells_nobody_and_lets_all_go_when_it_heals(wire: Wire, line: socket.socket, echo: Echo) -> None:
    wire.half_open()
    line.sendall(b"held")
    assert nothing_comes(line)
    with socket.socket() as late:
        late.settimeout(0.4)
        with pytest.raises(TimeoutError):
            late.connect(wire.address)
    assert not echo.heard
    assert not echo.ended
    wire.heal()
    assert whole(line, 4) == b"held"
    with socket.create_connection(wire.address, WAIT_S) as again:
        again.sendall(b"new")
        assert whole(again, 3) == b"new"


def test_an_end_that_goes_while_it_is_half_open_is_not_told(wire: Wire, line: socket.socket, echo: Echo) -> None:
    line.sendall(b"x")
    assert whole(line, 1) == b"x"
    wire.half_open()
    line.close()
    time.sleep(0.3)  # nothing can be awaited: it is the absence of news that is claimed
    assert not echo.ended
    wire.heal()
    assert echo.until_ended()


def test_refused_and_back_on_the_same_port(wire: Wire, line: socket.socket) -> None:
    at = wire.address
    wire.refuse()
    assert rest(line) == (b"", "rst")
    with pytest.raises(ConnectionRefusedError), socket.create_connection(at, WAIT_S):
        pass
    wire.listen()
    assert wire.address == at
    with socket.create_connection(at, WAIT_S) as again:
        again.sendall(b"back")
        assert whole(again, 4) == b"back"


def test_a_dial_that_is_swallowed_is_not_answered(wire: Wire) -> None:
    wire.swallow()
    with socket.socket() as dial:
        dial.settimeout(0.4)
        assert dial.connect_ex(wire.address) == errno.EAGAIN


def test_late_sliced_and_narrow(wire: Wire, line: socket.socket) -> None:
    began = time.monotonic()
    wire.back.delay_s = 0.3
    line.sendall(b"late")
    assert whole(line, 4) == b"late"
    assert time.monotonic() - began >= 0.3
    wire.heal()
    wire.back.slice_bytes, wire.back.slice_s = 1, 0.02
    line.sendall(b"pieces")
    assert line.recv(100) == b"p"
    assert whole(line, 5) == b"ieces"
    wire.heal()
    wire.back.rate = 1000
    began = time.monotonic()
    line.sendall(b"n" * 500)
    assert whole(line, 500) == b"n" * 500
    assert time.monotonic() - began >= 0.45


def test_jitter_keeps_the_order(wire: Wire, line: socket.socket) -> None:
    wire.back.jitter_s = 0.1
    for number in range(20):
        line.sendall(b"%02d" % number)
        time.sleep(0.005)
    assert whole(line, 40) == b"".join(b"%02d" % number for number in range(20))


def test_glued_doubled_swapped_and_flipped(wire: Wire, line: socket.socket) -> None:
    wire.back.glue_s = 0.3
    for piece in (b"a", b"b", b"c"):
        line.sendall(piece)
        time.sleep(0.02)
    assert line.recv(100) == b"abc"
    wire.heal()
    wire.back.twice = True
    line.sendall(b"dup")
    assert whole(line, 6) == b"dupdup"
    wire.heal()
    wire.back.swap = True
    line.sendall(b"1")
    time.sleep(0.05)
    line.sendall(b"2")
    assert whole(line, 2) == b"21"
    wire.heal()
    wire.back.flip = 1.0
    line.sendall(b"\x00" * 8)
    assert all(byte.bit_count() == 1 for byte in whole(line, 8))


def test_whoever_dials_is_let_go_at_once(wire: Wire) -> None:
    wire.hang_up = True
    with socket.create_connection(wire.address, WAIT_S) as dial:
        assert rest(dial)[0] == b""
    assert wire.dialled == 1
