#!/usr/bin/env python3
"""Posts, reposts, watches and reads the week with the public grpc packages.

Usage: check_client.py BAYWRIGHTD
"""

import datetime
import os
import sys
import tempfile
import time

import grpc

from peer import Daemon, Peer, generate


def check(condition, what):
    if not condition:
        sys.exit(f"FAILED: {what}")
    print(f"ok: {what}")


def refused(call, code, what):
    try:
        call()
    except grpc.RpcError as error:
        check(error.code() == code, f"{what}: {error.code().name}: {error.details()}")
        return error
    sys.exit(f"FAILED: {what}: it was taken")


def main(binary):
    names = generate()
    home = tempfile.mkdtemp(prefix="baywright-client-")
    daemon = Daemon(binary, os.path.join(home, "data"))
    try:
        talk(names, daemon)
    finally:
        daemon.stop()
    # What was acknowledged is there after a restart.
    daemon = Daemon(binary, os.path.join(home, "data"))
    try:
        peer = Peer(names, daemon.address, "peer-1")
        hello = peer.hello.Hello(names["hello"].HelloRequest(protocol_lowest=1, protocol_highest=1, device="peer-1"))
        check(hello.held_device_seq == 5, "hello says what the daemon holds of the device")
        check(hello.head_seq == 5, "five records in the log after a restart")
    finally:
        daemon.stop()


def talk(names, daemon):
    fact_pb = names["fact"]
    peer = Peer(names, daemon.address, "peer-1")
    hello = peer.hello.Hello(names["hello"].HelloRequest(protocol_lowest=1, protocol_highest=1, device="peer-1"))
    check(hello.protocol_lowest <= 1 <= hello.protocol_highest, "protocol 1 is spoken")
    check(len(hello.log_id) == 16 and hello.head_seq == 0, "a new log is empty")

    now_us = int(time.time() * 1e6)
    start_us = now_us - 3 * 3_600_000_000
    opened = peer.post(
        peer.fact(start_us, job_opened=fact_pb.JobOpened(job_type="unsorted", vehicle="blue test cart")), start_us
    )
    receipt = peer.send(opened)
    check(receipt.seq == 1 and receipt.job_number >= 1, "the first post is seq 1 and opens a job")
    check(receipt.occurred_us == start_us, "a stated time is not corrected")

    again = peer.send(opened)
    check(again.repeated and again.seq == receipt.seq and again.received_us == receipt.received_us,
          "the same post again gets the first receipt")
    other = names["intake"].Post()
    other.CopyFrom(opened)
    other.fact = peer.fact(start_us, noted=fact_pb.Noted(text="something else")).SerializeToString()
    refused(lambda: peer.send(other), grpc.StatusCode.ALREADY_EXISTS, "the same event id with another fact")

    job = fact_pb.JobRef(opening_event_id=opened.event_id)
    out_of_step = peer.post(peer.fact(start_us, noted=fact_pb.Noted(text="late")), start_us, previous=77)
    refused(lambda: peer.send(out_of_step), grpc.StatusCode.FAILED_PRECONDITION, "a post out of step")
    peer.device_seq -= 1

    unreadable = peer.post(peer.fact(start_us, noted=fact_pb.Noted(text="x")), start_us)
    unreadable.fact = b"\xff\xff\xff"
    refused(lambda: peer.send(unreadable), grpc.StatusCode.INVALID_ARGUMENT, "an unreadable post")
    peer.device_seq -= 1

    def kinds():
        yield start_us + 60_000_000, {"stage_started": fact_pb.StageStarted(stage="decon")}
        yield start_us + 3_660_000_000, {"stage_finished": fact_pb.StageFinished(stage="decon")}
        yield start_us + 3_700_000_000, {"job_moved": fact_pb.JobMoved(place="away")}
        yield start_us + 7_200_000_000, {"job_released": fact_pb.JobReleased()}

    def requests():
        for at_us, kind in kinds():
            yield names["intake"].PostManyRequest(post=peer.post(peer.fact(at_us, job=job, bay="bay-1", **kind), at_us))

    answers = list(peer.intake.PostMany(requests(), timeout=10))
    check(len(answers) == 4 and all(a.WhichOneof("result") == "receipt" for a in answers),
          "a stream of posts gets a receipt each")
    check([a.receipt.seq for a in answers] == [2, 3, 4, 5], "in order, without a gap")

    def watched(after_seq):
        return [r.decoded.seq for r in peer.floor.Watch(names["floor"].WatchRequest(after_seq=after_seq), timeout=10)]

    check(watched(0) == [1, 2, 3, 4, 5], "watch pages through the log")
    check(watched(3) == [4, 5], "watch resumes after a seq")

    week = peer.report.Week(names["report"].WeekRequest(), timeout=10).week
    story = peer.report.Job(names["report"].JobRequest(number=receipt.job_number), timeout=10).story
    check(story.job.actual_us == 3_600_000_000, "one hour of labour is one hour")
    check(story.job.cycle_us == 7_200_000_000, "opening to release is two hours")
    if any(j.number == receipt.job_number for j in week.jobs):
        check(True, f"the week {week.week} lists the released job")
    else:
        # Three hours ago may have been last week.
        before = peer.report.Week(names["report"].WeekRequest(week=iso_week(start_us + 7_200_000_000)), timeout=10).week
        check(any(j.number == receipt.job_number for j in before.jobs), f"the week {before.week} lists the released job")


def iso_week(us):
    year, week, _ = datetime.datetime.fromtimestamp(us / 1e6, datetime.timezone.utc).isocalendar()
    return f"{year}-W{week:02d}"


if __name__ == "__main__":
    main(sys.argv[1])
