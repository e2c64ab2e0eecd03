"""A bad line: a TCP proxy that breaks off, holds up, or answers in the service's place."""

from __future__ import annotations

import socket
import struct
import threading
from collections import deque
from collections.abc import Callable
from dataclasses import dataclass
from types import TracebackType
from urllib.parse import parse_qs, urlsplit

PATIENCE_S = 30.0
PIECE = 200


@dataclass(frozen=True)
class Fault:
    """What the line does to one request."""

    name: str
    instead: bytes | None = None
    """An answer in the service's place."""


PASS = Fault("passes it on")
SLOW = Fault("passes the answer on in many small pieces")
BEFORE = Fault("breaks off before the request has left")
HALFWAY_THERE = Fault("breaks off when half of the request has arrived")
CUT_SHORT = Fault("loses the second half of the request, and passes on the answer to the first")
AFTER = Fault("breaks off when the service has answered, before the answer arrives")
HALFWAY_BACK = Fault("breaks off when half of the answer has arrived")
HELD = Fault("holds the service's answer back until the client has gone")


def answer(status: int, body: str = "", **headers: str) -> Fault:
    """Have something on the way answer, without the service."""
    given = {"Content-Length": str(len(body.encode())), "Connection": "close"}
    given |= {name.replace("_", "-"): value for name, value in headers.items()}
    lines = [f"HTTP/1.1 {status} On the way", *(f"{name}: {item}" for name, item in given.items())]
    return Fault(f"answers {status}", "\r\n".join([*lines, "", body]).encode())


@dataclass(frozen=True)
class Request:
    """One request as it came over the line."""

    method: str
    path: str
    query: dict[str, str]
    fault: Fault


class FaultyProxy:
    """Forwards to a local port, one request a connection, doing to each what is due."""

    def __init__(self, port: int) -> None:
        self._upstream = port
        self._listener = socket.create_server(("127.0.0.1", 0))
        self._listener.settimeout(PATIENCE_S)
        self._threads: list[threading.Thread] = []
        self._due: deque[Fault] = deque()
        self.otherwise: Callable[[], Fault] = lambda: PASS
        """Says what is done once nothing special is due."""
        self.requests: list[Request] = []
        self.is_held = threading.Event()
        """Set once the service has answered a request whose answer is held back."""
        self.is_open = True

    @property
    def url(self) -> str:
        """The address of this end of the line."""
        return f"http://127.0.0.1:{self._listener.getsockname()[1]}"

    def do(self, *faults: Fault) -> None:
        """Do this to the next requests, one each."""
        self._due.extend(faults)

    @property
    def is_done(self) -> bool:
        """Whether everything that was due has been done."""
        return not self._due

    def __enter__(self) -> FaultyProxy:
        self._start(self._accept)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        traceback: TracebackType | None,
    ) -> None:
        self.is_open = False
        # Wakes the thread that waits for a caller.
        socket.create_connection(self._listener.getsockname()).close()
        for thread in self._threads:
            thread.join(PATIENCE_S)
        self._listener.close()

    def _start(self, target: Callable[[], None]) -> None:
        thread = threading.Thread(target=target, daemon=True)
        self._threads.append(thread)
        thread.start()

    def _accept(self) -> None:
        while True:
            try:
                client, _ = self._listener.accept()
            except TimeoutError:
                continue
            if not self.is_open:
                client.close()
                return
            client.settimeout(PATIENCE_S)
            self._start(lambda client=client: self._serve(client))  # type: ignore[misc]

    def _serve(self, client: socket.socket) -> None:
        with client:
            try:
                request = _read_request(client)
                if request:
                    self._do_to(client, request)
            except OSError:
                # The client has gone; that is its good right.
                return

    def _do_to(self, client: socket.socket, request: bytes) -> None:
        fault = self._due.popleft() if self._due else self.otherwise()
        method, target, _ = request.split(b"\r\n", 1)[0].decode().split(" ")
        query = {name: items[0] for name, items in parse_qs(urlsplit(target).query).items()}
        self.requests.append(Request(method, urlsplit(target).path, query, fault))
        if fault.instead is not None:
            client.sendall(fault.instead)
        elif fault == BEFORE:
            _break_off(client)
        elif fault == HALFWAY_THERE:
            self._forward(request[: -max(1, len(request.partition(b"\r\n\r\n")[2]) // 2)], False)
            _break_off(client)
        elif fault == CUT_SHORT:
            half = len(request.partition(b"\r\n\r\n")[2]) // 2
            client.sendall(self._forward(request[: len(request) - half], True, ends=True))
        else:
            response = self._forward(request, True)
            if fault == PASS:
                client.sendall(response)
            elif fault == SLOW:
                for start in range(0, len(response), PIECE):
                    client.sendall(response[start : start + PIECE])
            elif fault == HALFWAY_BACK:
                client.sendall(response[: -max(1, len(response.partition(b"\r\n\r\n")[2]) // 2)])
                _break_off(client)
            elif fault == HELD:
                self.is_held.set()
                # Nothing more comes but the end of the connection.
                client.recv(1)
            else:
                _break_off(client)

    def _forward(self, request: bytes, is_whole: bool, *, ends: bool = False) -> bytes:
        """Hand a request to the service; return its whole answer where it is due one.

        Where it `ends`, the service is told that no more comes.
        """
        with socket.create_connection(("127.0.0.1", self._upstream), PATIENCE_S) as service:
            service.sendall(request)
            if ends:
                service.shutdown(socket.SHUT_WR)
            if not is_whole:
                _break_off(service)
                return b""
            pieces = []
            while piece := service.recv(65536):
                pieces.append(piece)
            return b"".join(pieces)


def _read_request(client: socket.socket) -> bytes:
    data = b""
    while b"\r\n\r\n" not in data:
        piece = client.recv(65536)
        if not piece:
            return b""
        data += piece
    head, _, body = data.partition(b"\r\n\r\n")
    length = 0
    for line in head.split(b"\r\n")[1:]:
        name, _, value = line.partition(b":")
        if name.lower() == b"content-length":
            length = int(value)
    while len(body) < length:
        piece = client.recv(65536)
        if not piece:
            return b""
        body += piece
    return head + b"\r\n\r\n" + body


def _break_off(connection: socket.socket) -> None:
    """End a connection by a reset, as a lost signal does."""
    connection.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, struct.pack("ii", 1, 0))
    connection.close()
