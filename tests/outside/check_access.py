#!/usr/bin/env python3
"""Nobody gets in without a certificate of the shop's authority.

With OpenSSL's own client, Python's TLS and the public grpc packages, none of
which share a line with the daemon: before there are certificates nothing
listens beyond the loopback; after that one port does, and whoever shows no
certificate, or a stranger's, gets no answer; a code's port is open while the
code lives; a joined device gets in with what it was given.

Usage: check_access.py BAYWRIGHTD BAY
"""

import json
import os
import re
import shutil
import socket
import ssl
import subprocess
import sys
import tempfile
from pathlib import Path

import grpc

from peer import generate

ANY = "0.0.0.0"
LOOPBACK = "127.0.0.1"
H2_PREFACE = b"PRI * HTTP/2.0\r\n\r\nSM\r\n\r\n\x00\x00\x00\x04\x00\x00\x00\x00\x00"


def check(condition, what):
    if not condition:
        sys.exit(f"FAILED: {what}")
    print(f"ok: {what}")


def listening(pid):
    """Addresses and ports on which a process listens for TCP, by the kernel."""
    inodes = set()
    for fd in Path(f"/proc/{pid}/fd").iterdir():
        try:
            found = re.match(r"socket:\[(\d+)\]", os.readlink(fd))
        except OSError:
            continue
        if found:
            inodes.add(found[1])
    found = set()
    for table in ("tcp", "tcp6"):
        for line in Path(f"/proc/{pid}/net/{table}").read_text().splitlines()[1:]:
            fields = line.split()
            if fields[3] == "0A" and fields[9] in inodes:
                address, port = fields[1].rsplit(":", 1)
                found.add((address, int(port, 16)))
    return found


def is_loopback(address):
    """An address of /proc/net/tcp: 127.0.0.0/8 with its bytes turned round, or ::1."""
    return (len(address) == 8 and address.endswith("7F")) or address == "0" * 24 + "01000000"


class Daemon:
    def __init__(self, binary, data, listen, socket=None):
        self.socket = socket
        self.process = subprocess.Popen(
            [binary, "serve", "--data", data, "--listen", listen, "--json", *(["--socket", socket] if socket else [])],
            stdout=subprocess.PIPE,
            stderr=open(data + ".stderr", "ab"),
            text=True,
        )
        self.ready = json.loads(self.process.stdout.readline())
        self.port = int(self.ready["listening"].rsplit(":", 1)[1])

    def stop(self):
        self.process.terminate()
        check(self.process.wait(30) == 0, "it stops when it is told")


def run(*args, **more):
    return subprocess.run(args, capture_output=True, text=True, timeout=60, **more)


def s_client(port, *more):
    """OpenSSL's client; what it says when the daemon is done with it."""
    command = ["openssl", "s_client", "-connect", f"{LOOPBACK}:{port}", "-alpn", "h2", "-ign_eof", *more]
    done = subprocess.run(command, input=H2_PREFACE, capture_output=True, timeout=60)
    return (done.stdout + done.stderr).decode(errors="replace")


def python_tls(port, certificate=None):
    """What Python's TLS reads back after it sent the HTTP/2 preface; the daemon's
    name is not checked, so that only its own refusal can end this."""
    context = ssl.create_default_context()
    context.check_hostname = False
    context.verify_mode = ssl.CERT_NONE
    context.set_alpn_protocols(["h2"])
    if certificate:
        context.load_cert_chain(*certificate)
    with socket.create_connection((LOOPBACK, port), 10) as raw:
        with context.wrap_socket(raw) as tls:
            tls.sendall(H2_PREFACE)
            return tls.recv(1024)


def is_refused(port, certificate=None):
    try:
        return python_tls(port, certificate) == b"", "closed"
    except (ssl.SSLError, ConnectionError) as error:
        return True, str(error)


def grpc_hello(names, port, root, certificate):
    """A call with the grpc packages; the status it ends with, or its answer."""
    key, chain = (Path(p).read_bytes() for p in certificate) if certificate else (None, None)
    credentials = grpc.ssl_channel_credentials(Path(root).read_bytes(), key, chain)
    options = [("grpc.ssl_target_name_override", "baywrightd")]
    with grpc.secure_channel(f"{LOOPBACK}:{port}", credentials, options) as channel:
        hello = names["hello_grpc"].HelloServiceStub(channel).Hello
        return hello(names["hello"].HelloRequest(device="x"), timeout=10)


def stranger(folder):
    """A certificate of an authority that is not the shop's, with the shop's words in it."""
    key, certificate = os.path.join(folder, "stranger.key"), os.path.join(folder, "stranger.crt")
    made = run(
        "openssl", "req", "-x509", "-newkey", "ec", "-pkeyopt", "ec_paramgen_curve:P-256", "-nodes",
        "-keyout", key, "-out", certificate, "-days", "30", "-subj", "/CN=bay-1",
        "-addext", "extendedKeyUsage=clientAuth",
    )  # fmt: skip
    check(made.returncode == 0, "a stranger makes a certificate of its own")
    return key, certificate


