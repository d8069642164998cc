"""How does a whole studio run on virtual time in one thread? A loop with a heap of its own and processes inside it.

Time jumps to the next timer when nothing is left to do; each turn costs a little, so that a busy loop is found. Timers
of one moment fire in an order drawn from the seed. What `call_soon` was told is done in order: asyncio promises that.
"""

import asyncio
import contextlib
import gc
import heapq
import random
import sys
from collections import deque
from collections.abc import Awaitable, Callable, Coroutine
from contextvars import Context, ContextVar, copy_context
from typing import Any, Final

from tests.studio.trace import Trace

START_S: Final = 1000.0  # never a Unix date: small numbers keep their nanoseconds
TURN_S: Final = 5e-6
COLLECT: Final = 1000  # turns: a shorter run leaves little, and a collection takes longer than the run
TURNS: Final = 20_000  # in a row without a jump of time

PROC: ContextVar["Process | None"] = ContextVar("process", default=None)


class StuckError(RuntimeError):
    """Virtual time can't go on: a busy loop, or a wait without a deadline."""


class RealityError(RuntimeError):
    """Something asked the loop for a thread, a real socket or a signal."""


class Dead(BaseException):
    """A dead process touched the outside."""


class Task(asyncio.Task):
    """Hashes by a drawn number, so that a walk over a set of tasks is the same in each replay."""

    def __init__(self, coro: Any, *, number: int, **settings: Any) -> None:
        self._number = number  # before the base class, which puts itself into a set
        super().__init__(coro, **settings)

    def __hash__(self) -> int:
        return self._number

    def __eq__(self, other: object) -> bool:
        return self is other


class Future(asyncio.Future):
    """Hashes by a drawn number; see `Task`."""

    def __init__(self, *, number: int, loop: asyncio.AbstractEventLoop) -> None:
        self._number = number
        super().__init__(loop=loop)

    def __hash__(self) -> int:
        return self._number

    def __eq__(self, other: object) -> bool:
        return self is other


class Process:
    """One process inside the loop: its code runs in handles that carry it.

    Attributes:
        name: such as "daemon#1"; in the trace and in the names of its tasks.
        host: the machine it runs on.
        sockets: its open ends, by number (see `net`).
        on_kill: what a kernel does when the process is gone.
        tasks: all it made and that are not known to be done; the dead ones are its grave.
    """

    def __init__(self, loop: "VirtualLoop", name: str, host: str) -> None:
        self.name = name
        self.host = host
        self.alive = True
        self.paused = False
        self.sockets: dict[int, Any] = {}
        self.on_kill: list[Callable[[], None]] = []
        self.tasks: dict[int, Task] = {}
        self.held: list[asyncio.Handle] = []
        self.grave: list[asyncio.Handle] = []
        self.effects = 0
        self.on_effect: Callable[[int, str], None] | None = None
        self._loop = loop
        self._made = 0
        self._prune_at = 256

    def context(self) -> Context:
        """A new context whose code belongs to this process."""
        context = copy_context()
        context.run(PROC.set, self)
        return context

    def effect(self, what: str) -> None:
        """Every touch of the outside passes here before it happens; `on_effect(number, what)` may kill.

        Raises:
            Dead: this process is not alive any more.
        """
        if not self.alive:
            raise Dead(self.name)
        self._loop.trace.note(self.name, what)
        self.effects += 1
        if self.on_effect is not None:
            self.on_effect(self.effects, what)
            if not self.alive:
                raise Dead(self.name)

    def waiting_at(self) -> list[str]:
        """Where its unfinished tasks stand: "file:line" of each suspended frame, innermost last."""
        found = []
        for task in self.tasks.values():
            if task.done():
                continue
            inner: Any = task.get_coro()
            while inner is not None:
                frame = getattr(inner, "cr_frame", None) or getattr(inner, "ag_frame", None)
                if frame is not None and frame.f_lasti > 0:
                    found.append(f"{frame.f_code.co_filename}:{frame.f_lineno}")
                inner = getattr(inner, "cr_await", None) or getattr(inner, "ag_await", None)
        return found

    def adopt(self, task: Task, name: str | None) -> None:
        self._made += 1
        task.set_name(name or f"{self.name}-{self._made}")
        self.tasks[self._made] = task
        if len(self.tasks) > self._prune_at:
            self.tasks = {number: one for number, one in self.tasks.items() if not one.done() or unfetched(one)}
            self._prune_at = max(256, 2 * len(self.tasks))


