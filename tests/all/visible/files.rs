//! Texts from files: drills in our own format and of other programs.

use super::*;

/// A quoted string of YAML and JSON that contains every such character.
pub(super) fn quoted() -> String {
    json!(EVIL).to_string()
}

/// The same string for TOML, with every such character as an escape.
pub(super) fn quoted_toml() -> String {
    let signs = EVIL.chars().map(|sign| match sign {
        sign if is_obeyed(sign) => format!("\\U{:08x}", u32::from(sign)),
        sign => sign.to_string(),
    });
    format!("\"{}\"", signs.collect::<String>())
}

/// Drill files with such characters, as escapes and raw, in every field of a drill.
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
        // the characters must be made visible, and not merely removed
        assert!(said.contains(if json { "U+001B" } else { "·" }), "{said}");
        if json {
            let rows: Vec<Value> = serde_json::from_str(&said).expect("JSON");
            assert!(rows.len() > 60);
        }
    }
    // the name of a file is nothing that a reader could refuse
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
    // one track with its name, a text and a note
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
