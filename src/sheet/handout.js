const $ = (id) => document.getElementById(id);
const tempo = $("tempo"), status = $("status");
let audio = null, playing = null, timer = 0, frame = 0;

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

function play(stage) {
  stop();
  open();
  const part = DATA.stages[stage], own = place(part), laid = part.laid[own];
  const reed = audio.createOscillator(), gain = audio.createGain();
  reed.setPeriodicWave(audio.createPeriodicWave(
    new Float32Array(DATA.partials.length + 1),
    new Float32Array([0, ...DATA.partials])));
  gain.gain.value = 0;
  reed.connect(gain).connect(audio.destination);
  reed.start();
  playing = { stage, part, laid, reed, gain, start: audio.currentTime + 0.15, cycle: -1, next: 0, shown: [], on: null, repetitions: 0 };
  for (const button of document.querySelectorAll("button[data-stage]")) {
    const mine = Number(button.dataset.stage) === stage;
    button.setAttribute("aria-pressed", mine);
    button.textContent = mine ? "Stop" : "Play";
  }
  say("Playing " + part.name + " at " + DATA.words[part.rows[own]] + ".");
  timer = setInterval(schedule, 25);
  schedule();
  frame = requestAnimationFrame(show);
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
  for (const cursor of document.querySelectorAll(".cursor")) cursor.style.visibility = "hidden";
  for (const button of document.querySelectorAll("button[data-stage]")) {
    button.setAttribute("aria-pressed", false);
    button.textContent = "Play";
  }
  playing = null;
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
  const until = audio.currentTime + 0.2;
  while (playing) {
    const list = events(playing.cycle);
    if (playing.next >= list.length) {
      playing.cycle += 1;
      playing.next = 0;
      if (playing.cycle > 0) playing.repetitions = playing.cycle;
      continue;
    }
    const [at, what, head] = list[playing.next];
    const when = playing.start + (begins(playing.cycle) + at) / 10000;
    if (when > until) return;
    if (what < 9) {
      playing.reed.frequency.setValueAtTime(DATA.hertz[what], when);
      const loud = $("chanter").checked ? 0.16 : 0;
      playing.gain.gain.setTargetAtTime(loud, when, 0.002);
      playing.shown.push([when, head]);
    } else if (what === 20) {
      playing.gain.gain.setTargetAtTime(0, when, 0.003);
      playing.shown.push([when, null]);
    } else {
      click(when, what);
    }
    playing.next += 1;
  }
}

function mark(head) {
  for (const old of document.querySelectorAll(".on")) old.classList.remove("on");
  if (head === null || !playing) return;
  const note = $("n" + playing.stage + "-" + head);
  if (note) note.classList.add("on");
  const [system, x] = playing.part.heads[head];
  for (const cursor of document.querySelectorAll(".cursor")) {
    const mine = cursor.id === "c" + playing.stage + "-" + system;
    cursor.style.visibility = mine ? "visible" : "hidden";
    if (mine) cursor.setAttribute("x", x);
  }
}

function show() {
  if (!playing) return;
  const now = audio.currentTime - (audio.outputLatency || 0);
  let latest;
  while (playing.shown.length && playing.shown[0][0] <= now) latest = playing.shown.shift();
  if (latest) mark(latest[1]);
  frame = requestAnimationFrame(show);
}

// Ticks are kept under the music's own name, so that a drill with other notes begins anew.
const KEY = "gracerung:" + DATA.key;
function ticks() {
  try { return JSON.parse(localStorage.getItem(KEY)) || {}; } catch { return {}; }
}

function board() {
  const table = $("board"), kept = ticks();
  const row = (parent) => parent.appendChild(document.createElement("tr"));
  const cell = (parent, kind, text) => {
    const made = parent.appendChild(document.createElement(kind));
    if (text !== undefined) made.textContent = text;
    return made;
  };
  const head = row(table.appendChild(document.createElement("thead")));
  cell(head, "th", "tempo").scope = "col";
  for (const stage of DATA.stages) cell(head, "th", stage.name).scope = "col";
  const body = table.appendChild(document.createElement("tbody"));
  DATA.rungs.forEach((rung, r) => {
    const line = row(body);
    cell(line, "th", rung).scope = "row";
    DATA.stages.forEach((stage, s) => {
      const place = cell(line, "td");
      if (!stage.rows.includes(r)) return;
      for (let n = 0; n < DATA.clean; n += 1) {
        const box = place.appendChild(document.createElement("input"));
        box.type = "checkbox";
        box.name = [s, r, n].join("-");
        box.checked = Boolean(kept[box.name]);
        box.setAttribute("aria-label", stage.name + " at " + rung + ", repetition " + (n + 1));
        box.addEventListener("change", () => {
          const all = ticks();
          if (box.checked) all[box.name] = 1; else delete all[box.name];
          try { localStorage.setItem(KEY, JSON.stringify(all)); }
          catch { say("This browser keeps no ticks for files; print the page instead."); }
        });
      }
    });
  });
}

tempo.addEventListener("input", () => {
  showTempo();
  if (playing) play(playing.stage);
});
for (const button of document.querySelectorAll("button[data-stage]")) {
  button.addEventListener("click", () => {
    const stage = Number(button.dataset.stage);
    if (playing && playing.stage === stage) stop(); else play(stage);
  });
}
document.addEventListener("visibilitychange", () => { if (document.hidden) stop(); });
showTempo();
board();
