const $ = (id) => document.getElementById(id);
const all = (selector) => document.querySelectorAll(selector);
const tempo = $("tempo"), status = $("status");
let audio = null, playing = null, timer = 0, frame = 0, lock = null, last = 0;

// Moments as they are written, two numbers each, to [tenths of a millisecond, what, head].
function unpacked(numbers) {
  const moments = [];
  for (let at = 0, n = 0; n < numbers.length; n += 2) {
    at += numbers[n];
    const what = numbers[n + 1] % 100, head = (numbers[n + 1] - what) / 100;
    moments.push([at, what, head ? head - 1 : null]);
  }
  return moments;
}
for (const laid of DATA.stages.flatMap((stage) => stage.laid)) {
  for (const name of ["lead", "first", "again"]) if (laid[name]) laid[name] = unpacked(laid[name]);
}

function say(text) { status.textContent = text; }

function showTempo() {
  const words = DATA.words[tempo.value];
  $("beats").textContent = words;
  tempo.setAttribute("aria-valuetext", words);
}

// One reed that never stops: notes change its pitch, a gain opens and shuts it.
function open() {
  audio = audio || new AudioContext();
  if (audio.state === "suspended") audio.resume();
}

// The screen stays on while it plays, where the browser knows how.
async function awake(wanted) {
  if (!wanted) {
    if (lock) lock.release();
    lock = null;
    return;
  }
  try { if (!lock) lock = await navigator.wakeLock.request("screen"); }
  catch { lock = null; }
  if (!playing) awake(false);
}

function click(when, kind) {
  if (!$("click").checked || kind === 12) return;
  const tone = audio.createOscillator(), gain = audio.createGain();
  tone.frequency.value = kind === 11 ? 1760 : 1320;
  gain.gain.setValueAtTime(kind === 11 ? 0.35 : 0.22, when);
  gain.gain.exponentialRampToValueAtTime(0.001, when + 0.04);
  tone.connect(gain).connect(audio.destination);
  tone.start(when);
  tone.stop(when + 0.05);
}

// The stage's own rung that comes nearest to the one that is set, from below.
function place(part) {
  let at = 0;
  part.rows.forEach((row, own) => { if (row <= Number(tempo.value)) at = own; });
  return at;
}

// Some bars of a stage as a cycle of their own: counted in by their first bar's clicks, then again
// and again. Gracenotes that lead to a bar belong to it, also before its beat.
function loopOf(part, laid, bars) {
  const first = part.bars[bars[0]], end = part.bars[bars[bars.length - 1]];
  const from = first.from * laid.beat, to = end.to * laid.beat, cycle = to - from;
  const own = new Set(bars), list = laid.again || laid.first, events = [];
  for (const [at, what, head] of list) {
    const note = what < 9 && own.has(part.bar[head]) && at >= from - laid.beat && at < to - 0.5;
    const clicks = what > 9 && what < 20 && at >= from - 0.5 && at < to - 0.5;
    if (note || clicks) events.push([at < from - 0.5 ? at - from + cycle : Math.max(0, at - from), what, head]);
  }
  events.sort((a, b) => a[0] - b[0]);
  const lead = [], beats = first.full - first.over;
  const full = first.over > 0 && bars.length > 1 ? part.bars[bars[1]] : first;
  for (const [at, what] of list) {
    const place = at - full.from * laid.beat;
    if (what > 9 && what < 20 && place >= -0.5 && place < (first.full - beats + (first.over > 0 ? 0 : beats)) * laid.beat - 0.5) lead.push([Math.max(0, place), what, null]);
  }
  const leadLength = (first.over > 0 ? first.over : first.full) * laid.beat;
  return { beat: laid.beat, lead, first: events, leadLength, cycle };
}

function barsToRepeat(part, bar) {
  const [from, to] = $("unit").value === "phrase" ? part.bars[bar].phrase : [bar, bar];
  return Array.from({ length: to - from + 1 }, (_, at) => from + at);
}

function namesOf(part, bars) {
  const numbers = bars.map((bar) => part.bars[bar].number).filter((number) => number > 0);
  const low = Math.min(...numbers), high = Math.max(...numbers);
  return numbers.length === 0 ? "the pickup" : low === high ? "bar " + low : "bars " + low + " to " + high;
}

