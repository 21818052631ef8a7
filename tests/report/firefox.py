"""A second browser, driven over WebDriver BiDi (W3C working draft): only what the tests need."""

import contextlib
import itertools
import json
import os
import re
import shutil
import subprocess
import time
from pathlib import Path

import pytest

FIREFOX = Path("/usr/bin/firefox-esr")
SOUND_SERVER = Path("/usr/bin/pulseaudio")  # without any this browser's sound never begins
_PREFERENCES = {
    # Sound may begin without a hand on the page, and nothing is fetched from elsewhere.
    "media.autoplay.default": 0,
    "media.autoplay.blocking_policy": 0,
    "browser.shell.checkDefaultBrowser": False,
    "datareporting.policy.dataSubmissionEnabled": False,
    "toolkit.telemetry.reportingpolicy.firstRun": False,
    "app.update.disabledForTesting": True,
    "network.captive-portal-service.enabled": False,
    "network.connectivity-service.enabled": False,
    "privacy.trackingprotection.enabled": False,
    "browser.safebrowsing.downloads.enabled": False,
    "extensions.systemAddon.update.enabled": False,
}
_STARTS_S, _ANSWERS_S = 60.0, 60.0


def demand_firefox():
    """Skip, or fail where everything is meant to be tested, if it is not there."""
    for needed in (FIREFOX, SOUND_SERVER):
        if not needed.exists():
            (pytest.fail if os.environ.get("CI") else pytest.skip)(f"needs {needed}")


class Tab:
    """One tab; ``run`` evaluates an expression in it, and waits for what it promises."""

    def __init__(self, socket):
        self._socket = socket
        self._numbers = itertools.count(1)
        self.said = []
        self.tell("session.new", capabilities={})
        self.tell("session.subscribe", events=["log.entryAdded", "network.beforeRequestSent"])
        self._context = self.tell("browsingContext.getTree")["contexts"][0]["context"]

    def tell(self, method, **params):
        """Send a command; its result."""
        number = next(self._numbers)
        self._socket.send(json.dumps({"id": number, "method": method, "params": params}))
        while True:
            answer = json.loads(self._socket.recv(timeout=_ANSWERS_S))
            if answer.get("type") == "event":
                said = answer["params"]
                self.said.append(said.get("text") or said.get("request", {}).get("url", ""))
            elif answer.get("id") == number:
                assert answer["type"] == "success", answer
                return answer["result"]

    def open(self, address, width, height):
        size = {"width": width, "height": height}
        self.tell("browsingContext.setViewport", context=self._context, viewport=size)
        self.tell("browsingContext.navigate", context=self._context, url=address, wait="complete")

    def run(self, expression):
        answer = self.tell(
            "script.evaluate",
            expression=f"Promise.resolve({expression}).then((value) => JSON.stringify(value))",
            target={"context": self._context},
            awaitPromise=True,
            userActivation=True,
        )
        assert answer["type"] == "success", answer
        text = answer["result"].get("value")
        return None if text is None else json.loads(text)

    def press(self, key):
        strokes = [{"type": "keyDown", "value": key}, {"type": "keyUp", "value": key}]
        keyboard = {"type": "key", "id": "keys", "actions": strokes}
        self.tell("input.performActions", context=self._context, actions=[keyboard])

    def until(self, expression, within_s=60.0):
        """Wait for an expression to hold."""
        end = time.monotonic() + within_s
        while not self.run(expression):
            assert time.monotonic() < end, f"not within {within_s} s: {expression}"
            time.sleep(0.05)


@contextlib.contextmanager
def firefox(scratch):
    """A tab of a browser with a profile of its own."""
    from websockets.sync.client import connect

    profile = Path(scratch) / "profile"
    profile.mkdir()
    lines = [
        f"user_pref({json.dumps(name)}, {json.dumps(value)});"
        for name, value in _PREFERENCES.items()
    ]
    (profile / "user.js").write_text("\n".join(lines))
    place = Path(scratch) / "sound"
    loads = ("module-null-sink", f"module-native-protocol-unix auth-anonymous=1 socket={place}")
    server = [str(SOUND_SERVER), "-n", "--exit-idle-time=-1", "--use-pid-file=no"]
    command = [str(FIREFOX), "--headless", "--no-remote", "--profile", str(profile)]
    log = Path(scratch) / "said.txt"
    with log.open("w") as said:
        sound = subprocess.Popen(
            [*server, *(f"--load={load}" for load in loads)], stdout=said, stderr=said
        )
        running = subprocess.Popen(
            [*command, "--remote-debugging-port", "0"],
            stdout=said,
            stderr=said,
            env={**os.environ, "PULSE_SERVER": f"unix:{place}"},
        )
    try:
        end = time.monotonic() + _STARTS_S
        while not (found := re.search(r"BiDi listening on (ws://\S+)", log.read_text())):
            assert running.poll() is None, log.read_text()
            assert time.monotonic() < end, log.read_text()
            time.sleep(0.05)
        with connect(f"{found.group(1)}/session", max_size=None) as socket:
            yield Tab(socket)
    finally:
        for process in (running, sound):
            process.terminate()
            process.wait(20)
        shutil.rmtree(profile, ignore_errors=True)
