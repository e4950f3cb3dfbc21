"""Machines to install on: clean roots over one another, in networks of their own.

Each machine is an overlay over one clean Debian root, so that nothing of this
computer and nothing of another machine leaks in. The server is booted with a
real systemd; a bay runs one command at a time. Every machine sits in a network
namespace made here; only the server's has cables to the others, and none leads
out of this computer.
"""

import os
import pathlib
import shutil
import signal
import subprocess
import time

# Inside the machines; private addresses, as a shop has them.
SERVER = "10.77.0.1"
SERVER_6 = "fd77::1"

# Longest waits. This computer may be busy with other checks.
BOOT_S_MAX = 120
COMMAND_S_MAX = 180
PLUG_S_MAX = 10
# Once for each computer: some hundred packages are fetched and set up.
ROOT_S_MAX = 1_200

PATH = "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin"
CLEAN = {"PATH": PATH, "HOME": "/root", "LANG": "C.UTF-8", "TERM": "dumb", "DEBIAN_FRONTEND": "noninteractive"}


class Failed(Exception):
    """A check that does not hold."""


def run(*command, seconds=COMMAND_S_MAX, **options):
    """Runs a command of this computer that must succeed."""
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=seconds, **options)
    except subprocess.TimeoutExpired:
        raise Failed(f"{' '.join(command)} took longer than {seconds} s") from None
    if done.returncode != 0:
        raise Failed(f"{' '.join(command)} ended with {done.returncode}:\n{done.stdout}{done.stderr}")
    return done.stdout


class Network:
    """Namespaces with one cable each to the server's."""

    def __init__(self):
        self.prefix = f"bw-{os.getpid()}"
        self.made = []

    def name(self, machine):
        return f"{self.prefix}-{machine}"

    def add(self, machine, number=None):
        """A namespace; with a number it gets a cable to the server's."""
        name = self.name(machine)
        run("ip", "netns", "add", name)
        self.made.append(name)
        run("ip", "-n", name, "link", "set", "lo", "up")
        server = self.name("server")
        if number is None:
            run("ip", "-n", server, "link", "add", "shop", "type", "bridge")
            run("ip", "-n", server, "addr", "add", f"{SERVER}/24", "dev", "shop")
            run("ip", "-n", server, "addr", "add", f"{SERVER_6}/64", "dev", "shop", "nodad")
            run("ip", "-n", server, "link", "set", "shop", "up")
            return
        run("ip", "-n", name, "link", "add", "cable", "type", "veth", "peer", "name", machine, "netns", server)
        run("ip", "-n", server, "link", "set", machine, "master", "shop", "up")
        run("ip", "-n", name, "addr", "add", f"10.77.0.{number}/24", "dev", "cable")
        run("ip", "-n", name, "addr", "add", f"fd77::{number}/64", "dev", "cable", "nodad")
        run("ip", "-n", name, "link", "set", "cable", "up")

    def path(self, machine):
        return f"/run/netns/{self.name(machine)}"

    def inside(self, machine, *command, **options):
        """Runs a program of this computer with a machine's view of the network."""
        return subprocess.run(
            ("ip", "netns", "exec", self.name(machine), *command),
            capture_output=True,
            text=True,
            timeout=COMMAND_S_MAX,
            **options,
        )

    def remove(self):
        for name in self.made:
            subprocess.run(("ip", "netns", "del", name), capture_output=True)


