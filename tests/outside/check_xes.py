#!/usr/bin/env python3
"""Exports XES through the real `bay` and reads it with others' tools.

Usage: check_xes.py DEMO [CHECKS]

DEMO is the demo binary, which runs itself again as `bay` or `baywrightd`. A
schema validator (lxml, libxml2) first has to give the published verdicts on
valid and invalid files, then to find our exports valid. The reference
process-mining library (pm4py) reads each export; its case durations, its service
times by activity and its counts of repeated work have to be what `bay export
json` and `bay job --json` say. For the interval log in CHECKS (where it is
there) the service times have to be the published ones as well, so the export
is compared with the world and not only with us.
"""

import contextlib
import io
import json
import os
import subprocess
import sys
import tempfile
import warnings
from pathlib import Path

from lxml import etree

# The library greets and draws bars; a log of checks has no use for them.
os.environ["TQDM_DISABLE"] = "1"
with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
    import pm4py
    from pm4py.objects.log.util import interval_lifecycle

import check_event_logs
from peer import Daemon, Peer, generate

warnings.filterwarnings("ignore")
HERE = Path(__file__).resolve().parent
DATA = HERE / "data"
# Jobs whose `bay job --json` is compared too; each is a process of its own.
STORIES = 25
# Names that break a careless writer; the last two hold what XML cannot.
NASTY = [
    "red <b>\"trike\"</b> & 'co' ]]> -->",
    "žluťoučký kůň 🏍 &#0; &amp;",
    "tab\tline\nreturn\rend",
    "=cmd|'/c calc'!A0",
    "bell \x07 and nothing \x00",
    "not a character \ufffe\uffff",
]


def fail(text):
    sys.exit(f"FAILED: {text}")


def schema():
    validator = etree.XMLSchema(etree.parse(str(HERE / "xes.xsd")))
    cases = json.loads((DATA / "xes_validity.json").read_text())["cases"]
    for case in cases:
        try:
            verdict = validator.validate(etree.fromstring(case["xes"].encode()))
        except etree.XMLSyntaxError:
            verdict = False
        if verdict != case["valid"]:
            fail(f"the schema calls {case['id']} {verdict}: {validator.error_log}")
    print(f"ok: the schema gives the published verdict on all {len(cases)} files")
    return validator


class Bay:
    """The real `bay`, with nothing of this machine's environment."""

    def __init__(self, demo, server, folder):
        self.demo, self.server, self.folder = demo, server, folder

    def __call__(self, *words):
        env = {"HOME": self.folder, "BAYWRIGHT_DATA": self.folder, "BAYWRIGHT_SERVER": self.server}
        done = subprocess.run(
            [self.demo, "as-bay", *words], env=env, capture_output=True, stdin=subprocess.DEVNULL, timeout=300
        )
        if done.returncode != 0:
            fail(f"bay {' '.join(words)}: {done.stderr.decode()}")
        return done.stdout.decode()


def read_xes(path):
    """The log as pm4py reads it, in lifecycle form and in interval form."""
    frame = pm4py.read_xes(str(path))
    return frame, interval_lifecycle.to_interval(pm4py.convert_to_event_log(frame))


