"""The container file without an engine: its last stage, done by hand.

Not what an engine does with it, but every step it names: files are copied, the
commands run on a clean root, and its user starts what it starts until its own
health check is content.
"""

import json
import re
import shlex

KNOWN = {"FROM", "WORKDIR", "COPY", "RUN", "USER", "ENV", "VOLUME", "EXPOSE", "HEALTHCHECK", "STOPSIGNAL", "ENTRYPOINT", "CMD"}


def read(text):
    """The instructions of the last stage, each with what it says."""
    joined = re.sub(r"\\\n", " ", re.sub(r"^#.*\n", "", text, flags=re.MULTILINE))
    said = [line.split(None, 1) for line in joined.splitlines() if line.strip()]
    unknown = [name for name, _ in said if name not in KNOWN]
    if unknown:
        raise ValueError(f"no instruction of a container file: {unknown}")
    last = max(at for at, (name, _) in enumerate(said) if name == "FROM")
    return said[last + 1 :]


def copies(stage):
    """Files of the clone and of the build, and the folder each goes to."""
    for name, rest in stage:
        if name == "COPY":
            *sources, folder = [word for word in rest.split() if not word.startswith("--")]
            yield from ((source, folder.rstrip("/")) for source in sources)


def script(stage):
    """Sets the root up, starts the daemon, waits for its health, stops it."""
    said = dict(stage)
    steps = [rest for name, rest in stage if name == "RUN"]
    variables = [f"export {rest}" for name, rest in stage if name == "ENV"]
    start = shlex.join([*json.loads(said["ENTRYPOINT"]), *json.loads(said["CMD"])])
    health = shlex.join(json.loads(said["HEALTHCHECK"].split("CMD", 1)[1]))
    name = said["USER"].strip()
    # Becomes the user and the program itself, so that the signal reaches the daemon.
    user = f"setpriv --reuid={name} --regid={name} --clear-groups"
    signal = said["STOPSIGNAL"].strip().removeprefix("SIG")
    # The pause is between looks at a state; the number of looks is the bound.
    wait = f"for _ in $(seq 100); do {user} {health} >/tmp/health 2>&1 && break; sleep 0.2; done; cat /tmp/health; {user} {health} >/dev/null"
    return "\n".join([*steps, *variables, f"{user} {start} & daemon=$!", wait, f"kill -{signal} $daemon; wait $daemon"])
