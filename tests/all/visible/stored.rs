//! Texts from the journal, homework and settings.

use super::files::{quoted, quoted_toml};
use super::*;

/// An entry as `journal export` writes it, with such characters in each of its texts.
pub(super) fn entry(number: u64, kind: &Value, measures: Option<&str>) -> String {
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
    let drill = json!(crate::all::faults::COUNT).to_string();
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