class Machine:
    """A clean root of its own in one namespace."""

    def __init__(self, name, network, base, scratch):
        self.name = name
        self.network = network
        self.root = scratch / name / "root"
        self.leader = None
        self.boots = None
        for folder in ("upper", "work", "root"):
            (scratch / name / folder).mkdir(parents=True)
        layers = f"lowerdir={base},upperdir={scratch / name / 'upper'},workdir={scratch / name / 'work'}"
        run("mount", "-t", "overlay", "overlay", "-o", layers, str(self.root))

    def nspawn(self, *more):
        return (
            "systemd-nspawn",
            "--quiet",
            "--register=no",
            "--keep-unit",
            f"--machine={self.network.name(self.name)}",
            f"--directory={self.root}",
            f"--network-namespace-path={self.network.path(self.name)}",
            *more,
        )

    def boot(self):
        """Starts systemd and waits until it has started what it is to start."""
        log = open(self.root.parent / "boot.log", "w", encoding="utf-8")
        self.boots = subprocess.Popen(
            self.nspawn("--console=pipe", "--boot"), stdin=subprocess.DEVNULL, stdout=log, stderr=log
        )
        until = time.monotonic() + BOOT_S_MAX
        while time.monotonic() < until and self.boots.poll() is None:
            self.leader = self.leader or child_of(self.boots.pid)
            if self.leader:
                state = self.try_run("systemctl is-system-running || true").stdout.strip()
                if state in ("running", "degraded"):
                    return
            time.sleep(0.2)
        text = (self.root.parent / "boot.log").read_text(encoding="utf-8", errors="replace")
        raise Failed(f"{self.name} did not boot: {text}")

    def try_run(self, script, stdin=""):
        """Runs a script of the machine's shell, as somebody at its terminal."""
        shell = ("/usr/bin/env", "-i", *(f"{key}={value}" for key, value in CLEAN.items()), "/bin/bash", "-euo", "pipefail", "-c", script)
        if self.leader:
            spaces = ("nsenter", f"--target={self.leader}", "--mount", "--uts", "--ipc", "--net", "--pid", "--wdns=/root")
            command = (*spaces, *shell)
        else:
            command = self.nspawn("--pipe", "--as-pid2", "--chdir=/root", *shell)
        return subprocess.run(
            command, input=stdin, capture_output=True, text=True, timeout=COMMAND_S_MAX, check=False
        )

    def run(self, script, stdin=""):
        """The same, for what must succeed; gives what it printed."""
        done = self.try_run(script, stdin)
        if done.returncode != 0:
            raise Failed(
                f"at {self.name}, `{script.strip()}` ended with {done.returncode}:\n{done.stdout}{done.stderr}"
            )
        return done.stdout

    def put(self, file, folder="/root"):
        """Carries a file to the machine."""
        to = pathlib.Path(f"{self.root}{folder}") / pathlib.Path(file).name
        to.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy(file, to)

    def switch_off(self):
        """Pulls the plug: nothing on a machine is wanted any more."""
        if self.boots and self.boots.poll() is None:
            # Everything in its process namespace ends with its first process.
            os.kill(self.leader or self.boots.pid, signal.SIGKILL)
            try:
                self.boots.wait(PLUG_S_MAX)
            except subprocess.TimeoutExpired:
                self.boots.kill()
                self.boots.wait()
        subprocess.run(("umount", "--lazy", str(self.root)), capture_output=True)


def child_of(pid):
    """The only child of a process, if it has one yet."""
    try:
        children = pathlib.Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="ascii").split()
    except OSError:
        return None
    return int(children[0]) if children else None


def clean_root(cache, scratch):
    """A Debian root with systemd and nothing of ours, unpacked from the cache."""
    packed = cache / "clean-root-bookworm.tar.gz"
    if not packed.exists():
        fresh = scratch / "fresh"
        run(
            "debootstrap",
            "--variant=minbase",
            "--include=systemd,systemd-sysv,dbus",
            "bookworm",
            str(fresh),
            seconds=ROOT_S_MAX,
        )
        cache.mkdir(parents=True, exist_ok=True)
        # The name appears only once the file is whole.
        part = packed.with_suffix(".part")
        run("tar", "--create", "--gzip", "--file", str(part), "--directory", str(fresh), "--numeric-owner", ".")
        part.rename(packed)
        shutil.rmtree(fresh)
    base = scratch / "base"
    base.mkdir()
    run("tar", "--extract", "--gzip", "--file", str(packed), "--directory", str(base), "--numeric-owner")
    return base
