"""A store of buckets on a free port of this machine: moto's server, with the condition that it leaves out.

Moto takes no notice of `If-None-Match: *` when an upload of several pieces is completed. Amazon's API reference,
CompleteMultipartUpload, has 412 Precondition Failed where the key is taken: this answers so. In a bucket "old" it plays
a store that knows no such condition at all: 501 NotImplemented, from Amazon's list of error codes. Prints its address.
"""

import sys
from collections.abc import Callable, Iterable
from typing import Any

from moto.moto_server.werkzeug_app import DomainDispatcherApplication, create_backend_app
from werkzeug.serving import make_server
from werkzeug.test import run_wsgi_app
from werkzeug.wrappers import Response

SAYS = '<?xml version="1.0" encoding="UTF-8"?><Error><Code>{}</Code><Message>{}</Message></Error>'
REFUSED = SAYS.format("PreconditionFailed", "At least one of the pre-conditions you specified did not hold")
UNKNOWN = SAYS.format("NotImplemented", "A header you provided implies functionality that is not implemented")
Start = Callable[..., Any]


def conditional(app: Callable[[dict[str, Any], Start], Iterable[bytes]]) -> Callable[..., Iterable[bytes]]:
    def answer(environ: dict[str, Any], start: Start) -> Iterable[bytes]:
        if environ["PATH_INFO"].startswith("/old/") and environ.get("HTTP_IF_NONE_MATCH") == "*":
            return Response(UNKNOWN, 501, content_type="application/xml")(environ, start)
        completes = environ["REQUEST_METHOD"] == "POST" and "uploadId=" in environ.get("QUERY_STRING", "")
        if completes and environ.get("HTTP_IF_NONE_MATCH") == "*":
            look = {**environ, "REQUEST_METHOD": "HEAD", "QUERY_STRING": "", "CONTENT_LENGTH": "0"}
            del look["HTTP_IF_NONE_MATCH"]
            _, status, _ = run_wsgi_app(app, look)
            if status.startswith("200"):
                return Response(REFUSED, 412, content_type="application/xml")(environ, start)
        return app(environ, start)

    return answer


if __name__ == "__main__":
    server = make_server("127.0.0.1", 0, conditional(DomainDispatcherApplication(create_backend_app)), threaded=True)
    sys.stdout.write(f"http://127.0.0.1:{server.server_port}\n")
    sys.stdout.flush()
    server.serve_forever()
