//! Nothing that a file, a name or an argument holds reaches the terminal as a command to it: every
//! command is fed with such signs in each of its texts, and what the real binary prints is read.

use super::faults::Home;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::ffi::{OsStr, OsString};
use std::path::Path;
use std::process::{Command, Output};

/// An escape that names the window, one that clears the screen, C1's own introducer, a delete, a
/// bell, a carriage return, text turned round and isolated, a line separator, a tag.
const EVIL: &str =
    "x\u{1b}]0;owned\u{7}\u{1b}[2J\u{9b}31m\u{7f}\r\u{202e}\u{2066}\u{200f}\u{2028}\u{e0041}y";

/// A sign that must never be printed. Written out here once more, so that the program's own list
/// is not checked by itself.
fn is_obeyed(sign: char) -> bool {
    let code = u32::from(sign);
    (code < 0x20 && sign != '\n' && sign != '\t')
        || (0x7f..=0x9f).contains(&code)
        || [0x61c, 0x200e, 0x200f, 0x2028, 0x2029, 0xfeff].contains(&code)
        || (0x202a..=0x202e).contains(&code)
        || (0x2066..=0x2069).contains(&code)
        || (0xe0000..=0xe007f).contains(&code)
}

#[track_caller]
fn is_harmless(what: &str, output: &Output) -> String {
    let mut all = String::new();
    for bytes in [&output.stdout, &output.stderr] {
        // lines of CSV end with both signs (RFC 4180)
        let text = String::from_utf8(bytes.clone())
            .unwrap_or_else(|_| panic!("{what}: what is printed is no UTF-8"))
            .replace("\r\n", "\n");
        if let Some(at) = text.find(is_obeyed) {
            let from = text[..at]
                .char_indices()
                .rev()
                .nth(60)
                .map_or(0, |(at, _)| at);
            panic!("{what}: {:?}", &text[from..]);
        }
        all += &text;
    }
    assert!(!all.contains("panicked"), "{what}: {all}");
    all
}

fn run(home: &Home, arguments: &[&OsStr], environment: &[(&str, &str)]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_gracerung"));
    command.args(arguments).current_dir(home.folder());
    for name in ["HOME", "XDG_DATA_HOME", "XDG_CONFIG_HOME"] {
        command.env(name, home.folder());
    }
    command.env("ALSA_CONFIG_PATH", home.path("no-such-file"));
    command.envs(environment.iter().copied());
    command.stdin(std::process::Stdio::null());
    command.output().expect("it runs")
}

#[track_caller]
fn harmless(home: &Home, arguments: &[&str]) -> String {
    let all: Vec<&OsStr> = arguments.iter().map(OsStr::new).collect();
    is_harmless(&format!("{arguments:?}"), &run(home, &all, &[]))
}

