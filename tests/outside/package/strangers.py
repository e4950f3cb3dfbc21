"""What somebody in the shop's network sees who has no certificate.

Run inside that somebody's network namespace:
  strangers.py ports FIRST LAST ADDRESS...   the open TCP ports from FIRST to LAST, one JSON list an address
  strangers.py call ADDRESS PORT             a gRPC call without a certificate; says how it ended
"""

import json
import selectors
import socket
import ssl
import sys
import time

AT_ONCE = 500
ANSWER_S_MAX = 3.0
SCAN_S_MAX = 120.0
PREFACE = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n" + b"\x00\x00\x00\x04\x00\x00\x00\x00\x00"


def open_ports(address, first, last):
    """Tries to connect to every port of a range."""
    family = socket.AF_INET6 if ":" in address else socket.AF_INET
    found, waiting, ports = [], selectors.DefaultSelector(), iter(range(first, last + 1))
    trying, until = {}, time.monotonic() + SCAN_S_MAX
    more = True
    while more or trying:
        if time.monotonic() > until:
            sys.exit(f"the scan of {address} took longer than {SCAN_S_MAX} s")
        while more and len(trying) < AT_ONCE:
            port = next(ports, None)
            if port is None:
                more = False
                break
            tried = socket.socket(family, socket.SOCK_STREAM)
            tried.setblocking(False)
            try:
                tried.connect((address, port))
            except BlockingIOError:
                pass
            trying[tried] = (port, time.monotonic())
            waiting.register(tried, selectors.EVENT_WRITE)
        for key, _ in waiting.select(0.1):
            tried = key.fileobj
            if tried.getsockopt(socket.SOL_SOCKET, socket.SO_ERROR) == 0:
                found.append(trying[tried][0])
            waiting.unregister(tried)
            del trying[tried]
            tried.close()
        for tried in [tried for tried, (_, since) in trying.items() if time.monotonic() - since > ANSWER_S_MAX]:
            # Silence is not open; nothing here drops packets, so it does not happen.
            waiting.unregister(tried)
            del trying[tried]
            tried.close()
    return sorted(found)


def call(address, port):
    """Speaks TLS without a certificate, then HTTP/2, and reads what comes."""
    context = ssl.create_default_context()
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE
    context.set_alpn_protocols(["h2"])
    said = {"protocol": None, "refused": None, "bytes": 0}
    try:
        with socket.create_connection((address, port), timeout=ANSWER_S_MAX) as plain:
            with context.wrap_socket(plain, server_hostname="baywrightd") as spoken:
                said["protocol"] = spoken.version()
                spoken.sendall(PREFACE)
                # In TLS 1.3 the refusal of a missing certificate comes with the first read.
                said["bytes"] = len(spoken.recv(65_536))
    except (ssl.SSLError, ConnectionError) as error:
        said["refused"] = str(error)
    print(json.dumps(said))


def main(what, *rest):
    if what == "ports":
        first, last, *addresses = rest
        print(json.dumps({address: open_ports(address, int(first), int(last)) for address in addresses}))
    else:
        call(rest[0], int(rest[1]))


main(*sys.argv[1:])
