//! No text from a file, a name or an argument reaches the terminal as a control sequence. Every
//! command gets such characters in each of its texts, and the output of the real binary is checked.

mod files;
mod stored;

use super::faults::Home;
use serde_json::{Value, json};
use std::collections::BTreeSet;
use std::ffi::{OsStr, OsString};
use std::path::Path;
use std::process::{Command, Output};
use stored::entry;

/// An escape that sets the window's title, one that clears the screen, the C1 introducer, a delete,
/// a bell, a carriage return, text direction overrides and isolates, a line separator, and a tag
/// character.
const EVIL: &str =
    "x\u{1b}]0;owned\u{7}\u{1b}[2J\u{9b}31m\u{7f}\r\u{202e}\u{2066}\u{200f}\u{2028}\u{e0041}y";

/// True for a character that must never be printed. The list is repeated here, so that the
/// program's own list is not checked by itself.
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
        // lines of CSV end with both characters (RFC 4180)
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

/// Every command with its arguments; `*` stands for a text of the player.
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
    // includes the subcommands of `journal`
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
    // folders whose names contain such characters
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

/// The list of drills and the page of a drill, on a screen and in plain lines. The bytes sent to
/// the terminal are checked, because a terminal does not show the control sequences that it obeys.
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