/// Every command with its arguments; `*` stands for a text of the player's.
const ARGUMENTS: &[&str] = &[
    "practise * --stage * --tempo * --tone * --task * --la * --device * --microphone * --click *",
    "practise grip --stage *",
    "practise grip --tempo *",
    "practise grip --device * --plain",
    "practise grip --click *",
    "practise grip --mark-by *",
    "practise grip --mark-by ear --microphone *",
    "drills --show *",
    "check *",
    "check * --json",
    "check * *",
    "render * -o x.wav",
    "render grip -o *",
    "render grip -o x.wav --stage *",
    "render grip -o x.wav --rate *",
    "render grip -o no/*.wav",
    "sheet * -o x.pdf",
    "sheet grip -o *.pdf",
    "sheet grip -o *",
    "sheet grip -o x.pdf --paper *",
    "handout grip -o *",
    "sheet lamp-on-the-slipway --bars 5-8 --stage * -o x.pdf",
    "handout * -o x.html",
    "handout lamp-on-the-slipway --bars 5-8 --stage * -o x.html",
    "timeline *",
    "timeline grip --stage *",
    "timeline grip --tempo *",
    "recognise * --from * --to *",
    "recognise LG --from D --to *",
    "explain *",
    "explain grip --from *",
    "explain grip --school *",
    "make *",
    "make grip --from *",
    "make grip --from D --to *",
    "make grip --from D --to LA --school *",
    "make grip --from D --to LA --metre *",
    "make --finger *",
    "make grip --from D --to LA -o *",
    "tune *",
    "tune grip --stage *",
    "tune lamp-on-the-slipway --bar 2 -o *",
    "movements *",
    "movements --gracenotes *",
    "movements --finger *",
    "listen *",
    "listen * --drill *",
    "listen x.wav --la *",
    "takes *",
    "takes * --remove",
    "takes 1 -o *",
    "export * -o x.abc",
    "export grip -o *",
    "export grip -o x.abc --stage *",
    "import * -o x.yaml",
    "import *.abc -o x.yaml",
    "import x.abc -o *",
    "import x.abc --tune * -o x.yaml",
    "devices",
    "calibrate --device * --microphone *",
    "calibrate --list",
    "today --minutes *",
    "today --on *",
    "progress *",
    "progress --since *",
    "progress -o *",
    "blow --la *",
    "blow --microphone *",
    "hear *",
    "hear grip --fault *",
    "hear grip --stage *",
    "warmup --for *",
    "warmup --minutes *",
    "assign * -o x.yaml",
    "assign grip --to-reach * -o x.yaml",
    "assign grip --until * -o x.yaml",
    "assign grip --by * -o x.yaml",
    "assign grip --note * --title * --for * -o x.yaml",
    "assign grip -o *",
    "report * -o x.yaml",
    "report * -o *",
    "review *",
    "review * -o *",
    "journal *",
    "journal check *",
    "journal check * --json",
    "journal check --recover *",
    "journal export -o *",
    "journal import *",
    "journal mend *",
    "journal mend --into *",
    "journal backup *",
    "journal merge *",
    "settings *",
    "settings --json",
    "schema *",
    "completions *",
    "manual -o *",
    "licences *",
    "licences --libraries",
    "*",
    "--*",
];

/// The commands that a help page lists.
fn commands_of(help: &str) -> BTreeSet<String> {
    help.lines()
        .skip_while(|line| !line.starts_with("Usage:"))
        .take_while(|line| *line != "Options:")
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| *name != "help")
        .map(str::to_owned)
        .collect()
}

#[test]
fn what_is_typed_is_never_obeyed() {
    let home = Home::new();
    let known = commands_of(&harmless(&home, &["help"]));
    let tried: BTreeSet<&str> = ARGUMENTS
        .iter()
        .filter_map(|line| line.split_whitespace().next())
        .collect();
    let left_out: Vec<_> = known
        .iter()
        .filter(|name| !tried.contains(name.as_str()))
        .collect();
    assert!(known.len() > 25 && left_out.is_empty(), "{left_out:?}");
    // the commands of `journal` too
    let known = commands_of(&harmless(&home, &["journal", "help"]));
    let untried = |name: &&String| {
        !ARGUMENTS.iter().any(|line| {
            let mut words = line.split_whitespace();
            words.next() == Some("journal") && words.next() == Some(name.as_str())
        })
    };
    let left_out: Vec<_> = known.iter().filter(untried).collect();
    assert!(known.len() > 5 && left_out.is_empty(), "{left_out:?}");
    for line in ARGUMENTS {
        let arguments: Vec<String> = line
            .split(' ')
            .map(|word| word.replace('*', EVIL))
            .collect();
        let arguments: Vec<&str> = arguments.iter().map(String::as_str).collect();
        harmless(&home, &arguments);
    }
}