def us(instant):
    return int(instant.value // 1000) if hasattr(instant, "value") else round(instant.timestamp() * 1e6)


def compare(title, bay, path):
    """Durations, service times and repeated work: the library's against ours."""
    frame, intervals = read_xes(path)
    jobs = [json.loads(line) for line in bay("export", "json").splitlines()]
    ended = {str(job["number"]): [s for s in job["hands_on"] if s["ended"] != "running"] for job in jobs}
    with_events = {number: stretches for number, stretches in ended.items() if stretches}
    traces = {trace.attributes["concept:name"]: trace for trace in intervals}
    if set(traces) != set(with_events):
        fail(f"{title}: traces {sorted(set(traces) ^ set(with_events))} are in one of both only")

    # Case durations, by the library's own statistic: seconds, of doubles.
    durations = pm4py.get_all_case_durations(frame)
    ours = sorted(
        (max(s["until_us"] for s in stretches) - min(s["from_us"] for s in stretches)) / 1e6
        for stretches in (job["hands_on"] for job in jobs)
        if stretches
    )
    if len(durations) != len(ours) or any(abs(a - b) > 1e-5 for a, b in zip(sorted(durations), ours)):
        fail(f"{title}: case durations differ")

    service, rework, reworked = {}, {}, 0
    for number, stretches in with_events.items():
        theirs = {}
        for event in traces[number]:
            time = us(event["time:timestamp"]) - us(event["start_timestamp"])
            stage = event["concept:name"]
            theirs[stage] = theirs.get(stage, 0) + time
            service[stage] = service.get(stage, 0) + time
            reworked += bool(event["rework"])
        mine = {}
        for stretch in stretches:
            mine[stretch["stage"]] = mine.get(stretch["stage"], 0) + stretch["hands_on_us"]
        if theirs != mine:
            fail(f"{title}: service times of job {number}: {theirs} instead of {mine}")
        cost = sum(round(100 * event.get("cost:total", 0)) for event in traces[number])
        # Two digits: the shops of this check count in euros.
        if cost != sum(stretch["cost_minor"] or 0 for stretch in stretches):
            fail(f"{title}: cost of job {number}")
        resources = sorted(event.get("org:resource") or "" for event in traces[number])
        if resources != sorted(stretch["worker"] for stretch in stretches):
            fail(f"{title}: workers of job {number}")
    if reworked != sum(s["rework"] for stretches in with_events.values() for s in stretches):
        fail(f"{title}: {reworked} stretches of rework")

    # Cases in which an activity comes more than once, by the library, on
    # completed runs: a pause is no repetition.
    whole = pm4py.convert_to_dataframe(intervals)
    runs = whole.sort_values("time:timestamp").drop_duplicates(["case:concept:name", "run", "concept:name"])
    rework = dict(pm4py.get_rework_cases_per_activity(runs))
    mine = {}
    for stretches in with_events.values():
        stages = {}
        for stretch in stretches:
            stages.setdefault(stretch["stage"], set()).add(stretch["run_event_id"])
        for stage, of_stage in stages.items():
            if len(of_stage) > 1:
                mine[stage] = mine.get(stage, 0) + 1
    if rework != mine:
        fail(f"{title}: cases with a repeated stage: {rework} instead of {mine}")

    # The same figures as `bay job` prints them for one job.
    for number in list(with_events)[:STORIES]:
        job = json.loads(bay("job", number, "--json"))["story"]["job"]
        story = {s["stage"]: s["actual_us"] - s.get("declared_us", 0) for s in job["stages"]}
        mine = {}
        for stretch in next(j for j in jobs if str(j["number"]) == number)["hands_on"]:
            mine[stretch["stage"]] = mine.get(stretch["stage"], 0) + stretch["hands_on_us"]
        if {stage: time for stage, time in story.items() if time} != {s: t for s, t in mine.items() if t}:
            fail(f"{title}: bay job {number} says {story}, the export {mine}")
    print(
        f"ok: {title}: {len(with_events)} traces of {len(jobs)} jobs; case durations, service times, costs, workers"
        f" and repeated stages ({sum(rework.values())}) are what bay says"
    )
    return {stage: time / 1e6 for stage, time in service.items()}


def export(validator, title, bay, folder):
    path = Path(folder) / "export.xes"
    bay("export", "xes", "--out", str(path))
    if not validator.validate(etree.parse(str(path))):
        fail(f"{title}: not valid: {validator.error_log}")
    print(f"ok: {title}: valid, {path.stat().st_size} bytes")
    return path


def demo_shop(validator, demo, home):
    """The invented shop of the demo, two weeks of it."""
    subprocess.run(
        [demo, "--weeks", "2", "--keep", f"{home}/demo"], check=True, stdout=subprocess.DEVNULL, stdin=subprocess.DEVNULL
    )
    with_daemon(validator, "the demo's shop", demo, f"{home}/demo/server", home)


def with_daemon(validator, title, demo, data, home, fill=None):
    binary = wrapper(demo, home)
    daemon = Daemon(binary, data)
    try:
        if fill:
            fill(daemon)
        bay = Bay(demo, daemon.address, tempfile.mkdtemp(prefix="bay-", dir=home))
        return compare(title, bay, export(validator, title, bay, home))
    finally:
        daemon.stop()


def wrapper(demo, home):
    """A program that is the daemon by its name alone, as peer.Daemon starts it."""
    path = Path(home) / "baywrightd"
    path.write_text(f'#!/bin/sh\nexec "{demo}" as-baywrightd "$@"\n')
    path.chmod(0o755)
    return str(path)


def nasty_shop(names, daemon):
    """Vehicles with names of every sign, one worker who pauses, one who repeats."""
    fact = names["fact"]
    peer = Peer(names, daemon.address, "peer-nasty")
    minute = 60_000_000
    at = 1_795_420_800_000_000
    for vehicle in NASTY:
        opened = peer.post(peer.fact(at, job_opened=fact.JobOpened(job_type="unsorted", vehicle=vehicle)), at)
        peer.send(opened)
        job = fact.JobRef(opening_event_id=opened.event_id)
        for kind, after in [
            ({"stage_started": fact.StageStarted(stage="polish")}, 1),
            ({"stage_paused": fact.StagePaused(stage="polish")}, 11),
            ({"stage_resumed": fact.StageResumed(stage="polish")}, 16),
            ({"stage_finished": fact.StageFinished(stage="polish")}, 30),
            ({"stage_started": fact.StageStarted(stage="polish", rework=True)}, 31),
            ({"stage_finished": fact.StageFinished(stage="polish")}, 37),
            ({"job_released": fact.JobReleased()}, 40),
        ]:
            posted = peer.fact(at + after * minute, job=job, **kind)
            posted.by.append("ana & <co>")
            peer.send(peer.post(posted, at + after * minute))
        at += 60 * minute


def interval_log(names, folder, daemon):
    peer = Peer(names, daemon.address, "peer-log")
    cases = check_event_logs.read_events(folder / "interval_a_events.csv")
    check_event_logs.post_log(names, peer, cases, True)


def main(demo, checks=None):
    demo = os.path.realpath(demo)
    validator = schema()
    names = generate()
    with tempfile.TemporaryDirectory(prefix="baywright-xes-") as home:
        with_daemon(validator, "vehicles of nasty names", demo, f"{home}/nasty", home, lambda d: nasty_shop(names, d))
        demo_shop(validator, demo, home)
        folder = Path(checks) / "09_eventlog" if checks else None
        if folder is None or not (folder / "interval_a_events.csv").is_file():
            print("not here: the interval log; the exports were compared with bay alone")
            return
        expected = json.loads((folder / "interval_a_expected.json").read_text())
        title = "interval log"
        service = with_daemon(validator, title, demo, f"{home}/log", home, lambda d: interval_log(names, folder, d))
        wanted = expected["expected"]["service_time_by_activity"]["sum"]
        for activity, total in wanted.items():
            stage = f"act-{expected['activities'].index(activity)}"
            check_event_logs.close(service.get(stage, 0.0), total, f"service time of {activity} in the export")
        print(f"ok: {title}: service times of {len(wanted)} activities as published")


if __name__ == "__main__":
    main(*sys.argv[1:])