def another_user(binary, bay, data, daemon):
    """The Unix socket goes by the user id that the kernel gives of its other end."""
    own_data = tempfile.mkdtemp(prefix="baywright-user-")
    # A user whom no computer has: what is proved is the number.
    user = 54321
    os.chown(own_data, user, user)
    program = os.path.join(own_data, "bay")
    shutil.copy(bay, program)
    os.chmod(program, 0o755)

    def ask(*words):
        return run(
            "setpriv", f"--reuid={user}", f"--regid={user}", "--clear-groups",
            program, "--server", f"unix:{daemon.socket}", *words,
            env={"HOME": own_data, "BAYWRIGHT_DATA": own_data, "PATH": os.environ["PATH"]}, cwd="/",
        )  # fmt: skip

    said = ask("now")
    check(said.returncode == 5 and f"--user {user}" in said.stderr, "another user of the computer is refused, and told how")
    let_in = run(binary, "enrol", "clerk", "--role", "viewer", "--user", str(user), "--data", data, "--socket", daemon.socket)
    check(let_in.returncode == 0, f"the owner lets the user in: {let_in.stdout.strip()}{let_in.stderr}")
    check(ask("week").returncode == 0, "as a viewer the user reads the week")
    posted = ask("note", "from the office")
    check(posted.returncode == 5 and "bay's" in posted.stderr, f"and posts nothing: {posted.stderr.splitlines()[:1]}")
    cut = run(binary, "devices", "cut", "clerk", "--data", data, "--socket", daemon.socket)
    check(cut.returncode == 0 and ask("now").returncode == 5, "cut off, the user is refused again")
    shutil.rmtree(own_data)


def main(binary, bay):
    names = generate()
    home = tempfile.mkdtemp(prefix="baywright-access-")
    data = os.path.join(home, "server")
    before(binary, data)
    made = run(binary, "init", "--data", data)
    check(made.returncode == 0, "init makes the shop's authority")
    # In a folder that every user may enter: who gets an answer is the daemon's to say.
    sockets = tempfile.mkdtemp(prefix="baywright-sockets-")
    os.chmod(sockets, 0o755)
    daemon = Daemon(binary, data, f"{ANY}:0", os.path.join(sockets, "bay.sock"))
    try:
        after(binary, bay, names, home, data, daemon)
    finally:
        daemon.stop()
    shutil.rmtree(home)


def before(binary, data):
    daemon = Daemon(binary, data, f"{LOOPBACK}:0")
    ports = listening(daemon.process.pid)
    check(ports and all(is_loopback(address) for address, _ in ports), "before init only the loopback is listened on")
    daemon.stop()
    refused = run(binary, "serve", "--data", data, "--listen", f"{ANY}:0")
    check(refused.returncode == 2 and "init" in refused.stderr, "before init it listens nowhere else, and says why")


def after(binary, bay, names, home, data, daemon):
    root = os.path.join(data, "access", "authority.crt")
    outside = {port for address, port in listening(daemon.process.pid) if not is_loopback(address)}
    check(outside == {daemon.port}, "after init one port is open, and no other")

    said = s_client(daemon.port)
    check("certificate required" in said, "openssl s_client without a certificate: certificate required")
    said = s_client(daemon.port, "-tls1_2")
    check("protocol version" in said, "openssl s_client with TLS 1.2: no such version")
    verified = s_client(daemon.port, "-CAfile", root, "-verify_return_error", "-verify_hostname", "baywrightd")
    check("Verify return code: 0 (ok)" in verified, "OpenSSL verifies the daemon's certificate by the authority's")

    refused, why = is_refused(daemon.port)
    check(refused, f"Python without a certificate: {why}")
    own = stranger(home)
    refused, why = is_refused(daemon.port, (own[1], own[0]))
    check(refused, f"Python with a stranger's certificate: {why}")
    server_key = os.path.join(data, "access", "server.key")
    refused, why = is_refused(daemon.port, (os.path.join(data, "access", "server.crt"), server_key))
    check(refused, f"even the daemon's own certificate is none of a device: {why}")
    for certificate, whose in ((None, "without a certificate"), (own, "with a stranger's certificate")):
        try:
            grpc_hello(names, daemon.port, root, certificate)
            sys.exit(f"FAILED: the grpc packages {whose} got an answer")
        except grpc.RpcError as error:
            check(error.code() == grpc.StatusCode.UNAVAILABLE, f"the grpc packages {whose}: no connection")

    if os.getuid() == 0 and shutil.which("setpriv"):
        another_user(binary, bay, data, daemon)
    else:
        print("SKIPPED: only root can be another user for a moment")

    code = run(binary, "enrol", "bay-1", "--role", "bay", "--data", data, "--socket", daemon.socket, "--json")
    given = json.loads(code.stdout)
    outside = {port for address, port in listening(daemon.process.pid) if not is_loopback(address)}
    check(outside == {daemon.port, given["join_port"]}, "while a code lives the joining port is open too")
    own_data = os.path.join(home, "bay-1")
    environment = {"HOME": own_data, "BAYWRIGHT_DATA": own_data, "PATH": os.environ["PATH"]}
    joined = run(bay, "join", f"{LOOPBACK}:{given['join_port']}", given["code"], env=environment)
    check(joined.returncode == 0, f"a bay joins: {joined.stdout.splitlines()[:1]}{joined.stderr}")
    for _ in range(1_000):
        outside = {port for address, port in listening(daemon.process.pid) if not is_loopback(address)}
        if outside == {daemon.port}:
            break
    check(outside == {daemon.port}, "after the code was used the joining port is shut")

    pem = os.path.join(own_data, "joined", "device.pem")
    answer = grpc_hello(names, daemon.port, root, (pem, pem))
    check(len(answer.log_id) == 16, "with the joined device's certificate the grpc packages are answered")
    cut = run(binary, "devices", "cut", "bay-1", "--data", data, "--socket", daemon.socket)
    check(cut.returncode == 0, "the device is cut off")
    refused, why = is_refused(daemon.port, (pem, pem))
    check(refused and "REVOKED" in why.upper(), f"then its certificate opens nothing: {why}")


if __name__ == "__main__":
    main(*sys.argv[1:])