#[test]
fn what_the_environment_says_is_never_obeyed() {
    let home = Home::new();
    for name in [
        "GRACERUNG_LA",
        "GRACERUNG_NAME",
        "GRACERUNG_DEVICE",
        "GRACERUNG_SCHOOL",
        "GRACERUNG_NO_SUCH_SETTING",
        "GRACERUNG_x\u{1b}[2J\u{202e}",
        "TZ",
        "TERM",
        "LANG",
        "RUST_LOG",
    ] {
        for arguments in [["settings"].as_slice(), &["today"], &["practise", "grip"]] {
            let all: Vec<&OsStr> = arguments.iter().map(OsStr::new).collect();
            let output = run(&home, &all, &[(name, EVIL)]);
            is_harmless(&format!("{name:?} {arguments:?}"), &output);
        }
    }
    // folders whose names hold such signs
    let folder = home.path(EVIL);
    std::fs::create_dir_all(folder.join("gracerung/drills")).expect("a folder");
    std::fs::write(folder.join("gracerung/settings.toml"), "la = 1\nx = 2\n").expect("a file");
    std::fs::write(folder.join("gracerung/calibration.json"), "x").expect("a file");
    std::fs::write(folder.join("gracerung/journal.sqlite"), "no journal").expect("a file");
    let named = folder.to_str().expect("text");
    let there = [
        ("HOME", named),
        ("XDG_DATA_HOME", named),
        ("XDG_CONFIG_HOME", named),
    ];
    for arguments in [
        ["settings"].as_slice(),
        &["settings", "--write"],
        &["today"],
        &["progress"],
        &["drills"],
        &["takes"],
        &["calibrate", "--list"],
        &["journal", "check"],
        &["journal", "export"],
        &["practise", "grip"],
    ] {
        let all: Vec<&OsStr> = arguments.iter().map(OsStr::new).collect();
        is_harmless(&format!("{arguments:?}"), &run(&home, &all, &there));
    }
}

/// A quoted text of YAML and JSON with every such sign in it.
fn quoted() -> String {
    json!(EVIL).to_string()
}

/// The same for TOML, every such sign as an escape.
fn quoted_toml() -> String {
    let signs = EVIL.chars().map(|sign| match sign {
        sign if is_obeyed(sign) => format!("\\U{:08x}", u32::from(sign)),
        sign => sign.to_string(),
    });
    format!("\"{}\"", signs.collect::<String>())
}

/// Drill files with such signs, as escapes and raw, in every field that a drill has.
fn drills() -> Vec<String> {
    let schema = Command::new(env!("CARGO_BIN_EXE_gracerung"))
        .arg("schema")
        .output()
        .expect("it runs");
    let schema: Value = serde_json::from_slice(&schema.stdout).expect("JSON");
    let fields = schema["properties"].as_object().expect("fields");
    assert!(fields.len() > 10, "{fields:?}");
    let quoted = quoted();
    let raw = EVIL.replace(['\r', '\u{2028}'], "");
    let mut files = Vec::new();
    for value in [&quoted, &raw] {
        for field in fields.keys() {
            files.push(format!(
                "title: x\nmovement: grip\nfrom: D\nto: LA\n{field}: {value}\n"
            ));
            files.push(format!("{field}: {value}\n"));
            files.push(format!("{field}: [{value}]\n"));
            files.push(format!("{field}: {{{value}: {value}}}\n"));
        }
        for field in [
            "name",
            "before",
            "tone",
            "music",
            "up_to",
            "opening",
            "listen_for",
        ] {
            files.push(format!(
                "title: x\nmovement: grip\nfrom: D\nto: LA\nstages:\n  - {{name: n, {field}: {value}}}\n"
            ));
        }
        files.push(format!("title: x\n{value}: {value}\n"));
        files.push(format!("&{value} {value}: *{value}\n"));
    }
    files.push(format!(
        "title: x\nmusic: |\n  A4 {raw} {{{raw}}}B4 \"{raw}\" [{raw}]|\n"
    ));
    files.push(raw);
    files
}

