"""Five people at one server, each changing a flight every two seconds: no error; the 95th percentile is reported (aim 500 ms)."""

import os
import socket
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import httpx

PEOPLE, EACH_S, CHANGES, AIM_MS = 5, 2.0, 10, 500


def people_bench():
    """True where every change of every person was answered; the times are printed."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [str(Path(sys.executable).with_name("ownship")), "serve", "--port", str(port)]
    with tempfile.TemporaryDirectory() as folder:
        server = subprocess.Popen(command, env=os.environ | {"OWNSHIP_DATA": folder}, stdout=subprocess.DEVNULL)
        try:
            return _measured(f"http://127.0.0.1:{port}")
        finally:
            server.kill()
            server.wait()


def _measured(url):
    _wait(url)
    with ThreadPoolExecutor(PEOPLE) as people:
        found = [x for person in people.map(lambda i: _person(url, i), range(PEOPLE)) for x in person]
    times = sorted(1000 * s for s, _ in found)
    failed = [status for _, status in found if status != 200]
    print(f"{PEOPLE} people, a change each {EACH_S:.0f} s: {len(found)} answers, middle {times[len(times) // 2]:.0f} ms, "
          f"95th percentile {times[int(0.95 * (len(times) - 1))]:.0f} ms (aim {AIM_MS} ms), {len(failed)} errors (none allowed)")
    return not failed


def _wait(url):
    for _ in range(300):
        try:
            httpx.get(url, timeout=30.0)
            return
        except httpx.HTTPError:
            time.sleep(0.1)
    raise AssertionError("the server does not answer")


def _person(url, number):
    """(seconds, status) of each change of one person: a load, in turn heavier and lighter, as the page asks it."""
    found = []
    with httpx.Client(base_url=url, timeout=60.0, headers={"HX-Request": "true"}) as asked:
        time.sleep(number * EACH_S / PEOPLE)
        for i in range(CHANGES):
            started = time.perf_counter()
            answer = asked.get("/", params={"load0": f"{150 + 10 * number + i} lb"})
            took = time.perf_counter() - started
            found.append((took, answer.status_code))
            time.sleep(max(0.0, EACH_S - took))
    return found
