"""Opens handouts in headless Chromium and uses them as a piper does: on a phone, a tablet and a desk, in
the light and in the dark, by the keyboard alone, for ten minutes.

    python3 tests/handout-in-browser.py [--axe axe.min.js] FILE.html...

Speaks the DevTools protocol over two pipes, so it needs nothing but Python and Chromium (Debian:
chromium); with axe-core (npm: axe-core) it also asks that. Fails on any console error and any request
beside the file itself. With PICTURES set to a folder it leaves a picture of each width there.
"""

import base64
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


# A clock of its own that a test moves, or that runs quicker than the day, and a note of all that is
# scheduled. Sound itself is tried with the browser's own clock.
FAKE_AUDIO = """
window.fake = { now: 0, speed: 0, begun: performance.now(), starts: [], notes: [] };
window.fakeNow = () => fake.speed ? (performance.now() - fake.begun) / 1000 * fake.speed : fake.now;
window.AudioContext = class {
  constructor() { this.state = 'running'; this.destination = {}; }
  get currentTime() { return fakeNow(); }
  resume() {}
  createPeriodicWave() { return {}; }
  createGain() {
    const gain = { setValueAtTime() {}, exponentialRampToValueAtTime() {}, setTargetAtTime() {}, cancelScheduledValues() {} };
    return { gain, connect: (other) => other };
  }
  createOscillator() {
    return {
      frequency: { setValueAtTime: (hertz, when) => fake.notes.push([hertz, when]) },
      setPeriodicWave() {}, connect: (other) => other, stop() {},
      start: (when) => { if (when !== undefined) fake.starts.push(when); },
    };
  }
};
window.locks = { asked: 0, given: 0 };
Object.defineProperty(navigator, 'wakeLock', { value: { request: async () => {
  locks.asked += 1; return { release: () => { locks.given += 1; } }; } } });
"""

WIDTHS = [(390, 844), (820, 1180), (1280, 800)]
SHADES = ["light", "dark"]

# WCAG 2.2, A and AA, and what axe-core calls best practice.
AXE = """axe.run(document, { runOnly: ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'] })
  .then((r) => r.violations.map((v) => v.id + ': ' + v.nodes.length + ' ' + v.nodes[0].html.slice(0, 90)))"""


def load(browser, url):
    browser.call("Page.navigate", url=url)
    for _ in range(100):
        if browser.evaluate("document.readyState === 'complete' && location.href !== 'about:blank'"):
            return
        browser.listen(0.1)
    sys.exit("the page does not load")


def key(browser, name, code, number, text=None):
    for kind in ("keyDown", "keyUp"):
        extra = {"text": text} if text and kind == "keyDown" else {}
        browser.call("Input.dispatchKeyEvent", type=kind, key=name, code=code, windowsVirtualKeyCode=number, **extra)


def resting(browser, law, width, shade):
    """What holds while nothing plays."""
    first = browser.evaluate("""(() => { const line = [...document.querySelectorAll('.line')].find(l => l.offsetParent);
        const svg = line.querySelector('svg'), box = svg.viewBox.baseVal;
        return { bottom: line.getBoundingClientRect().bottom, room: innerHeight - document.getElementById('foot').offsetHeight,
                 staff: 4 * svg.getBoundingClientRect().width / box.width,
                 wide: document.scrollingElement.scrollWidth, shade: getComputedStyle(document.body).backgroundColor } })()""")
    law(first["bottom"] <= first["room"], f"the first line of music ends at {first['bottom']:.0f} of {first['room']:.0f}")
    law(first["staff"] >= 28, f"a staff is {first['staff']:.1f} pixels high")
    law(first["wide"] <= width, f"it is {first['wide']} pixels wide")
    law((first["shade"] == "rgb(255, 255, 255)") == (shade == "light"), f"the ground is {first['shade']}")
    small = browser.evaluate("""[...document.querySelectorAll('input,button,select')].filter(e => e.offsetParent).map(e =>
        [e.name || e.id || e.className, e.getBoundingClientRect().width, e.getBoundingClientRect().height])
        .filter(([, w, h]) => w < 24 || h < 24)""")
    law(not small, f"under 24 pixels: {small[:3]}")
    return first["staff"]


