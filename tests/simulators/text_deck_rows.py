"""Which replies does the sheet give? Rows of requests, from memory of public documentation, versions 1.6 to 1.12."""

from __future__ import annotations

from typing import Final

SHEET: Final = "text deck line protocol, from memory of public documentation, versions 1.6 to 1.12"
CLIPS = [
    {"name": "Warm up", "start": "09:00:00:00", "frames": 250},
    {"name": "Second movement", "start": "09:10:00:00", "frames": 100},
]
FILLED = [{"clips": CLIPS, "volume": "HALL A"}, {"volume": "HALL B"}]

ANSWERS = [
    # request without its line end, the first line of the reply
    ("ping", "200 ok"),
    ("device info", "204 device info:"),
    ("uptime", "215 uptime:"),
    ("remote", "210 remote info:"),
    ("remote: enable: false", "200 ok"),
    ("remote:\r\nenable: true\r\noverride: true\r\n", "200 ok"),
    ("notify", "209 notify:"),
    ("notify: transport: true slot: true display timecode: false", "200 ok"),
    ("notify:\r\ndropped frames: true\r\n", "200 ok"),
    ("transport info", "208 transport info:"),
    ("slot info", "202 slot info:"),
    ("slot info: slot id: 2", "202 slot info:"),
    ("slot select: slot id: 2", "200 ok"),
    ("slot select: video format: 1080p50", "200 ok"),
    ("configuration", "211 configuration:"),
    ("configuration: record prefix: Hall append timestamp: true", "200 ok"),
    ("record", "200 ok"),
    ("record:\r\nname: Take: one\r\n", "102 invalid value"),
    ("record: name: Take 1", "200 ok"),
    ("record spill", "150 invalid state"),
    ("stop", "200 ok"),
    ("play", "200 ok"),
    ("play: speed: -200 loop: true single clip: false", "200 ok"),
    ("goto: clip id: 2", "200 ok"),
    ("goto: clip id: +1", "200 ok"),
    ("goto: clip id: end", "200 ok"),
    ("goto: timecode: 09:10:00:12", "200 ok"),
    ("jog: timecode: +00:00:01:00", "200 ok"),
    ("shuttle: speed: 400", "200 ok"),
    ("clips count", "214 clips count:"),
    ("clips get", "205 clips info:"),
    ("clips get: clip id: 2 count: 1 version: 2", "205 clips info:"),
    ("disk list", "206 disk list:"),
    ("format: prepare: exFAT", "216 format ready:"),
    ("identify: enable: true", "200 ok"),
    ("watchdog: period: 5", "200 ok"),
]
REFUSALS = [
    # request, failure
    ("dance", "100 syntax error"),
    ("jog", "100 syntax error"),
    ("play:\r\nspeed 100\r\n", "100 syntax error"),
    ("notify:\r\n" + "slot: true\r\n" * 65, "100 syntax error"),
    ("notify:\r\n" + "x" * 4097 + "\r\nslot: true\r\n", "100 syntax error"),
    ("record: title: x", "101 unsupported parameter"),
    ("ping: loud: true", "101 unsupported parameter"),
    ("notify: transport: yes", "102 invalid value"),
    ("configuration: video input: tea", "102 invalid value"),
    ("configuration: audio input: XLR video input: tea", "102 invalid value"),
    ("configuration: timecode preset: noon", "102 invalid value"),
    ("configuration: record prefix: a/b", "102 invalid value"),
    ("record: name: Surname: x", "102 invalid value"),
    ("record:\r\nname:\r\n", "102 invalid value"),
    ("shuttle: speed: fast", "102 invalid value"),
    ("shuttle: speed: 5001", "109 out of range"),
    ("slot info: slot id: 3", "109 out of range"),
    ("goto: timecode: 20:00:00:00", "109 out of range"),
    ("jog: timecode: -00:00:01:00", "109 out of range"),
    ("goto: clip id: 0", "109 out of range"),
    ("goto: clip id: 3", "112 clip not found"),
    ("clips get: clip id: 9", "112 clip not found"),
    ("configuration: file format: tape", "151 invalid codec"),
    ("slot select: video format: 1080p26", "160 invalid format"),
    ("format: prepare: FAT12", "160 invalid format"),
    ("format: confirm: 1234", "162 format not prepared"),
]