#[test]
fn what_a_drill_says_is_never_obeyed() {
    let home = Home::new();
    let folder = home.path("gracerung/drills");
    for (number, file) in drills().iter().enumerate() {
        let name = format!("{number}.yaml");
        std::fs::write(folder.join(&name), file).expect("a file");
    }
    let files: Vec<OsString> = std::fs::read_dir(&folder)
        .expect("a folder")
        .map(|entry| entry.expect("an entry").path().into_os_string())
        .collect();
    assert!(files.len() > 60);
    for json in [false, true] {
        let mut arguments = vec![OsStr::new("check")];
        if json {
            arguments.push(OsStr::new("--json"));
        }
        arguments.extend(files.iter().map(OsString::as_os_str));
        let said = is_harmless("check", &run(&home, &arguments, &[]));
        // made visible and not merely dropped
        assert!(said.contains(if json { "U+001B" } else { "·" }), "{said}");
        if json {
            let rows: Vec<Value> = serde_json::from_str(&said).expect("JSON");
            assert!(rows.len() > 60);
        }
    }
    // a name of a file is nothing that a reader could refuse
    std::fs::write(folder.join(format!("{EVIL}.yaml")), "title: x\n").expect("a file");
    let said = harmless(&home, &["drills"]);
    assert!(said.contains(r"x\u{1b}]0;owned\u{7}"), "{said}");
    let said = harmless(&home, &["drills", "--json"]);
    assert!(said.contains(r"x\u001b]0;owned\u0007"), "{said}");
    for name in ["0", "5", "11", EVIL] {
        for line in [
            "practise *",
            "timeline *",
            "sheet * -o x.pdf",
            "render * -o x.wav",
            "tune *",
        ] {
            let line: Vec<String> = line
                .split(' ')
                .map(|word| word.replace('*', name))
                .collect();
            let line: Vec<&str> = line.iter().map(String::as_str).collect();
            harmless(&home, &line);
        }
    }
    harmless(&home, &["today"]);
    harmless(&home, &["progress"]);
}

#[test]
fn what_another_programs_file_says_is_never_obeyed() {
    let home = Home::new();
    let raw = EVIL.replace('\r', "");
    let mut files: Vec<(&str, Vec<u8>)> = Vec::new();
    for field in ["T", "C", "M", "L", "Q", "R", "N", "V", "K", "w", "Z", "X"] {
        files.push((
            "abc",
            format!("X:1\nT:x\n{field}:{raw}\nK:HP\n{field}:{raw}\nA4 B4|\n").into_bytes(),
        ));
    }
    files.push(("abc", format!("X:1\nT:{raw}\n%%{raw}\n{raw}\nK:HP {raw}={raw}\nA8|[{raw}]!{raw}!{{{raw}}}[K:{raw}][Q:{raw}]B8|\n").into_bytes()));
    let xml = raw
        .replace(['\u{1b}', '\u{7}', '\u{7f}'], "&#27;")
        .replace('\u{9b}', "&#155;");
    let note = "<note><pitch><step>A</step><octave>4</octave></pitch><duration>4</duration></note>";
    for part in [
        format!("<work><work-title>{xml}</work-title></work>"),
        format!("<identification><creator type='composer'>{xml}</creator></identification>"),
        format!("<{xml}>"),
        format!("&{xml};"),
        format!("<a b='{xml}'/>"),
    ] {
        files.push(("musicxml", format!(
            "<score-partwise>{part}<part><measure><attributes><divisions>1</divisions><key><fifths>{xml}</fifths></key><time><beats>{xml}</beats><beat-type>4</beat-type></time></attributes>{note}<note><{xml}/></note></measure></part></score-partwise>"
        ).into_bytes()));
        files.push((
            "musicxml",
            format!(
                "<score-partwise>{part}<part><measure>{note}</measure></part></score-partwise>"
            )
            .into_bytes(),
        ));
    }
    // one track: its name, a text, a note
    let mut track = vec![0, 0xff, 3, u8::try_from(EVIL.len()).expect("short")];
    track.extend(EVIL.as_bytes());
    track.extend([0, 0x90, 69, 90, 0x83, 0x60, 0x80, 69, 0, 0, 0xff, 0x2f, 0]);
    let mut midi = b"MThd\0\0\0\x06\0\0\0\x01\0\x60MTrk".to_vec();
    midi.extend(u32::try_from(track.len()).expect("short").to_be_bytes());
    midi.extend(&track);
    files.push(("mid", midi));
    for (number, (ending, bytes)) in files.iter().enumerate() {
        let name = format!("{number}.{ending}");
        std::fs::write(home.path(&name), bytes).expect("a file");
        harmless(&home, &["import", &name, "-o", &format!("{number}.yaml")]);
        harmless(&home, &["check", &name]);
        harmless(&home, &["check", &format!("{number}.yaml")]);
        harmless(&home, &["tune", &format!("{number}.yaml")]);
    }
}