function play(stage, bars) {
  stop();
  open();
  last = stage;
  const part = DATA.stages[stage], own = place(part);
  const laid = bars ? loopOf(part, part.laid[own], bars) : part.laid[own];
  const reed = audio.createOscillator(), gain = audio.createGain();
  reed.setPeriodicWave(audio.createPeriodicWave(
    new Float32Array(DATA.partials.length + 1),
    new Float32Array([0, ...DATA.partials])));
  gain.gain.value = 0;
  reed.connect(gain).connect(audio.destination);
  reed.start();
  playing = { stage, part, bars, laid, reed, gain, start: audio.currentTime + 0.15, cycle: -1, next: 0, shown: [], beat: 0, line: null };
  for (const button of all("button[data-stage]")) {
    const mine = Number(button.dataset.stage) === stage;
    button.setAttribute("aria-pressed", mine);
    button.textContent = mine ? "Stop" : "Play";
  }
  for (const button of all("button.bar")) {
    const mine = Number(button.dataset.of) === stage && bars && bars.includes(Number(button.dataset.bar));
    button.setAttribute("aria-pressed", Boolean(mine));
  }
  $("play").setAttribute("aria-pressed", true);
  $("play").textContent = "Stop";
  say("Playing " + part.name + (bars ? ", " + namesOf(part, bars) + " again and again," : "") + " at " + DATA.words[part.rows[own]] + ".");
  awake(true);
  timer = setInterval(schedule, 25);
  schedule();
  frame = requestAnimationFrame(show);
  foot();
}

function stop() {
  clearInterval(timer);
  cancelAnimationFrame(frame);
  if (!playing) return;
  const { reed, gain } = playing;
  gain.gain.cancelScheduledValues(audio.currentTime);
  gain.gain.setTargetAtTime(0, audio.currentTime, 0.01);
  reed.stop(audio.currentTime + 0.1);
  mark(null);
  for (const cursor of all(".cursor")) cursor.style.visibility = "hidden";
  for (const button of all("button[data-stage], #play")) {
    button.setAttribute("aria-pressed", false);
    button.textContent = "Play";
  }
  for (const button of all("button.bar")) button.setAttribute("aria-pressed", false);
  playing = null;
  $("count").textContent = $("where").textContent = "";
  awake(false);
  foot();
  say("Stopped.");
}

// The events of a cycle: the count-in, the first repetition, every later one.
function events(cycle) {
  const laid = playing.laid;
  return cycle < 0 ? laid.lead : cycle === 0 ? laid.first : laid.again || laid.first;
}

function begins(cycle) {
  const laid = playing.laid;
  return cycle < 0 ? 0 : laid.leadLength + cycle * laid.cycle;
}

// Hands the audio clock everything that falls in the next fifth of a second. Each moment is
// computed from the start, so that nothing adds up.
function schedule() {
  if (!playing) return;
  const until = audio.currentTime + 0.2;
  while (playing) {
    const list = events(playing.cycle);
    if (playing.next >= list.length) {
      playing.cycle += 1;
      playing.next = 0;
      if (playing.start + begins(playing.cycle) / 10000 > until) return;
      continue;
    }
    const [at, what, head] = list[playing.next];
    const when = playing.start + (begins(playing.cycle) + at) / 10000;
    if (when > until) return;
    const cycle = playing.cycle;
    if (what < 9) {
      playing.reed.frequency.setValueAtTime(DATA.hertz[what], when);
      const loud = $("chanter").checked ? 0.16 : 0;
      playing.gain.gain.setTargetAtTime(loud, when, 0.002);
      playing.shown.push({ when, head, what });
    } else if (what === 20) {
      playing.gain.gain.setTargetAtTime(0, when, 0.003);
      playing.shown.push({ when, head: null });
    } else {
      click(when, what);
      if (what !== 12) playing.shown.push({ when, cycle, click: what });
    }
    playing.next += 1;
  }
}

// Which of the three layouts is seen.
function layout() {
  return matchMedia("(min-width: 1000px)").matches ? 2 : matchMedia("(min-width: 640px)").matches ? 1 : 0;
}

function mark(head) {
  for (const old of all(".on")) old.classList.remove("on");
  if (head === null || head === undefined || !playing) return;
  const width = layout(), name = width + "-" + playing.stage + "-";
  const note = $("n" + name + head);
  if (note) note.classList.add("on");
  const [system, x] = playing.part.heads[width][head];
  for (const cursor of all(".cursor")) {
    const mine = cursor.id === "c" + name + system;
    cursor.style.visibility = mine ? "visible" : "hidden";
    if (mine) cursor.setAttribute("x", x);
  }
  const line = $("l" + name + system);
  if (line && playing.line !== line) {
    playing.line = line;
    keepInView(line);
  }
}

// The line that sounds, and the next where there is room, above the foot.
function keepInView(line) {
  const room = innerHeight - $("foot").offsetHeight;
  const own = line.getBoundingClientRect(), next = line.nextElementSibling;
  const bottom = next ? next.getBoundingClientRect().bottom : own.bottom;
  if (own.top < 0 || own.bottom > room || bottom > room) line.scrollIntoView({ block: "start" });
}