def unfetched(task: asyncio.Task[Any]) -> bool:
    """It ended by an exception that nobody has looked at yet."""
    return task.done() and bool(getattr(task, "_log_traceback", False))


class VirtualLoop(asyncio.BaseEventLoop):
    """The loop. Sockets of libraries land on `net`; threads, executors, readers and signals raise at once.

    Attributes:
        slips: what reached the exception handler: (virtual time, process, text).
        turns: turns of the loop since the start.
    """

    def __init__(self, seed: int | str, *, keep_trace: bool = False) -> None:
        super().__init__()
        self.set_debug(False)
        self._now_s = START_S
        self._heap: list[tuple[float, float, int, asyncio.TimerHandle]] = []
        self._cancelled = 0
        self._seq = 0
        self._in_a_row = 0
        self._ties = random.Random(f"{seed}:loop-ties")
        self._numbers = random.Random(f"{seed}:loop-numbers")
        self.turns = 0
        self.trace = Trace(self.time, keep=keep_trace)
        self.root = Process(self, "studio", "desk")  # whatever belongs to no process
        self.processes: list[Process] = [self.root]
        self.slips: list[tuple[float, str, str]] = []
        self.net: Any = None
        self.set_exception_handler(self._slip)

    # -- time ---------------------------------------------------------------------------------------------------------

    def time(self) -> float:
        return self._now_s

    def call_later(self, delay: float, callback: Any, *args: Any, context: Context | None = None) -> Any:
        return self.call_at(self._now_s + delay, callback, *args, context=context)

    def call_at(self, when: float, callback: Any, *args: Any, context: Context | None = None) -> Any:
        self._check_closed()
        handle = asyncio.TimerHandle(when, callback, args, self, context)
        self._push(handle)
        return handle

    def _push(self, handle: asyncio.TimerHandle) -> None:
        self._seq += 1
        heapq.heappush(self._heap, (handle.when(), self._ties.random(), self._seq, handle))
        handle._scheduled = True

    def _timer_handle_cancelled(self, handle: asyncio.TimerHandle) -> None:
        self._cancelled += 1
        if self._cancelled > 200 and 2 * self._cancelled > len(self._heap):
            self._heap = [one for one in self._heap if not one[3]._cancelled]
            heapq.heapify(self._heap)
            self._cancelled = 0

    def _run_once(self) -> None:
        if not self._ready:
            self._jump()
        self._in_a_row += 1
        self.turns += 1
        if self._in_a_row > TURNS:
            waiting = self._ready[0] if self._ready else None
            raise StuckError(f"Stuck at {self._now_s:.6f}: a busy loop. Next: {waiting!r}")
        self._now_s += TURN_S
        now, heap = self._now_s, self._heap
        while heap and heap[0][0] <= now:
            handle = heapq.heappop(heap)[3]
            handle._scheduled = False
            if handle._cancelled:
                self._cancelled = max(0, self._cancelled - 1)
            else:
                self._ready.append(handle)
        self._run_ready()

    def _jump(self) -> None:
        """To exactly the next timer's time."""
        while self._heap and self._heap[0][3]._cancelled:
            heapq.heappop(self._heap)[3]._scheduled = False
            self._cancelled = max(0, self._cancelled - 1)
        if not self._heap:
            raise StuckError(f"Stuck at {self._now_s:.6f}: a wait without a deadline, and nothing else is due.")
        if self._heap[0][0] > self._now_s:
            self._now_s = self._heap[0][0]
            self._in_a_row = 0

    def _run_ready(self) -> None:
        ready = self._ready
        for _ in range(len(ready)):
            if not ready:
                break  # a kill has taken them
            one = ready.popleft()
            if one._cancelled:
                continue
            process = one._context.get(PROC)
            if process is None:
                one._run()
            elif not process.alive:
                process.grave.append(one)
            elif process.paused:
                process.held.append(one)
            else:
                one._run()

    # -- processes ----------------------------------------------------------------------------------------------------

    def process(self, name: str, host: str) -> Process:
        """A new process; nothing runs in it yet."""
        process = Process(self, name, host)
        self.processes.append(process)
        return process

    def spawn(self, process: Process, coro: Coroutine[Any, Any, Any], name: str | None = None) -> Task:
        """Run a coroutine inside a process."""
        return self.create_task(coro, name=name, context=process.context())

    def kill(self, process: Process) -> None:
        """SIGKILL: its handles never run again and its tasks lie in their grave, so that no `finally` runs."""
        if not process.alive:
            return
        self.trace.note(process.name, "killed")
        process.alive = False
        process.grave += process.held
        process.held = []
        kept: deque[Any] = deque()
        for handle in self._ready:
            (process.grave if handle._context.get(PROC) is process else kept).append(handle)
        self._ready.clear()
        self._ready.extend(kept)
        timers = [one for one in self._heap if one[3]._context.get(PROC) is process]
        if timers:
            for timer in timers:
                timer[3]._scheduled = False
                process.grave.append(timer[3])
            self._heap = [one for one in self._heap if one[3]._context.get(PROC) is not process]
            heapq.heapify(self._heap)
        for end in list(process.sockets.values()):
            end.bury()
        for tell in process.on_kill:
            tell()

    def pause(self, process: Process) -> None:
        """SIGSTOP: what becomes due is held; the machine's kernel goes on."""
        if process.alive and not process.paused:
            self.trace.note(process.name, "paused")
            process.paused = True

    def resume(self, process: Process) -> None:
        """SIGCONT: all that was held runs now, in its order."""
        if process.alive and process.paused:
            self.trace.note(process.name, "resumed")
            process.paused = False
            held, process.held = process.held, []
            self._ready.extend(held)

    # -- tasks --------------------------------------------------------------------------------------------------------

    def create_future(self) -> Future:
        return Future(number=self._numbers.getrandbits(48), loop=self)

    def create_task(self, coro: Any, *, name: str | None = None, context: Context | None = None) -> Any:
        self._check_closed()
        process = (PROC.get() if context is None else context.get(PROC)) or self.root
        task = Task(coro, number=self._numbers.getrandbits(48), loop=self, context=context)
        process.adopt(task, name)
        return task

    def unfetched(self) -> list[str]:
        """Exceptions of tasks of the living that nobody has looked at: "name: exception"."""
        return [
            f"{task.get_name()}: {task._exception!r}"
            for process in self.processes
            if process.alive
            for task in process.tasks.values()
            if unfetched(task) and not isinstance(task._exception, Dead)
        ]

    def _slip(self, _: asyncio.AbstractEventLoop, context: dict[str, Any]) -> None:
        error = context.get("exception")
        process = PROC.get() or self.root
        if isinstance(error, Dead) or not process.alive:
            return
        self.slips.append((self._now_s, process.name, f"{context.get('message')}: {error!r}"))
        self.trace.note(process.name, f"slip {context.get('message')}")

    # -- what libraries ask of a loop ---------------------------------------------------------------------------------

    async def create_connection(  # type: ignore[override]
        self, protocol_factory: Any, host: Any = None, port: Any = None, **_: Any
    ) -> Any:
        return await self.net.dial(PROC.get() or self.root, protocol_factory, host, port)

    async def create_unix_connection(self, protocol_factory: Any, path: Any = None, **_: Any) -> Any:  # type: ignore[override]
        """`path` is "host:port": a client library that wants real sockets otherwise gets onto the virtual net."""
        host, _, port = str(path).rpartition(":")
        return await self.net.dial(PROC.get() or self.root, protocol_factory, host, int(port))

    async def create_server(  # type: ignore[override]
        self, protocol_factory: Any, host: Any = None, port: Any = None, **_: Any
    ) -> Any:
        return self.net.listen(PROC.get() or self.root, protocol_factory, host, port)

    async def getaddrinfo(self, host: Any, port: Any, **_: Any) -> Any:
        await asyncio.sleep(0)
        return [(2, 1, 6, "", (self.net.resolve(PROC.get() or self.root, host), port))]

    def call_soon_threadsafe(self, callback: Any, *args: Any, context: Context | None = None) -> Any:
        if self._thread_id is not None:
            self._check_thread()
        return self.call_soon(callback, *args, context=context)

    def run_in_executor(self, executor: Any, func: Any, *args: Any) -> Any:
        raise self._unreal(f"a thread for {getattr(func, '__qualname__', func)}")

    def add_reader(self, fd: Any, callback: Any, *args: Any) -> Any:
        raise self._unreal("a reader of a real file")

    def add_writer(self, fd: Any, callback: Any, *args: Any) -> Any:
        raise self._unreal("a writer of a real file")

    def add_signal_handler(self, sig: Any, callback: Any, *args: Any) -> Any:
        raise self._unreal("a signal handler")

    async def create_datagram_endpoint(self, protocol_factory: Any, **_: Any) -> Any:  # type: ignore[override]
        raise self._unreal("datagrams")

    async def subprocess_exec(self, *_: Any, **__: Any) -> Any:
        raise self._unreal("a child process")

    def _unreal(self, what: str) -> RealityError:
        """Noted as well as raised, so that nobody swallows it."""
        process = PROC.get() or self.root
        self.slips.append((self._now_s, process.name, f"reality: it asked for {what}"))
        return RealityError(f"{process.name} asked for {what}: that passes no door of the World.")

    # -- start and end ------------------------------------------------------------------------------------------------

    def run(self, story: Awaitable[Any], *, limit_s: float = 3600.0) -> Any:
        """Run to the end of `story`, with the collector off. `limit_s` is virtual.

        Raises:
            StuckError: a busy loop, a wait for nothing, or the limit.
        """
        collecting = gc.isenabled()
        gc.disable()
        timer = self.call_later(limit_s, self._too_long, limit_s)
        try:
            return self.run_until_complete(story)
        finally:
            timer.cancel()
            if collecting:
                gc.enable()

    def _too_long(self, limit_s: float) -> None:
        self.slips.append((self._now_s, "studio", f"the story took longer than {limit_s:g} s"))
        self.stop()

    def close(self) -> None:
        """End; what never ended is buried without running on."""
        if self.is_closed():
            return
        left = [task for process in self.processes for task in process.tasks.values()]
        for process in self.processes:
            process.alive = False  # every door is shut for what follows
        super().close()
        hook = sys.unraisablehook
        sys.unraisablehook = lambda _: None
        try:
            for task in left:
                if task.done():
                    task._log_traceback = False
                else:
                    task._log_destroy_pending = False
                    with contextlib.suppress(BaseException):
                        task.get_coro().close()  # its `finally` finds a closed loop and dead doors
            for process in self.processes:
                process.tasks = {}
                process.grave = []
                process.held = []
                process.sockets = {}
                process.on_kill = []
                process.on_effect = None
            self._heap = []
            del left
            if self.turns > COLLECT:
                gc.collect()
        finally:
            sys.unraisablehook = hook
