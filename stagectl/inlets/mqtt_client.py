"""How does the MQTT door hold one connection? aiomqtt's client, and what aiomqtt throws away.

It hides refused publishes and the reason of an end, drops messages silently, sets no TCP_NODELAY (a command then takes
44 ms longer), and leaves the socket open when a broker does not answer its goodbye.
"""

import socket
import ssl
from collections.abc import Callable
from typing import Any, Final

import aiomqtt
from paho.mqtt.client import Client as PahoClient
from paho.mqtt.client import DisconnectFlags, MQTTMessage
from paho.mqtt.properties import Properties
from paho.mqtt.reasoncodes import ReasonCode

from stagectl.inlets.mqtt_login import Login

INCOMING: Final = 1000  # messages waiting at most; more are dropped and counted
KEEPALIVE_S: Final = 5
ANSWER_S: Final = 2.0  # a broker slower than this is given up, and tried again
CALLS: Final = 200  # publishes awaited together; more wait their turn
TAKEN: Final = 142  # reason code "session taken over", MQTT 5.0 section 2.4; mosquitto 2.0.11 just closes (measured)


class Client(aiomqtt.Client):
    """One connection, for one use.

    Attributes:
        denied: publishes that the broker's access list refused.
        ended_by: reason code of the end; 0: none.
        again: we had been connected before.
        rival: somebody else has our name at the broker.
        on_denied: told of each refused publish.
        on_full: told when a message came while the queue was full.
    """

    denied = 0
    ended_by = 0
    again = False
    rival = False
    on_denied: Callable[[], None]
    on_full: Callable[[], None]

    def _on_publish(
        self, client: PahoClient, userdata: Any, mid: int, reason_code: ReasonCode, properties: Properties
    ) -> None:
        if reason_code.is_failure:
            self.denied += 1
            self.on_denied()
        super()._on_publish(client, userdata, mid, reason_code, properties)

    def _on_message(self, client: PahoClient, userdata: Any, message: MQTTMessage) -> None:
        if self._queue.full():
            self.on_full()
            return
        super()._on_message(client, userdata, message)

    def _on_disconnect(
        self,
        client: PahoClient,
        userdata: Any,
        flags: DisconnectFlags,
        reason_code: ReasonCode,
        properties: Properties | None = None,
    ) -> None:
        self.ended_by = getattr(reason_code, "value", 0)
        super()._on_disconnect(client, userdata, flags, reason_code, properties)

    def drop(self) -> None:
        """Close the socket now, without a goodbye, so that the broker sends our will. aiomqtt may leave it open."""
        self._client._sock_close()  # noqa: SLF001 - paho has no other way but a goodbye
        if not self._disconnected.done():
            self._disconnected.set_result(None)
        for future in (self._connected, self._disconnected):
            if future.done() and not future.cancelled():
                future.exception()  # fetched


def client_of(
    address: tuple[str, int],
    identifier: str,
    will: aiomqtt.Will,
    login: Login | None = None,
    tls: ssl.SSLContext | None = None,
) -> Client:
    """A client for one connection to a broker that speaks MQTT 5; with TLS the broker proves that it has that name.

    Offline means no queue: the session is clean and ends with the connection.
    """
    client = Client(
        address[0],
        address[1],
        identifier=identifier,
        username=login.name if login is not None else None,
        password=login.password.reveal() if login is not None else None,
        tls_context=tls,
        protocol=aiomqtt.ProtocolVersion.V5,
        will=will,
        clean_start=True,
        timeout=ANSWER_S,
        keepalive=KEEPALIVE_S,
        max_queued_incoming_messages=INCOMING,
        socket_options=[(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)],
        max_concurrent_outgoing_calls=CALLS,
    )
    client.pending_calls_threshold = CALLS  # its warning per publish above 10 would be the load
    return client