function showFingers(note) {
  const holes = $("fingers");
  if (holes.hidden) return;
  holes.textContent = "";
  for (const hole of DATA.fingers[note]) {
    holes.appendChild(document.createElement("span")).textContent = hole === "x" ? "\u25cf" : "\u25cb";
  }
}

function show() {
  if (!playing) return;
  const now = audio.currentTime - (audio.outputLatency || 0);
  let latest;
  while (playing.shown.length && playing.shown[0].when <= now) {
    const one = playing.shown.shift();
    if (one.click) {
      playing.beat = one.click === 11 ? 1 : playing.beat + 1;
      $("count").textContent = playing.beat;
      if (one.cycle < 0) $("where").textContent = "count-in";
      continue;
    }
    latest = one;
    if (one.head === null || one.head === undefined) {
      if (one.head === null) $("where").textContent = "breathe";
    } else {
      const number = playing.part.bars[playing.part.bar[one.head]].number;
      $("where").textContent = number > 0 ? "bar " + number : "pickup";
      if (!playing.part.grace[one.head]) showFingers(one.what);
    }
  }
  if (latest) mark(latest.head);
  frame = requestAnimationFrame(show);
}

// Ticks are kept under the music's own name, so that a drill with other notes begins anew.
const KEY = "gracerung:" + DATA.key;
function ticks() {
  try { return JSON.parse(localStorage.getItem(KEY)) || {}; } catch { return {}; }
}

function box(name, label, kept) {
  const made = document.createElement("input");
  made.type = "checkbox";
  made.name = name;
  made.checked = Boolean(kept[name]);
  made.setAttribute("aria-label", label);
  made.addEventListener("change", () => {
    const ticked = ticks();
    if (made.checked) ticked[name] = 1; else delete ticked[name];
    try { localStorage.setItem(KEY, JSON.stringify(ticked)); }
    catch { say("This browser keeps no ticks for files; print the page instead."); }
  });
  return made;
}

// A table for each stage, its own rungs only, a long one in pieces: as many beside each other as the
// screen holds.
function board() {
  const kept = ticks();
  DATA.stages.forEach((stage, s) => {
    const pieces = Math.ceil(stage.rows.length / 8), each = Math.ceil(stage.rows.length / pieces);
    for (let from = 0; from < stage.rows.length; from += each) {
      const rows = stage.rows.slice(from, from + each), ends = [rows[0], rows[rows.length - 1]];
      const range = pieces > 1 ? ", " + ends.map((row) => DATA.rungs[row]).join(" to ") : "";
      piece(stage.name + range, stage, s, rows, kept);
    }
  });
}

function piece(name, stage, s, rows, kept) {
  const table = $("board").appendChild(document.createElement("table"));
  table.appendChild(document.createElement("caption")).textContent = name;
  const body = table.appendChild(document.createElement("tbody"));
  for (const r of rows) {
    const row = body.appendChild(document.createElement("tr"));
    const head = row.appendChild(document.createElement("th"));
    head.scope = "row";
    head.textContent = DATA.rungs[r] + (r === DATA.goal ? " goal" : "");
    if (r === DATA.goal) row.className = "goal";
    const boxes = row.appendChild(document.createElement("td"));
    for (let n = 0; n < DATA.clean; n += 1) {
      boxes.appendChild(box([s, r, n].join("-"), stage.name + " at " + DATA.rungs[r] + ", repetition " + (n + 1), kept));
    }
  }
}

tempo.addEventListener("input", () => {
  showTempo();
  if (playing) play(playing.stage, playing.bars);
});
for (const button of all("button[data-stage]")) {
  button.addEventListener("click", () => {
    const stage = Number(button.dataset.stage);
    if (playing && playing.stage === stage) stop(); else play(stage);
  });
}
for (const button of all("button.bar")) {
  button.addEventListener("click", () => {
    const stage = Number(button.dataset.of), bars = barsToRepeat(DATA.stages[stage], Number(button.dataset.bar));
    const same = playing && playing.stage === stage && playing.bars && playing.bars.join() === bars.join();
    if (same) play(stage); else play(stage, bars);
  });
}
$("play").addEventListener("click", () => { if (playing) stop(); else play(last); });
$("show").addEventListener("change", () => { $("fingers").hidden = !$("show").checked; foot(); showFingers(1); });
document.addEventListener("visibilitychange", () => { if (document.hidden) stop(); });
// The page ends above the foot, however high that is.
function foot() { document.documentElement.style.setProperty("--foot", $("foot").offsetHeight + "px"); }
addEventListener("resize", () => { foot(); if (playing) playing.line = null; });
showTempo();
board();
foot();
