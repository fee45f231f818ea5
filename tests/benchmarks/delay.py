"""A relay on loopback, in a process of its own, that makes every connection through it as slow as a distant one.

It delays what it carries and keeps its order; it makes nothing narrower. Making a connection takes a round trip, too,
as it does over a distance. `python -m tests.benchmarks.delay --seconds 0.02` reads a JSON list of ports from its
standard input and prints a JSON list of the ports that lead to them; 0.02 s each way make a round trip of 40 ms.
"""

from __future__ import annotations

import argparse
import asyncio
import json
import socket
import subprocess
import sys
import threading
import time
from collections import deque
from collections.abc import Collection, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from functools import partial
from statistics import median

_ADDRESS = "127.0.0.1"
_ECHOES = 21


class _End(asyncio.Protocol):
    """One end of a connection. What arrives here leaves at the `other` end, so many seconds later."""

    def __init__(self, seconds: float) -> None:
        self._seconds = seconds
        self._due: deque[tuple[float, bytes]] = deque()
        self._loop = asyncio.get_running_loop()
        self._timer: asyncio.TimerHandle | None = None
        self.transport: asyncio.Transport | None = None
        self.other: _End | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        assert isinstance(transport, asyncio.Transport)
        transport.get_extra_info("socket").setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self.transport = transport

    def data_received(self, data: bytes) -> None:
        self._due.append((self._loop.time() + self._seconds, data))
        self._wait()

    def connection_lost(self, exc: Exception | None) -> None:
        # Nothing, after all that came before it, is the end.
        if self.other is not None:
            self.data_received(b"")

    def _wait(self) -> None:
        if self._timer is None and self._due:
            self._timer = self._loop.call_at(self._due[0][0], self._pass_on)

    def _pass_on(self) -> None:
        self._timer = None
        assert self.other is not None
        assert self.other.transport is not None
        while self._due and self._due[0][0] <= self._loop.time():
            data = self._due.popleft()[1]
            if not data:
                self.other.transport.close()
            elif not self.other.transport.is_closing():
                self.other.transport.write(data)
        self._wait()


class _Near(_End):
    """The end of whoever connects. The other one is made when a distant one would hear of the connection."""

    def __init__(self, seconds: float, port: int) -> None:
        super().__init__(seconds)
        self._port = port
        self._task: asyncio.Task[None] | None = None

    def connection_made(self, transport: asyncio.BaseTransport) -> None:
        super().connection_made(transport)
        assert self.transport is not None
        self.transport.pause_reading()
        self._task = self._loop.create_task(self._connect())

    async def _connect(self) -> None:
        assert self.transport is not None
        # The handshake's way there and back; whoever connects thinks that it is over, but nothing gets through before.
        await asyncio.sleep(2 * self._seconds)
        try:
            _, far = await self._loop.create_connection(lambda: _End(self._seconds), _ADDRESS, self._port)
        except OSError:
            self.transport.abort()
            return
        self.other, far.other = far, self
        self.transport.resume_reading()


async def _relay(ports: Sequence[int], seconds: float) -> None:
    loop = asyncio.get_running_loop()
    servers = [await loop.create_server(partial(_Near, seconds, port), _ADDRESS, 0) for port in ports]
    print(json.dumps([server.sockets[0].getsockname()[1] for server in servers]), flush=True)
    # Whoever started this closes its standard input when it is over.
    await loop.run_in_executor(None, sys.stdin.read)


@contextmanager
def delayed(ports: Collection[int], seconds: float) -> Iterator[dict[int, int]]:
    """For each port one that leads to it, `seconds` later each way."""
    command = [sys.executable, "-m", "tests.benchmarks.delay", "--seconds", str(seconds)]
    with subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdin
        assert process.stdout
        print(json.dumps(list(ports)), file=process.stdin, flush=True)
        yield dict(zip(ports, json.loads(process.stdout.readline()), strict=True))
        process.stdin.close()


def round_trip(seconds: float) -> float:
    """The median time of a byte there and back, in seconds, measured: through such a relay, or through none for 0."""
    with ExitStack() as stack:
        echo = stack.enter_context(socket.create_server((_ADDRESS, 0)))
        threading.Thread(target=_echo, args=(echo,), daemon=True).start()
        port = echo.getsockname()[1]
        if seconds:
            port = stack.enter_context(delayed([port], seconds))[port]
        with socket.create_connection((_ADDRESS, port)) as connection:
            _trip(connection)
            return median(_trip(connection) for _ in range(_ECHOES))


def _echo(listening: socket.socket) -> None:
    connection, _ = listening.accept()
    with connection:
        while piece := connection.recv(100):
            connection.sendall(piece)


def _trip(connection: socket.socket) -> float:
    start = time.perf_counter()
    connection.sendall(b".")
    connection.recv(1)
    return time.perf_counter() - start


def main() -> None:
    """Relay until the standard input ends."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, required=True, help="the delay each way")
    asyncio.run(_relay(json.loads(sys.stdin.readline()), parser.parse_args().seconds))


if __name__ == "__main__":
    main()