/// An entry as `journal export` writes it, with such signs in each of its texts.
fn entry(number: u64, kind: &Value, measures: Option<&str>) -> String {
    let quoted: Value = json!(EVIL);
    let mut entry = json!({
        "journal": "00000000-0000-0000-0000-000000000001",
        "seq": number + 1,
        "id": {"session": "00000000-0000-0000-0000-000000000002", "number": number},
        "utc_us": 1_790_000_000_000_000_i64 + number as i64,
        "offset_s": 0,
        "kind": kind,
        "drill": quoted,
        "cell": null,
        "by": null,
        "thresholds": quoted,
        "measures": measures.map_or(quoted.clone(), |own| json!(own)),
        "version": quoted,
    });
    if number.is_multiple_of(2) {
        entry["drill"] = json!("grip");
    }
    entry.to_string()
}

#[test]
fn what_journals_homework_and_settings_say_is_never_obeyed() {
    let home = Home::new();
    let word = json!({"word": {"about": null, "text": EVIL}});
    let lines = [
        entry(0, &json!("began"), None),
        entry(1, &word, None),
        entry(2, &word, None),
        entry(3, &json!(EVIL), None),
        EVIL.to_owned(),
        format!("{{\"journal\": {}}}", quoted()),
    ];
    std::fs::write(home.path("x.jsonl"), lines.join("\n")).expect("a file");
    harmless(&home, &["journal", "import", "x.jsonl"]);
    for line in [
        ["journal", "check"].as_slice(),
        &["journal", "check", "--json"],
        &["journal", "export"],
        &["journal", "export", "-o", "y.jsonl"],
        &["progress"],
        &["progress", "--csv"],
        &["progress", "--json"],
        &["today"],
        &["drills"],
    ] {
        harmless(&home, line);
    }
    let export = std::fs::read_to_string(home.path("y.jsonl")).expect("exported");
    assert!(
        export.contains(r"\u202e") && !export.contains('\u{202e}'),
        "{export}"
    );

    let quoted = quoted();
    let drill = json!(super::faults::COUNT).to_string();
    for homework in [
        format!(
            "homework: 1\ntitle: {quoted}\nfor: [{quoted}]\ngiven: 2027-01-01\nnote: {quoted}\ntasks:\n  - {{drill: {quoted}, file: {drill}}}\n"
        ),
        format!(
            "homework: 1\ntitle: x\ngiven: 2027-01-01\ntasks:\n  - {{drill: x, reach: {quoted}, file: {drill}}}\n"
        ),
        format!(
            "homework: 1\ntitle: x\ngiven: 2027-01-01\ntasks:\n  - {{drill: x, until: {quoted}, file: {drill}}}\n"
        ),
        format!(
            "homework: 1\ntitle: x\ngiven: 2027-01-01\ntasks:\n  - {{drill: x, file: {quoted}}}\n"
        ),
        format!("homework: 1\n{quoted}: x\n"),
        format!("homework: {quoted}\n"),
        format!(
            "report: 1\ntitle: {quoted}\nfrom: {quoted}\nmade: 2027-01-01\ndrills:\n  - {{drill: {quoted}, reach: {quoted}, at: {quoted}, days: [{{day: 2027-01-01, clean: 1, not_clean: 2}}], faults: [{quoted}]}}\nquestions:\n  - {{day: 2027-01-01, drill: {quoted}, text: {quoted}}}\ntakes: [{quoted}]\n"
        ),
    ] {
        std::fs::write(home.path("h.yaml"), &homework).expect("a file");
        for line in [
            ["check", "h.yaml"].as_slice(),
            &["check", "h.yaml", "--json"],
            &["practise", "h.yaml"],
            &["practise", "h.yaml", "--task", EVIL],
            &[
                "report",
                "h.yaml",
                "-o",
                "r.yaml",
                "--force",
                "--name",
                EVIL,
                "--question",
                EVIL,
            ],
            &["review", "h.yaml"],
            &["review", "h.yaml", "--json"],
            &["review", "h.yaml", "-o", "c.html", "--force"],
            &["sheet", "h.yaml", "-o", "s.pdf", "--force"],
        ] {
            harmless(&home, line);
        }
    }

    let toml = quoted_toml();
    for (name, text) in [
        (
            "settings.toml",
            format!("la = {toml}\nschool = [{toml}]\n{toml} = 1\n"),
        ),
        ("settings.toml", format!("name = {toml}\ndevice = {toml}\n")),
        (
            "settings.toml",
            format!("la = {quoted}\nname = {quoted}\n{quoted} = 1\n"),
        ),
        (
            "settings.toml",
            format!("name = {quoted}\ndevice = {quoted}\n"),
        ),
        ("settings.toml", EVIL.to_owned()),
        ("calibration.json", format!("[{{{quoted}: {quoted}}}]")),
    ] {
        std::fs::write(home.path(&format!("gracerung/{name}")), text).expect("a file");
        for line in [
            ["settings"].as_slice(),
            &["settings", "--json"],
            &["practise", "grip"],
            &["calibrate", "--list"],
            &["calibrate", "--list", "--json"],
            &["devices"],
        ] {
            harmless(&home, line);
        }
    }
    let takes = home.path("gracerung/takes");
    std::fs::create_dir_all(&takes).expect("a folder");
    let about = json!({"drill": EVIL, "stage": EVIL, "rung": EVIL, "la_hz": 236.0, "seconds": 3.0});
    for stem in ["2027-01-01-120000".to_owned(), EVIL.to_owned()] {
        std::fs::write(takes.join(format!("{stem}.json")), about.to_string()).expect("a file");
        std::fs::write(takes.join(format!("{stem}.wav")), EVIL).expect("a file");
    }
    for line in [
        ["takes"].as_slice(),
        &["takes", "--json"],
        &["takes", "1", "-o", "t.wav"],
    ] {
        harmless(&home, line);
    }
    let recording: &Path = &home.path(&format!("{EVIL}.wav"));
    std::fs::write(recording, EVIL).expect("a file");
    harmless(&home, &["listen", recording.to_str().expect("text")]);
}

