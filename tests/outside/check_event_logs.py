#!/usr/bin/env python3
"""Posts open event logs as jobs and stages and compares the case durations.

Usage: check_event_logs.py BAYWRIGHTD [CHECKS]

CHECKS is a folder that holds the larger logs; where it is missing, only the
small teaching log in tests/outside/data is posted, and the script says so.
The expected values were computed by a process-mining reference library; each
file names it and its source.
"""

import csv
import json
import os
import sys
import tempfile
from pathlib import Path

from peer import Daemon, Peer, generate

DATA = Path(__file__).resolve().parent / "data"


def read_events(path):
    cases = {}
    with open(path, newline="") as file:
        for row in csv.DictReader(file):
            end_us = int(row["end_ms"]) * 1000
            start_us = int(row.get("start_ms") or row["end_ms"]) * 1000
            cases.setdefault(row["case"], []).append((start_us, end_us, row["activity"]))
    return cases


def plan(case, events, fact_pb, intervals):
    """The posts of one case: (instant, order, kind, worker)."""
    first = min(s for s, _, _ in events) if intervals else min(e for _, e, _ in events)
    last = max(e for _, e, _ in events)
    yield first, 0, {"job_opened": fact_pb.JobOpened(job_type="unsorted", vehicle=f"case {case}")}, None
    for index, (start, end, activity) in enumerate(events):
        # One worker for each event, so that nobody is called away from a stage that overlaps another.
        worker = f"w{case}-{index}"
        yield start, 1, {"stage_started": fact_pb.StageStarted(stage=f"act-{activity}")}, worker
        yield end, 2, {"stage_finished": fact_pb.StageFinished(stage=f"act-{activity}")}, worker
    yield last, 3, {"job_released": fact_pb.JobReleased()}, None


def post_log(names, peer, cases, intervals):
    fact_pb = names["fact"]
    posts, openings = [], {}
    for case, events in cases.items():
        for at_us, order, kind, worker in plan(case, events, fact_pb, intervals):
            posts.append((at_us, order, case, kind, worker))
    posts.sort(key=lambda p: (p[0], p[1]))

    def requests():
        for at_us, _, case, kind, worker in posts:
            job = {}
            if case in openings:
                job = {"job": fact_pb.JobRef(opening_event_id=openings[case])}
            fact = peer.fact(at_us, **kind, **job)
            if worker:
                fact.by.append(worker)
            post = peer.post(fact, at_us)
            openings.setdefault(case, post.event_id)
            yield names["intake"].PostManyRequest(post=post)

    numbers = {}
    for (_, _, case, kind, _), answer in zip(posts, peer.intake.PostMany(requests(), timeout=600), strict=True):
        if answer.WhichOneof("result") != "receipt":
            sys.exit(f"FAILED: refused: {answer.refusal.message}")
        if "job_opened" in kind:
            numbers[case] = answer.receipt.job_number
    return numbers, len(posts)


def close(got, expected, what, tolerance=1e-3):
    if abs(got - expected) > tolerance:
        sys.exit(f"FAILED: {what}: {got} instead of {expected}")


def check(names, binary, title, events_path, expected_path, intervals=False):
    home = tempfile.mkdtemp(prefix="baywright-log-")
    daemon = Daemon(binary, os.path.join(home, "data"))
    try:
        peer = Peer(names, daemon.address, "peer-log")
        expected = json.loads(Path(expected_path).read_text())
        wanted = expected["expected"]
        cases = read_events(events_path)
        numbers, posted = post_log(names, peer, cases, intervals)
        durations, labour, busy, per_stage = {}, {}, {}, {}
        for case, number in numbers.items():
            story = peer.report.Job(names["report"].JobRequest(number=number), timeout=30).story
            durations[case] = story.job.cycle_us / 1e6
            labour[case] = story.job.actual_us / 1e6
            busy[case] = sum(p.hands_on_us for p in story.places) / 1e6
            for stage in story.job.stages:
                per_stage.setdefault(stage.stage, 0.0)
                per_stage[stage.stage] += stage.actual_us / 1e6
        compare(wanted, expected, durations, labour, busy, per_stage, intervals)
        print(f"ok: {title}: {len(cases)} cases, {posted} posts; durations as {expected['status'].split(' (')[0]}")
    finally:
        daemon.stop()


def compare(wanted, expected, durations, labour, busy, per_stage, intervals):
    key = "case_sojourn_first_start_to_last_end" if intervals else "case_duration_first_to_last_completion"
    spread(sorted(durations.values()), wanted[key], key)
    for index, duration in (wanted.get("case_durations") or {}).items():
        case = str(expected["case_ids"].index(index)) if expected.get("case_ids") else index
        close(durations[case], duration, f"duration of case {index}")
    if intervals:
        spread(sorted(labour.values()), wanted["case_service_sum"], "labour of a case")
        spread(sorted(busy.values()), wanted["case_busy_union"], "hands-on time of a case")
        for activity, total in wanted["service_time_by_activity"]["sum"].items():
            close(per_stage[f"act-{expected['activities'].index(activity)}"], total, f"labour of {activity}")


def spread(values, wanted, what):
    close(len(values), wanted["n"], f"number of {what}")
    close(sum(values) / len(values), wanted["mean"], f"mean of {what}")
    close(values[0], wanted["min"], f"smallest of {what}")
    close(values[-1], wanted["max"], f"largest of {what}")
    for p, expected in wanted["quantiles_type7"].items():
        # Hyndman and Fan type 7, as the reference library uses.
        at = (len(values) - 1) * float(p)
        low = int(at)
        high = min(low + 1, len(values) - 1)
        close(values[low] + (at - low) * (values[high] - values[low]), expected, f"quantile {p} of {what}")


def main(binary, checks=None):
    names = generate()
    check(names, binary, "teaching log", DATA / "running_example_events.csv", DATA / "running_example_expected.json")
    folder = Path(checks) / "09_eventlog" if checks else None
    if folder is None or not (folder / "receipt_events.csv").is_file():
        print("not here: the municipal log and the interval log; only the teaching log was posted")
        return
    check(names, binary, "municipal log", folder / "receipt_events.csv", folder / "receipt_expected.json")
    check(names, binary, "interval log", folder / "interval_a_events.csv", folder / "interval_a_expected.json", True)


if __name__ == "__main__":
    main(*sys.argv[1:])
