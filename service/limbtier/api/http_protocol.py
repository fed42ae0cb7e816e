"""HTTP that cannot even be read is refused by the server itself; here it is refused as a problem, too."""

from __future__ import annotations

import h11
from uvicorn.protocols.http.h11_impl import H11Protocol

from limbtier.api.middleware import HEADERS
from limbtier.api.problem_responses import problem_body
from limbtier.api.problems import MEDIA_TYPE, PROBLEM_TYPES
from limbtier.foundation.diagnostics import Diagnostic


class ProblemProtocol(H11Protocol):
    """HTTP/1.1 for `uvicorn.run(..., http=ProblemProtocol)`."""

    def send_400_response(self, msg: str) -> None:
        """Answer a request that is no proper HTTP, and close the connection."""
        finding = Diagnostic("malformed-request", msg, "Correct the client, or the proxy before the service.")
        body = problem_body(PROBLEM_TYPES["malformed-request"], [finding])
        headers = [
            (b"content-type", MEDIA_TYPE.encode()),
            (b"content-length", str(len(body)).encode()),
            (b"connection", b"close"),
            *HEADERS,
        ]
        for event in (
            h11.Response(status_code=400, headers=headers, reason=b"Bad Request"),
            h11.Data(data=body),
            h11.EndOfMessage(),
        ):
            self.transport.write(self.conn.send(event) or b"")
        self.transport.close()