/// The list of drills and the page of a drill, on a screen and in plain lines: what the terminal is
/// sent is read as it is, because a terminal shows nothing of what it obeys.
#[cfg(unix)]
#[test]
fn nothing_on_the_screen_is_obeyed() {
    use super::terminal::Story;
    let home = Home::new();
    let folder = home.path("gracerung/drills");
    std::fs::write(folder.join(format!("{EVIL}.yaml")), "title: x\n").expect("a file");
    let lines = [
        entry(0, &json!("began"), None),
        entry(1, &json!({"word": {"about": null, "text": EVIL}}), None),
    ];
    std::fs::write(home.path("x.jsonl"), lines.join("\n")).expect("a file");
    harmless(&home, &["journal", "import", "x.jsonl"]);
    let harmless = |what: &str, sent: &str| {
        assert!(
            !sent.contains("\u{1b}]0;") && !sent.contains("\u{1b}[2J\\u"),
            "{what}: {sent:?}"
        );
        for sign in [
            '\u{9b}',
            '\u{202e}',
            '\u{2066}',
            '\u{200f}',
            '\u{7f}',
            '\u{e0041}',
            '\u{7}',
        ] {
            assert!(!sent.contains(sign), "{what}: {sign:?} in {sent:?}");
        }
    };
    for plain in [false, true] {
        let name = folder.join("count.yaml");
        let name = name.to_str().expect("text");
        let arguments: &[&str] = if plain {
            &["practise", name, "--plain"]
        } else {
            &[]
        };
        let mut screen = Story::begin(home.folder(), arguments, 120, 40);
        screen.until("Count");
        if !plain {
            screen.until(r"x\u{1b}]0;owned");
        }
        screen.press("q");
        screen.ends_with(0);
        harmless("the list", &screen.sent());
    }
    for line in [
        "practise *",
        "practise grip --stage *",
        "practise grip --tempo *",
        "practise grip --click *",
        "hear grip --fault *",
        "hear grip --stage *",
    ] {
        let line: Vec<String> = line
            .split(' ')
            .map(|word| word.replace('*', EVIL))
            .collect();
        let line: Vec<&str> = line.iter().map(String::as_str).collect();
        let mut screen = Story::begin(home.folder(), &line, 120, 40);
        screen.ends_with(2);
        screen.until("31m");
        harmless(line[0], &screen.sent());
    }
}
