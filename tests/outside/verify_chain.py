#!/usr/bin/env python3
"""Verifies the hash chain of a log.db with nothing but SQLite and SHA-256.

Usage: verify_chain.py LOG_DB

Written from the description in proto/baywright/v1/log.proto and the README,
not from the daemon's code: hash = SHA-256(previous hash, stored record bytes),
the genesis hash is SHA-256 of the log id.
"""

import hashlib
import sqlite3
import sys


def main(path):
    db = sqlite3.connect(f"file:{path}?mode=ro&immutable=1", uri=True)
    (log_id,) = db.execute("SELECT log_id FROM meta").fetchone()
    head = hashlib.sha256(log_id).digest()
    expected_seq = 1
    for seq, record, stored in db.execute("SELECT seq, record, hash FROM record ORDER BY seq"):
        if seq != expected_seq:
            sys.exit(f"seq {expected_seq} is missing")
        head = hashlib.sha256(head + record).digest()
        if head != stored:
            sys.exit(f"the chain breaks at seq {seq}")
        expected_seq += 1
    print(f"{expected_seq - 1} records, head {head.hex()}")


if __name__ == "__main__":
    main(sys.argv[1])