def by_keyboard(browser, law):
    """Everything is reached by the tab key alone, and space and enter do what a tap does."""
    wanted = browser.evaluate("[...document.querySelectorAll('input,button,select')].filter(e => e.offsetParent).length")
    browser.evaluate("document.activeElement.blur(); window.reached = new Set(); scrollTo(0, 0)")
    for _ in range(wanted + 3):
        key(browser, "Tab", "Tab", 9)
        browser.evaluate("reached.add(document.activeElement); null")
    reached = browser.evaluate("[...reached].filter(e => e.matches('input,button,select')).length")
    law(reached == wanted, f"the tab key reaches {reached} of {wanted}")
    browser.evaluate("document.getElementById('play').focus()")
    key(browser, " ", "Space", 32, " ")
    law(browser.evaluate("Boolean(playing) && playing.bars === undefined"), "space does not play")
    key(browser, " ", "Space", 32, " ")
    law(browser.evaluate("playing === null"), "space does not stop")
    bar = "[...document.querySelectorAll('button.bar')].filter(e => e.offsetParent)[1]"
    browser.evaluate(f"{bar}.focus()")
    key(browser, "Enter", "Enter", 13, "\r")
    law(browser.evaluate("Boolean(playing) && playing.bars.length === 1"), "enter on a bar does not repeat it")
    law(browser.evaluate(f"{bar}.getAttribute('aria-pressed')") == "true", "the bar does not say that it repeats")
    key(browser, "Enter", "Enter", 13, "\r")
    law(browser.evaluate("Boolean(playing) && !playing.bars"), "enter again does not play the whole")
    browser.evaluate("unit.value = 'phrase'; null")
    key(browser, "Enter", "Enter", 13, "\r")
    law(browser.evaluate("Boolean(playing) && playing.bars.length >= 1"), "a phrase does not repeat")
    browser.evaluate("stop(); unit.value = 'bar'; null")


def in_view(browser, law, name):
    """Eight times as quick as the day: the line that sounds stays in view, the count runs, the screen
    is kept on, the fingers change."""
    browser.evaluate("""fake.speed = 8; fake.begun = performance.now(); document.getElementById('show').click();
        tempo.value = tempo.max; showTempo(); scrollTo(0, 0); locks.asked = locks.given = 0;
        window.seen = { out: 0, lines: new Set(), counts: new Set(), holes: new Set(), samples: 0 };
        document.querySelectorAll('button[data-stage]')[DATA.stages.length - 1].click();
        window.looking = setInterval(() => {
          const cursor = [...document.querySelectorAll('.cursor')].find(c => c.style.visibility === 'visible' && c.closest('.line').offsetParent);
          seen.counts.add(document.getElementById('count').textContent);
          seen.holes.add(document.getElementById('fingers').textContent);
          if (!cursor) return;
          const box = cursor.closest('.line').getBoundingClientRect();
          seen.samples += 1; seen.lines.add(cursor.id);
          if (box.top < -1 || box.bottom > innerHeight - document.getElementById('foot').offsetHeight + 1) seen.out += 1;
        }, 20); null""")
    lines = browser.evaluate("[...document.querySelectorAll('section .layout')].filter(l => l.offsetParent).pop().querySelectorAll('.line').length")
    deadline = time.time() + 60
    # A busy machine takes its samples seldom: it plays on until each thing was seen more than once.
    enough = f"seen.lines.size >= {lines} && seen.holes.size > 1 && seen.counts.size > 1"
    while time.time() < deadline and not browser.evaluate(enough):
        browser.listen(0.2)
    picture(browser, name)
    told = browser.evaluate("({ out: seen.out, samples: seen.samples, lines: seen.lines.size, counts: [...seen.counts], holes: [...seen.holes], locks })")
    law(told["lines"] == lines, f"{told['lines']} of {lines} lines sounded")
    law(told["out"] == 0, f"the line that sounds was out of view {told['out']} of {told['samples']} times")
    law({"1", "2"} <= set(told["counts"]), f"the count shows {told['counts']}")
    law(len(told["holes"]) > 1 and all(len(holes) in (0, 8) for holes in told["holes"]), f"the fingers show {told['holes']}")
    law(told["locks"]["asked"] == 1 and told["locks"]["given"] == 0, f"the screen is not kept on: {told['locks']}")
    browser.evaluate("clearInterval(looking); document.getElementById('play').click(); document.getElementById('show').click(); fake.speed = 0")
    law(browser.evaluate("locks.given") == 1, "the screen is kept on when nothing plays")


