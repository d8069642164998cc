"""Which words may stand in a site file, and of what shape? The schema that editors and readers share.

The reader takes its known words from these models (`words_of`), so that what an editor offers is what is read. Every
scalar of a file is text (`stagectl.yamlfile`); what a text means is read in `stagectl.site.load`.
"""

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

from stagectl.site.words import NAME

Name = Annotated[str, StringConstraints(pattern=rf"^{NAME}$")]
Socket = Annotated[str, Field(description="A router and a number: hall 1", examples=["hall 1"])]
Sockets = Socket | dict[Name, Socket]  # at every level of that router, or at these levels alone
Sentences = Any  # one sentence, a list (all of it), {any of: [...]} or {not: ...}


class _Shape(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, defer_build=True)


class SiteName(_Shape):
    """A name with an id of its own, where the name has no letters for one."""

    id: Annotated[str, StringConstraints(pattern="^[a-z0-9-]{1,32}$")] = Field(description="for topics and files")
    name: str = Field(description="what people call it")


class StoreShape(_Shape):
    """Where a recorder's clips are read over FTP."""

    at: str = Field("", description="its address; left out: the recorder's own, port 21", examples=["10.0.5.11:2121"])
    login: str = Field(
        "",
        description="file with the name in its first line, the password in its second, mode 0600; left out: anonymous",
    )
    folders: dict[str, str] = Field(
        {},
        description="slot: its folder; left out: each at the top, by the figures at its end",
        examples=[{"1": "usb"}],
    )
    sessions: str = Field("1", description="connections it is asked for at once; most take one or two")
    read_while_recording: Literal["yes", "no"] = Field(
        "no", alias="read while recording", description="yes: a copy goes on while it records, and may cost frames"
    )


class DeviceShape(BaseModel):
    """One box; further keys are the options that its kind takes."""

    model_config = ConfigDict(extra="allow", frozen=True, defer_build=True)
    __pydantic_extra__: dict[str, str]

    box: str = Field(description="kind of box; `stagectl drivers` lists them", examples=["text-deck"])
    at: str = Field(description="address, with a port where it is not the usual one", examples=["10.0.5.11"])
    called: str = Field("", description="what people call it")
    model: str = Field("", description="the model it must say it is; anything else is refused")
    serial: str = Field("", description="the serial number it must have")
    clip_store: str | StoreShape = Field(
        "", alias="clip store", description="where a recorder's clips are read: an address, or more of it"
    )


class TieShape(_Shape):
    """A tie-line of which more is to be said, or a processor between an output and an input."""

    line: str = Field(description="from an output to an input", examples=["hall 12 to hall 12"])
    levels: list[Name] = Field([], description="what it carries; left out: all that both routers have")
    called: str = Field("", description="what people call it")
    delay: str = Field("", description="what it costs in time", examples=["2 frames"])
    takes: list[str] = Field([], description="picture formats that pass; left out: all", examples=[["1080i50"]])
    gives: str = Field("", description="the format behind it; left out: as it came", examples=["1080p25"])
    kept_for: list[Name] = Field([], alias="kept for", description="destinations it is kept for; left out: all")


class PicturesShape(_Shape):
    """Which picture comes in and goes out where."""

    levels: dict[Name, dict[Name, Name]] = Field(
        {},
        description="what goes along with pictures: for each router the one that switches it",
        examples=[{"sound": {"hall": "hall-sound"}}],
    )
    sources: dict[Name, Sockets] = Field({}, description="name: router and input; or a table, level: router and input")
    destinations: dict[Name, Sockets] = Field(
        {}, description="name: router and output, or a table as for sources; a recorder's name means its input"
    )
    tie_lines: list[str | TieShape] = Field(
        [], alias="tie-lines", description="cables between routers", examples=[["hall 15 to gallery 1"]]
    )
    gives: dict[Name, str] = Field({}, description="source: the format it gives", examples=[{"guest": "1080i50"}])
    takes: dict[Name, list[str]] = Field(
        {}, description="destination: formats that serve it", examples=[{"mix-rec": ["1080p25"]}]
    )
    on_air: list[Name] = Field([], alias="on air", description="destinations the audience sees")


class SoundShape(_Shape):
    """Which sound stands where."""

    sources: dict[Name, str] = Field({}, description="name: mixer and strip", examples=[{"piano": "mixer strip 1"}])
    buses: dict[Name, str] = Field({}, description="name: mixer and bus", examples=[{"director": "mixer bus 4"}])
    mixes: dict[Name, list[Name]] = Field(
        {}, description="sources that are meant together", examples=[{"program": ["piano", "presenter"]}]
    )


