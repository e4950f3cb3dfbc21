#!/usr/bin/env python3
"""Verifies the chain of a log, then spoils one byte of a copy and sees it found.

Usage: check_chain.py BAYWRIGHTD
"""

import os
import sqlite3
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from peer import Daemon, Peer, generate

VERIFY = Path(__file__).resolve().parent / "verify_chain.py"


def verify(path):
    return subprocess.run([sys.executable, VERIFY, path], capture_output=True, text=True)


def main(binary):
    names = generate()
    home = tempfile.mkdtemp(prefix="baywright-chain-")
    data = os.path.join(home, "data")
    daemon = Daemon(binary, data)
    try:
        peer = Peer(names, daemon.address, "peer-chain")
        for count in range(50):
            at_us = int(time.time() * 1e6) - 1_000_000 + count
            peer.send(peer.post(peer.fact(at_us, noted=names["fact"].Noted(text=f"note {count}")), at_us))
    finally:
        daemon.stop()
    log = os.path.join(data, "log.db")
    good = verify(log)
    if good.returncode != 0 or not good.stdout.startswith("50 records"):
        sys.exit(f"FAILED: {good.stdout}{good.stderr}")
    print(f"ok: {good.stdout.strip()}")

    # Altered by hand, past the database's own refusal.
    db = sqlite3.connect(log)
    for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
        db.execute(f'DROP TRIGGER "{name}"')
    record = bytearray(db.execute("SELECT record FROM record WHERE seq = 31").fetchone()[0])
    record[-1] ^= 1
    db.execute("UPDATE record SET record = ? WHERE seq = 31", (bytes(record),))
    db.commit()
    db.close()
    bad = verify(log)
    if bad.returncode == 0 or "seq 31" not in bad.stderr:
        sys.exit(f"FAILED: an altered record was not found: {bad.stdout}{bad.stderr}")
    ours = subprocess.run([binary, "verify", "--data", data], capture_output=True, text=True)
    if ours.returncode == 0 or "31" not in ours.stdout + ours.stderr:
        sys.exit(f"FAILED: the daemon's own verify missed it: {ours.stdout}{ours.stderr}")
    print("ok: a record altered by hand is named by both, seq 31")


if __name__ == "__main__":
    main(sys.argv[1])