def without_drift(browser, law):
    """Ten minutes of beats by a clock that the test moves: each click is where reckoning has it."""
    late = browser.evaluate("""(() => { const worst = [];
        for (const bars of [undefined, barsToRepeat(DATA.stages[0], DATA.stages[0].bars.findIndex(b => b.over === 0))]) {
          fake.now = 1000 * Math.random(); fake.starts = [];
          tempo.value = 1; play(0, bars);
          clearInterval(timer);
          const begun = playing.start, beat = playing.laid.beat / 10000;
          while (fake.now < begun + 600) { fake.now += 0.05 + 0.1 * Math.random(); schedule(); }
          const off = fake.starts.map((when) => { const beats = (when - begun) / beat; return Math.abs(beats - Math.round(beats)) * beat; });
          worst.push([fake.starts.length, Math.max(...off), fake.starts.every((when, n) => n === 0 || when > fake.starts[n - 1]), 600 / beat]);
          stop();
        } return worst; })()""")
    for count, off, order, beats in late:
        law(count >= beats - 3, f"{count} clicks in {beats:.0f} beats")
        # a tenth of a millisecond is the step in which the page is told its moments
        law(off <= 0.000_06, f"a click is {off * 1000:.3f} ms off after ten minutes")
        law(order, "clicks are out of order")


def real_sound(browser, law, stages):
    """With the browser's own clock: it plays, the cursor moves, the tempo changes, it stops."""
    for stage in range(stages):
        browser.evaluate(f"document.querySelector('button[data-stage=\"{stage}\"]').click()")
        seen = set()
        deadline = time.time() + 14
        while time.time() < deadline and len(seen) < 3:
            place = browser.evaluate(
                f"(() => {{ const c = [...document.querySelectorAll('.cursor')].find(c => "
                f"c.style.visibility === 'visible' && c.id.split('-')[1] === '{stage}'); "
                f"return c && document.querySelector('.on') ? c.id + '@' + c.getAttribute('x') : null }})()")
            if place:
                seen.add(place)
            browser.listen(0.05)
        law(len(seen) >= 2, f"stage {stage + 1}: the cursor stands still: {seen}")
        law(browser.evaluate("document.querySelectorAll('button[data-stage][aria-pressed=true]').length") == 1,
            "the button does not say that it plays")
        law(browser.evaluate("audio.state") == "running", "the sound does not run")
    browser.evaluate("tempo.value = tempo.max; tempo.dispatchEvent(new Event('input'))")
    law(browser.evaluate("playing.laid.cycle < playing.part.laid[0].cycle || tempo.max === '0'"),
        "the slider does not change the tempo")
    browser.evaluate("document.querySelector('button[aria-pressed=true]').click()")
    law(browser.evaluate("playing === null"), "it does not stop")


def ticked(browser, law, url):
    browser.evaluate("localStorage.clear(); document.querySelector('#board input').focus()")
    key(browser, " ", "Space", 32, " ")
    law(browser.evaluate("document.querySelector('#board input').checked"), "the space bar does not tick")
    load(browser, url)
    browser.listen(0.3)
    law(browser.evaluate("document.querySelector('#board input').checked"), "a tick is forgotten")
    browser.evaluate("localStorage.clear()")