class StationShape(_Shape):
    """A place where somebody sees and hears."""

    sees: str = Field("", description="a destination")
    hears: str = Field("", description="a bus")
    called: str = Field("", description="what people call it")


class PlaybackShape(_Shape):
    """What comes off a recorder when it plays."""

    picture: str = Field("", description="a picture source")
    sound: str = Field("", description="a sound source")


class ProtectShape(_Shape):
    """Points that are guarded."""

    of: str = Field("", description="a device or group; points and sentences are then about each of it")
    points: list[str] = Field(description="hall output 1 source")
    while_: Sentences = Field(None, alias="while", description="it guards while this holds; left out: always")
    because: str = Field(description="why, for the person who is refused")
    may_lift: Literal["nobody", "operator", "engineer"] = Field(
        "nobody", alias="may lift", description="the least role that may pass"
    )


class AlarmShape(_Shape):
    """Something the site wants to be told, beside what every house tells."""

    of: str = Field(description="a device or group: one alarm for each of it", examples=["recorder"])
    when: Sentences = Field(description="while this is so", examples=[["remote is no for 5 s"]])
    grade: Literal["now", "soon", "later"] = Field(
        description="now: a take is in danger; soon: it will be; later: it can wait"
    )
    says: str = Field(description="one sentence; {called} stands for the device")
    remedy: str = Field(description="what to do, one sentence")
    name: Name = Field("", description="for its id; left out: made of the sentence")


class CameraShape(_Shape):
    """What nobody can read from a camera, and the operator knows."""

    reference: Literal["locked", "free"] = Field(description="does it run by the house's reference, or by its own?")
    head: Literal["fixed", "moving"] = Field("fixed", description="does it stand, or move by remote?")
    tracked: Literal["yes", "no"] = Field("no", description="are its moves recorded for pictures made later?")


class PlanShape(_Shape):
    """A take of the day."""

    take: str = Field(description="what is recorded", examples=["Harbour Suite"])
    lasts: str = Field(description="for how long", examples=["45 min"])
    times: str = Field("1", description="how often")


class CheckShape(_Shape):
    """Something the site wants to be so before the first take, beside what every house checks."""

    of: str = Field("", description="a device or group: one row for each of it")
    check: Sentences = Field(description="what must be so", examples=[["input present is yes"]])
    remedy: str = Field(description="what to do, one sentence")
    name: Name = Field(description="in a word, for its row", examples=["piano-up"])
    must: Literal["yes", "no"] = Field("yes", description="no: it is told, and does not keep from being ready")


class LineupShape(_Shape):
    """What must be so before the first take."""

    format: str = Field("", description="the picture at every recorder", examples=["1080p25"])
    codec: str = Field("", description="what every recorder records", examples=["QuickTimeProResHQ"])
    channels: str = Field("", description="sound channels that every recorder records", examples=["8"])
    timecode: str = Field("", description="rate and count of all labels", examples=["25", "29.97 df"])
    timecode_source: str = Field("", alias="timecode source", description="where recorders take it from")
    reference: str = Field("", description="the recorder whose timecode is right; left out: the median of all")
    offset: str = Field("1 frame", description="how far apart timecodes may be")
    lags: dict[Name, str] = Field(
        {}, description="a recorder's fixed lag, measured once", examples=[{"iso-2": "1 frame"}]
    )
    jam: str = Field("", description="the label at which the generator is set anew each day", examples=["04:00:00:00"])
    spare: str = Field("15 %", description="record time to be left over beside the plan")
    reserve: str = Field("", description="room of a medium that is not counted; left out: 1 GB", examples=["2 GB"])
    rates: dict[str, str] = Field(
        {}, description="codec: what a recording takes in all", examples=[{"Proxy": "12.5 Mb/s"}]
    )
    kept_for: str = Field("12 h", alias="kept for", description="how long a waived check stays waived: a shoot")
    plan: list[PlanShape] = Field([], description="the takes of the day")
    checks: list[CheckShape] = Field([], description="the site's own")
    leave_out: list[Name] = Field([], alias="leave out", description="names of checks that are not asked here")


