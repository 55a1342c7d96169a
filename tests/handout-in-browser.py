"""Opens handouts in headless Chromium and uses them: plays, watches the cursor move, ticks, reloads.

    python3 tests/handout-in-browser.py FILE.html...

Speaks the DevTools protocol over two pipes, so it needs nothing but Python and Chromium (Debian:
chromium). Fails on any console error, any request beside the file itself, a cursor that stands
still, a tick that is forgotten.
"""

import json
import os
import select
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path


class Browser:
    def __init__(self):
        binary = shutil.which("chromium") or shutil.which("chromium-browser")
        if binary is None:
            sys.exit("chromium is not installed")
        self.profile = tempfile.mkdtemp(prefix="handout-")
        to_read, self.to = os.pipe()
        self.back, to_write = os.pipe()

        def as_three_and_four():
            # Duplicates first, so that neither target overwrites the other's source.
            ours, theirs = os.dup(to_read), os.dup(to_write)
            os.dup2(ours, 3)
            os.dup2(theirs, 4)

        self.process = subprocess.Popen(
            [binary, "--headless=new", "--no-sandbox", "--disable-gpu", "--mute-audio",
             "--no-first-run", "--disable-dev-shm-usage", "--disable-background-networking",
             "--autoplay-policy=no-user-gesture-required", "--remote-debugging-pipe",
             f"--user-data-dir={self.profile}", "about:blank"],
            preexec_fn=as_three_and_four, close_fds=False,
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        os.close(to_read)
        os.close(to_write)
        self.buffer = b""
        self.number = 0
        self.events = []
        self.session = None

    def message(self, deadline):
        while b"\0" not in self.buffer:
            ready, _, _ = select.select([self.back], [], [], max(0, deadline - time.time()))
            if not ready:
                return None
            read = os.read(self.back, 1 << 16)
            if not read:
                sys.exit("the browser went away")
            self.buffer += read
        line, self.buffer = self.buffer.split(b"\0", 1)
        return json.loads(line)

    def call(self, method, **params):
        self.number += 1
        request = {"id": self.number, "method": method, "params": params}
        if self.session:
            request["sessionId"] = self.session
        os.write(self.to, json.dumps(request).encode() + b"\0")
        deadline = time.time() + 60
        while True:
            answer = self.message(deadline)
            if answer is None:
                sys.exit(f"no answer to {method}")
            if answer.get("id") == self.number:
                if "error" in answer:
                    sys.exit(f"{method}: {answer['error']}")
                return answer["result"]
            self.events.append(answer)

    def listen(self, seconds):
        deadline = time.time() + seconds
        while (event := self.message(deadline)) is not None:
            self.events.append(event)

    def evaluate(self, expression):
        result = self.call("Runtime.evaluate", expression=expression, returnByValue=True,
                           awaitPromise=True, userGesture=True)
        if "exceptionDetails" in result:
            sys.exit(f"{expression}: {result['exceptionDetails']}")
        return result["result"].get("value")

    def close(self):
        self.process.terminate()
        self.process.wait(20)
        shutil.rmtree(self.profile, ignore_errors=True)


def load(browser, url):
    browser.call("Page.navigate", url=url)
    for _ in range(100):
        if browser.evaluate("document.readyState === 'complete' && location.href !== 'about:blank'"):
            return
        browser.listen(0.1)
    sys.exit("the page does not load")


def check(browser, path):
    problems = []
    url = path.resolve().as_uri()
    browser.events.clear()
    load(browser, url)

    def law(holds, words):
        if not holds:
            problems.append(words)

    stages = browser.evaluate("document.querySelectorAll('button[data-stage]').length")
    law(stages > 0, "there is no button to play")
    law(browser.evaluate("document.documentElement.lang") == "en-GB", "no language is set")
    unnamed = browser.evaluate(
        "[...document.querySelectorAll('input,button,svg.music')].filter(e => !(e.getAttribute("
        "'aria-label') || e.labels?.length || e.textContent.trim())).length")
    law(unnamed == 0, f"{unnamed} controls have no name")
    for stage in range(stages):
        browser.evaluate(f"document.querySelector('button[data-stage=\"{stage}\"]').click()")
        seen = set()
        deadline = time.time() + 14
        while time.time() < deadline and len(seen) < 3:
            place = browser.evaluate(
                f"(() => {{ const c = [...document.querySelectorAll('.cursor')].find(c => "
                f"c.style.visibility === 'visible' && c.id.startsWith('c{stage}-')); "
                f"return c && document.querySelector('.on') ? c.id + '@' + c.getAttribute('x') : null }})()")
            if place:
                seen.add(place)
            browser.listen(0.05)
        law(len(seen) >= 2, f"stage {stage + 1}: the cursor stands still: {seen}")
        law(browser.evaluate("document.querySelectorAll('button[aria-pressed=true]').length") == 1,
            "the button does not say that it plays")
        law(browser.evaluate("audio.state") == "running", "the sound does not run")
    browser.evaluate("tempo.value = tempo.max; tempo.dispatchEvent(new Event('input'))")
    law(browser.evaluate("playing.laid.cycle < playing.part.laid[0].cycle || tempo.max === '0'"),
        "the slider does not change the tempo")
    browser.evaluate("document.querySelector('button[aria-pressed=true]').click()")
    law(browser.evaluate("playing === null"), "it does not stop")
    browser.evaluate("localStorage.clear(); document.querySelector('#board input').focus()")
    for kind in ("keyDown", "keyUp"):
        browser.call("Input.dispatchKeyEvent", type=kind, key=" ", code="Space", text=" ",
                     windowsVirtualKeyCode=32)
    law(browser.evaluate("document.querySelector('#board input').checked"), "the space bar does not tick")
    load(browser, url)
    browser.listen(0.3)
    law(browser.evaluate("document.querySelector('#board input').checked"), "a tick is forgotten")
    browser.evaluate("localStorage.clear()")
    for event in browser.events:
        method, params = event.get("method"), event.get("params", {})
        if method == "Network.requestWillBeSent" and params["request"]["url"] != url:
            problems.append(f"it asks for {params['request']['url'][:80]}")
        if method == "Runtime.exceptionThrown":
            problems.append(f"an exception: {params['exceptionDetails']['text']}")
        if method == "Log.entryAdded" and params["entry"]["level"] in ("error", "warning"):
            problems.append(f"the console says: {params['entry']['text']}")
        if method == "Runtime.consoleAPICalled" and params["type"] in ("error", "warning"):
            problems.append("the console has an error")
    print(f"{path.name}: {stages} stages, {'; '.join(problems) if problems else 'plays, moves, ticks'}")
    return not problems


def main():
    files = [Path(name) for name in sys.argv[1:]]
    if not files:
        sys.exit(__doc__)
    browser = Browser()
    try:
        target = browser.call("Target.createTarget", url="about:blank")["targetId"]
        browser.session = browser.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            browser.call(f"{domain}.enable")
        passed = [check(browser, path) for path in files]
    finally:
        browser.close()
    print(f"{passed.count(True)} passed, {passed.count(False)} failed")
    sys.exit(0 if all(passed) else 1)


if __name__ == "__main__":
    main()