def picture(browser, name):
    if os.environ.get("PICTURES"):
        data = browser.call("Page.captureScreenshot")["data"]
        Path(os.environ["PICTURES"], name + ".png").write_bytes(base64.b64decode(data))


def screen(browser, width, height, shade):
    browser.call("Emulation.setDeviceMetricsOverride", width=width, height=height, deviceScaleFactor=1, mobile=width < 500)
    browser.call("Emulation.setEmulatedMedia", features=[{"name": "prefers-color-scheme", "value": shade}])


def check(browser, path, axe):
    problems = []
    url = path.resolve().as_uri()
    browser.events.clear()

    def law_at(where):
        return lambda holds, words: None if holds else problems.append(f"{where}: {words}")

    fake = browser.call("Page.addScriptToEvaluateOnNewDocument", source=FAKE_AUDIO)["identifier"]
    staffs = []
    for width, height in WIDTHS:
        for shade in SHADES:
            law = law_at(f"{width} {shade}")
            screen(browser, width, height, shade)
            load(browser, url)
            staffs.append(resting(browser, law, width, shade))
            picture(browser, f"{path.stem}-{width}-{shade}")
            if axe:
                browser.evaluate(axe + ";null")
                for found in browser.evaluate(AXE):
                    law(False, f"axe: {found}")
        by_keyboard(browser, law)
        in_view(browser, law, f"{path.stem}-{width}-plays")
        law(browser.evaluate("playing === null"), "it still plays")
    without_drift(browser, law_at("ten minutes"))
    browser.call("Page.removeScriptToEvaluateOnNewDocument", identifier=fake)
    screen(browser, 820, 1180, "light")
    load(browser, url)
    law = law_at("with sound")
    stages = browser.evaluate("document.querySelectorAll('button[data-stage]').length")
    law(stages > 0, "there is no button to play")
    law(browser.evaluate("document.documentElement.lang") == "en-GB", "no language is set")
    real_sound(browser, law, stages)
    ticked(browser, law, url)
    for event in browser.events:
        method, params = event.get("method"), event.get("params", {})
        if method == "Network.requestWillBeSent" and params["request"]["url"] != url:
            problems.append(f"it asks for {params['request']['url'][:80]}")
        if method == "Runtime.exceptionThrown":
            problems.append(f"an exception: {params['exceptionDetails']}")
        if method == "Log.entryAdded" and params["entry"]["level"] in ("error", "warning"):
            problems.append(f"the console says: {params['entry']['text']}")
        if method == "Runtime.consoleAPICalled" and params["type"] in ("error", "warning"):
            problems.append("the console has an error")
    high = ", ".join(f"{staff:.0f}" for staff in staffs[::2])
    print(f"{path.name}: {stages} stages, staffs of {high} pixels; "
          + ("; ".join(problems) if problems else "all holds" + ("" if axe else ", axe-core was not asked")))
    return not problems


def main():
    names = sys.argv[1:]
    axe = None
    if names[:1] == ["--axe"]:
        axe = Path(names[1]).read_text()
        names = names[2:]
    files = [Path(name) for name in names]
    if not files:
        sys.exit(__doc__)
    browser = Browser()
    try:
        target = browser.call("Target.createTarget", url="about:blank")["targetId"]
        browser.session = browser.call("Target.attachToTarget", targetId=target, flatten=True)["sessionId"]
        for domain in ("Page", "Runtime", "Log", "Network"):
            browser.call(f"{domain}.enable")
        passed = [check(browser, path, axe) for path in files]
    finally:
        browser.close()
    print(f"{passed.count(True)} passed, {passed.count(False)} failed")
    sys.exit(0 if all(passed) else 1)


if __name__ == "__main__":
    main()