class TargetShape(_Shape):
    """A place that clips are copied to: a folder, a host that speaks SFTP, or a store that speaks S3."""

    folder: str = Field(
        "",
        description="the root of the tree; of this machine: absolute, or in the data folder",
        examples=["/mnt/shuttle"],
    )
    mounted: Literal["yes", "no"] = Field(
        "no", description="yes: the folder is a mounted disk's top; while it is not mounted nothing is copied"
    )
    keep_free: str = Field(
        "", alias="keep free", description="room that stays free, of a folder and sftp", examples=["50 GB"]
    )
    sftp: str = Field("", description="who comes in where", examples=["copy@10.0.5.9:22"])
    s3: str = Field("", description="address of the store", examples=["https://10.0.5.9:9000"])
    bucket: str = Field("", description="of s3")
    region: str = Field("", description="of s3, where it asks for one")
    key: str = Field(
        "", description="sftp: file of the private key; s3: file of the key's id and its secret, a line each; mode 0600"
    )
    known_hosts: str = Field("", alias="known hosts", description="sftp: file of the host keys that are believed")


class CopyShape(_Shape):
    """How clips are copied off. A source is never deleted and nothing is overwritten."""

    to: dict[Name, TargetShape] = Field(
        description="one or two places; a clip is safe when both have it", examples=[{"shuttle": {"folder": "/mnt/a"}}]
    )
    layout: str = Field(
        "{recorder}/{clip}",
        description="where in a place a clip goes, from recorder, clip, stem, ext, slot, day, slate and take in braces",
    )
    order: str = Field(
        "newest day first, good takes first",
        description="which clips are copied first, what counts most in front",
        examples=["good takes first, oldest day first"],
    )
    rate: str = Field("", description="most that is read in all; left out: as fast as it goes", examples=["80 MB/s"])
    double_read: Literal["yes", "no"] = Field(
        "no", alias="double read", description="yes: every source is read twice, which takes twice as long"
    )
    at: str = Field("", description="time of day at which a run begins by itself", examples=["02:00"])
    after_wrap: str = Field(
        "", alias="after wrap", description="a run begins so long after the last take", examples=["45 min"]
    )


class MqttShape(_Shape):
    """Where MQTT goes."""

    broker: Literal["off", "external", "managed"] = Field(description="none, one that runs, or one that we start")
    at: str = Field("", description="address of an external broker", examples=["127.0.0.1:1883"])
    login: str = Field(
        "", description="file with our name there in its first line, the password in its second; mode 0600"
    )
    ca: str = Field("", description="file of the authority that vouches for it, in PEM: the link is then TLS")


class HttpShape(_Shape):
    """Where the web door opens; options of `stagectl serve` go before it."""

    at: str = Field(
        description="address; another than this machine's own needs a certificate and an account",
        examples=["10.0.5.2:8443"],
    )
    names: list[str] = Field(
        [], description="what it is called; left out: what the certificate says", examples=[["stage.example"]]
    )
    certificate: str = Field("", description="file in PEM, from this file; `stagectl ca` makes one")
    key: str = Field("", description="file of its key, mode 0600, from this file")


class SiteShape(_Shape):
    """A site file: one installation."""

    site: str | SiteName = Field(description="what the place is called")
    takes_numbered: Literal["per slate", "per day"] = Field(
        "per day", alias="takes numbered", description="per slate: a slate stands until another is said, and is counted"
    )
    devices: dict[Name, DeviceShape]
    groups: dict[Name, list[Name]] = Field({}, description="names of devices and groups under one name")
    # what is left out is constructed, not validated: that would build a validator for each at every start
    pictures: PicturesShape = PicturesShape.model_construct()
    sound: SoundShape = SoundShape.model_construct()
    stations: dict[Name, StationShape] = {}
    playback: dict[Name, PlaybackShape] = Field(
        {}, description="recorder: what comes off it when it plays; first the one people want to see"
    )
    limits: list[str] = Field([], description="mixer bus 3 level at most 0 dB")
    protect: list[ProtectShape] = []
    alarms: list[AlarmShape] = []
    cameras: dict[Name, CameraShape] = {}
    line_up: LineupShape = Field(LineupShape.model_construct(), alias="line-up")
    people: dict[Name, Literal["viewer", "operator", "engineer"]] = {}
    copy_: CopyShape | None = Field(None, alias="copy", description="where clips are copied to, and when")
    mqtt: MqttShape = MqttShape.model_construct(broker="off")
    http: HttpShape = Field(HttpShape.model_construct(at="127.0.0.1:8420"), description="where the web door opens")
    scenes: str = Field(".", description="folder of set-ups and scenes, from this file")


def words_of(shape: type[BaseModel]) -> tuple[str, ...]:
    """The keys of a table, as they stand in a file."""
    return tuple(field.alias or name for name, field in shape.model_fields.items())


def site_schema() -> dict[str, Any]:
    """The JSON Schema of a site file, for editors."""
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **SiteShape.model_json_schema()}
