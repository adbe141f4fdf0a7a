"""A printer that exists only in a test: answers IPP over HTTP with whatever status and reasons it is told."""

import struct
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer

PRINT_JOB = 0x0002


class FakePrinter:
    """``statuses`` are the answers to the next Print-Jobs, in order; then 0x0000. ``documents`` are those it took."""

    def __init__(self, statuses=(), *, reasons=("none",), state=3, accepting=True, http=200, body=None):
        self.statuses, self.documents, self.asked = list(statuses), [], 0
        self.reasons, self.state, self.accepting, self.http, self.body = reasons, state, accepting, http, body
        outer = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self):
                request = self.rfile.read(int(self.headers["Content-Length"]))
                answer = outer.answer(request) if outer.body is None else outer.body
                self.send_response(outer.http)
                self.send_header("Content-Length", str(len(answer)))
                self.end_headers()
                self.wfile.write(answer)

            def log_message(self, *_):
                pass

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.uri = f"ipp://127.0.0.1:{self.server.server_port}/ipp/print"
        threading.Thread(target=self.server.serve_forever, args=(0.02,), daemon=True).start()

    def answer(self, request):
        self.asked += 1
        operation = int.from_bytes(request[2:4], "big")
        if operation != PRINT_JOB:
            attributes = [
                (0x23, "printer-state", struct.pack(">i", self.state)),
                (0x22, "printer-is-accepting-jobs", bytes([self.accepting])),
            ]
            attributes += [
                (0x44, "printer-state-reasons" if n == 0 else "", r.encode())
                for n, r in enumerate(self.reasons)
            ]
            return (
                struct.pack(">BBHI", 2, 0, 0, 1)
                + b"\x04"
                + b"".join(attribute(*a) for a in attributes)
                + b"\x03"
            )
        status = self.statuses.pop(0) if self.statuses else 0
        if status <= 0xFF:
            self.documents.append(request[request.index(b"%PDF") :])
        return struct.pack(">BBHI", 2, 0, status, 1) + b"\x03"

    def close(self):
        self.server.shutdown()
        self.server.server_close()


def attribute(tag, name, value):
    return struct.pack(">BH", tag, len(name)) + name.encode() + struct.pack(">H", len(value)) + value
