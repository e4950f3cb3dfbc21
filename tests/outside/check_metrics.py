#!/usr/bin/env python3
"""Reads the page of figures with the parsers of Prometheus' own Python client.

Usage: check_metrics.py BAYWRIGHTD
"""

import os
import re
import sys
import tempfile
import time
import urllib.error
import urllib.request

from prometheus_client.openmetrics.parser import text_string_to_metric_families
from prometheus_client.parser import text_string_to_metric_families as plain_families

from peer import Daemon, Peer, generate

# Prometheus' conventions: base units, and `_total` on what only grows.
UNITS = ("seconds", "bytes")
NOT_BASE = re.compile(r"_(ms|us|milliseconds|microseconds|minutes|hours|days|kb|mb|kilobytes|percent)(_|$)")


def fail(why):
    sys.exit(f"FAILED: {why}")


def read(address, path):
    with urllib.request.urlopen(f"http://{address}{path}", timeout=10) as answer:
        return answer.headers["Content-Type"], answer.read().decode()


def main(binary):
    names = generate()
    data = os.path.join(tempfile.mkdtemp(prefix="baywright-metrics-"), "data")
    daemon = Daemon(binary, data)
    try:
        metrics = daemon.ready["metrics"]
        peer = Peer(names, daemon.address, "peer-metrics")
        posts = 20
        for count in range(posts):
            at_us = int(time.time() * 1e6) - 1_000_000 + count
            peer.send(peer.post(peer.fact(at_us, noted=names["fact"].Noted(text=f"note {count}")), at_us))
        kind, page = read(metrics, "/metrics")
        if not kind.startswith("application/openmetrics-text; version=1.0.0"):
            fail(f"content type {kind}")
        families = {family.name: family for family in text_string_to_metric_families(page)}
        samples = {
            (sample.name, tuple(sorted(sample.labels.items()))): sample.value
            for family in families.values()
            for sample in family.samples
        }
        kept = samples[("baywright_posts_total", (("outcome", "kept"),))]
        if kept != posts or samples[("baywright_log_head_seq", ())] != posts:
            fail(f"{kept} posts kept, head {samples[('baywright_log_head_seq', ())]}, {posts} were posted")
        for name, family in families.items():
            if not name.startswith("baywright_") or not re.fullmatch(r"[a-z][a-z0-9_]*", name):
                fail(f"the name {name}")
            if NOT_BASE.search(name) or (family.unit and family.unit not in UNITS):
                fail(f"{name} is not in a base unit")
            if not family.documentation:
                fail(f"{name} says nothing of itself")
            if family.type == "counter" and not all(s.name.endswith("_total") for s in family.samples):
                fail(f"{name} is a counter without _total")
            if len(family.samples) > 1000:
                fail(f"{name} has {len(family.samples)} series")
        # A collector that knows only the older format reads it as well.
        if sum(1 for _ in plain_families(page)) < len(families):
            fail("the older parser reads less")
        _, health = read(metrics, "/health")
        if not health.startswith("ok: "):
            fail(f"health: {health}")
        try:
            read(metrics, "/")
            fail("there is a page at /")
        except urllib.error.HTTPError as error:
            if error.code != 404:
                fail(f"/ answers {error.code}")
        print(f"ok: {len(families)} families, {len(samples)} samples, by the parsers of Prometheus' client")
    finally:
        daemon.stop()


if __name__ == "__main__":
    main(sys.argv[1])
