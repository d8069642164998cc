"""Does a broker of our own start, stop, and end with us? Source: own construction; PR_SET_PDEATHSIG is prctl(2)."""

import asyncio
import os
import signal
import socket
import sys
from contextlib import suppress
from dataclasses import replace
from pathlib import Path

import pytest

from stagectl.inlets import broker as broker_module
from stagectl.inlets import mqtt
from stagectl.inlets.broker import ManagedBroker, NoBrokerError
from stagectl.inlets.mqtt import MqttInlet
from stagectl.shoot.scenes import Scenes
from stagectl.site import MqttEntry
from tests.house import toy_house
from tests.inlets.mosquitto import SITE, WITHIN_S, listens, program, reading
from tests.ports import free_port


async def gone(pid: int) -> None:
    """Wait until a process is no more, or only waits for its parent to notice."""
    async with asyncio.timeout(WITHIN_S):
        while alive(pid):  # noqa: ASYNC110 - it is nobody's child here
            await asyncio.sleep(0.02)


def alive(pid: int) -> bool:
    with suppress(OSError):
        return "State:\tZ" not in Path(f"/proc/{pid}/status").read_text()
    return False


async def test_it_listens_once_started_and_not_once_stopped(tmp_path: Path) -> None:
    program("mosquitto")
    broker = ManagedBroker(tmp_path, free_port())
    await broker.start()
    assert broker.running
    assert await listens(broker.port)
    pid = broker.pid
    assert pid is not None
    await broker.stop()
    await broker.stop()
    assert not broker.running
    await gone(pid)
    assert not await listens(broker.port)


async def test_a_frozen_one_is_stopped_too(tmp_path: Path) -> None:
    broker = ManagedBroker(tmp_path, 0)
    await broker.start()
    pid = broker.pid
    assert pid is not None
    os.kill(pid, signal.SIGSTOP)
    await broker.stop()
    await gone(pid)


async def test_a_port_that_is_taken_is_replaced(tmp_path: Path) -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        taken = other.getsockname()[1]
        broker = ManagedBroker(tmp_path, taken)
        await broker.start()
        try:
            assert broker.port != taken
            assert await listens(broker.port)
        finally:
            await broker.stop()


async def test_without_mosquitto_a_sentence_says_what_to_do(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(broker_module.shutil, "which", lambda *args, **more: None)
    with pytest.raises(NoBrokerError, match=r"mosquitto is not installed\. Install it, or set mqtt: broker: off"):
        await ManagedBroker(tmp_path, 0).start()


async def test_a_folder_that_takes_no_file_is_named(tmp_path: Path) -> None:
    with pytest.raises(NoBrokerError, match="no such file or directory"):
        await ManagedBroker(tmp_path / "not-there", 0).start()


async def test_a_program_that_ends_at_once_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(broker_module.shutil, "which", lambda *args, **more: "/bin/false")
    with pytest.raises(NoBrokerError, match="ended at once, code 1"):
        await ManagedBroker(tmp_path, 0).start()


PARENT = """
import asyncio, sys
from pathlib import Path
from stagectl.inlets.broker import ManagedBroker

async def main():
    broker = ManagedBroker(Path(sys.argv[1]), 0)
    await broker.start()
    print(broker.pid, flush=True)
    await asyncio.Event().wait()

asyncio.run(main())
"""


async def test_it_dies_with_its_parent_even_by_kill_9(tmp_path: Path) -> None:
    parent = await asyncio.create_subprocess_exec(
        *(sys.executable, "-c", PARENT, str(tmp_path)), stdout=asyncio.subprocess.PIPE
    )
    assert parent.stdout is not None
    try:
        async with asyncio.timeout(WITHIN_S):
            pid = int(await parent.stdout.readline())
        assert alive(pid)
    finally:
        parent.kill()
        await parent.wait()
    await gone(pid)


async def test_the_door_has_a_broker_of_its_own_and_starts_it_again_when_it_dies(tmp_path: Path) -> None:
    async with toy_house(tmp_path, 1) as toys:
        toys.house.site = replace(toys.house.site, mqtt=MqttEntry("managed"))
        inlet = MqttInlet(toys.house, Scenes(toys.house, tmp_path), tmp_path)
        await inlet.start()
        try:
            assert "mqtt" not in toys.house.trouble, "start waits for it, a little"
            await inlet.connected.wait()
            assert inlet._broker is not None
            pid = inlet._broker.pid
            assert pid is not None
            os.kill(pid, signal.SIGKILL)
            await toys.until(lambda: "mqtt" in toys.house.trouble)
            await toys.until(lambda: "mqtt" not in toys.house.trouble)
            async with reading(inlet.address[1], f"{SITE}/link") as reader:
                assert (await reader.one("link"))["on"] is True
        finally:
            await inlet.stop()
        assert inlet._broker.pid is None


async def test_the_house_starts_without_mosquitto_and_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(broker_module.shutil, "which", lambda *args, **more: None)
    async with toy_house(tmp_path, 1) as toys:
        toys.house.site = replace(toys.house.site, mqtt=MqttEntry("managed"))
        inlet = MqttInlet(toys.house, Scenes(toys.house, tmp_path), tmp_path)
        await inlet.start()
        try:
            said = toys.house.trouble["mqtt"]
            assert said.startswith("MQTT is off: mosquitto is not installed.")
            assert "REST" in said
        finally:
            await inlet.stop()


async def test_a_slow_broker_of_our_own_holds_up_no_start(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The daemon opens its doors before it looks at boxes: a door that waits would keep them waiting."""
    monkeypatch.setattr(mqtt, "START_S", 0.05)
    slow = tmp_path / "slow"
    slow.write_text("#!/bin/sh\nexec sleep 600\n")
    slow.chmod(0o755)
    monkeypatch.setattr(broker_module.shutil, "which", lambda *args, **more: str(slow))
    async with toy_house(tmp_path, 1) as toys:
        toys.house.site = replace(toys.house.site, mqtt=MqttEntry("managed"))
        inlet = MqttInlet(toys.house, Scenes(toys.house, tmp_path), tmp_path)
        await inlet.start()
        assert inlet._broker is not None
        pid = inlet._broker.pid
        assert "mqtt" not in toys.house.trouble
        assert not inlet.connected.is_set()
        assert not inlet._tried.is_set(), "it came back before the broker was there"
        await inlet.stop()
        assert pid is not None
        await gone(pid)
