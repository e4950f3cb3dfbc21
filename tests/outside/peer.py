"""A client of the daemon in another language, from the .proto files alone.

Everything here is generated at run time by the public grpc tools; no line of
the project's Rust is involved.
"""

import json
import os
import subprocess
import sys
import tempfile
import uuid
from importlib import import_module, resources
from pathlib import Path

import grpc

ROOT = Path(__file__).resolve().parents[2]
PROTO = ROOT / "proto"


def generate():
    """Compiles the .proto files into a temporary package and imports it."""
    from grpc_tools import protoc

    out = tempfile.mkdtemp(prefix="baywright-peer-")
    files = sorted(str(p.relative_to(PROTO)) for p in PROTO.glob("baywright/v1/*.proto"))
    include = str(resources.files("grpc_tools").joinpath("_proto"))
    code = protoc.main(
        ["protoc", f"-I{PROTO}", f"-I{include}", f"--python_out={out}", f"--grpc_python_out={out}", *files]
    )
    if code != 0:
        sys.exit("protoc refused the .proto files")
    sys.path.insert(0, out)
    names = {}
    for file in files:
        stem = Path(file).stem
        names[stem] = import_module(f"baywright.v1.{stem}_pb2")
        names[stem + "_grpc"] = import_module(f"baywright.v1.{stem}_pb2_grpc")
    return names


def uuid7(milliseconds, count):
    """A UUID version 7 (RFC 9562) whose random part is the count."""
    value = (milliseconds & ((1 << 48) - 1)) << 80
    value |= 0x7 << 76
    value |= 0b10 << 62
    value |= count & ((1 << 62) - 1)
    return value.to_bytes(16, "big")


class Daemon:
    """A real daemon on a free port over a directory of its own."""

    def __init__(self, binary, data):
        self.process = subprocess.Popen(
            [binary, "serve", "--data", data, "--listen", "127.0.0.1:0", "--metrics", "127.0.0.1:0", "--json"],
            stdout=subprocess.PIPE,
            stderr=open(data + ".stderr", "ab"),
            text=True,
        )
        line = self.process.stdout.readline()
        if not line:
            sys.exit("the daemon ended before it was ready")
        self.ready = json.loads(line)
        self.address = self.ready["listening"]

    def stop(self):
        self.process.terminate()
        if self.process.wait(timeout=20) != 0:
            sys.exit(f"the daemon stopped with {self.process.returncode}")


class Peer:
    """One device that posts."""

    def __init__(self, names, address, device):
        self.m = names
        self.channel = grpc.insecure_channel(address)
        stub = lambda name, service: getattr(names[name + "_grpc"], service + "Stub")(self.channel)
        self.intake = stub("intake", "IntakeService")
        self.hello = stub("hello", "HelloService")
        self.floor = stub("floor", "FloorService")
        self.report = stub("report", "ReportService")
        self.catalogue = stub("catalogue", "CatalogueService")
        self.device = device
        self.device_seq = 0
        self.acknowledged = 0
        self.salt = uuid.uuid4().int

    def clocks(self, wall_us):
        return self.m["fact"].Clocks(wall_us=wall_us, boot_id="peer-boot", boot_us=1_000_000)

    def fact(self, at_us, **kind):
        fact = self.m["fact"].Fact(clocks=self.clocks(at_us), at_us=at_us)
        for field, value in kind.items():
            if field in ("job", "bay"):
                continue
            getattr(fact, field).CopyFrom(value)
        if "bay" in kind:
            fact.bay = kind["bay"]
        if "job" in kind:
            fact.job.CopyFrom(kind["job"])
        return fact

    def post(self, fact, at_us, previous=None):
        self.device_seq += 1
        post = self.m["intake"].Post(
            event_id=uuid7(at_us // 1000, self.salt + self.device_seq),
            device_seq=self.device_seq,
            previous_device_seq=self.device_seq - 1 if previous is None else previous,
            fact=fact.SerializeToString(),
            delivery_clocks=self.clocks(at_us),
            device=self.device,
        )
        return post

    def send(self, post):
        return self.intake.Post(self.m["intake"].PostRequest(post=post), timeout=10).receipt
