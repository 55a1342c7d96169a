//! Faults of the disk: a home that cannot be written, and a disk that is full.

use super::{COUNT, Home, Lines, told};
use gracerung::app::{prints, scores};
use gracerung::drill::read;
use gracerung::journal::Journal;
use gracerung::practice::{By, CellKey, Kind, Mark, Record, RecordId, Rung};
use std::collections::BTreeMap;
use std::os::unix::fs::{MetadataExt, PermissionsExt};
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;
use uuid::Uuid;

/// A home with four marks on 1 January 2027, homework and a report on it.
fn filled() -> Home {
    let home = Home::new();
    let drill = read(COUNT.as_bytes()).0.expect("it reads");
    let cell = CellKey {
        stage: prints(&scores(&drill))[0],
        rung: Rung::Tempo(drill.ladder.from()),
    };
    let session = Uuid::from_u128(27);
    let record = |number: u64, kind: Kind| Record {
        id: RecordId { session, number },
        utc_us: (20_819 * 86_400 + 36_000 + i64::try_from(number).expect("small")) * 1_000_000,
        offset_s: 0,
        kind,
        drill: "count".to_owned(),
        cell: Some(cell),
        by: Some(By::Key),
        thresholds: None,
        measures: None,
        version: "test".to_owned(),
    };
    let mark = |number: u64| Kind::Mark {
        repetition: number,
        mark: Mark::Clean,
        needed: 50,
        free: false,
    };
    let mut records = vec![record(0, Kind::Playing)];
    records.extend((1..=4).map(|number| record(number, mark(number))));
    records.push(record(5, Kind::Ended));
    let mut journal = Journal::open(&home.journal()).expect("a journal");
    journal.append(&records).expect("stored");
    drop(journal);
    home.said(&["assign", "count", "-o", "week.yaml"]);
    home.said(&["report", "week.yaml", "--name", "a player", "-o", "r.yaml"]);
    home.said(&["journal", "export", "-o", "all.jsonl"]);
    home.said(&["journal", "backup", "other.sqlite"]);
    home
}

/// Every file below a folder with its bytes, without the files that SQLite keeps beside a journal
/// to share it.
fn everything(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).expect("a folder").flatten() {
            let path = entry.path();
            let name = path.to_string_lossy();
            if path.is_dir() {
                folders.push(path);
            } else if !(name.ends_with("-shm") || name.ends_with("-wal")) {
                all.insert(path.clone(), std::fs::read(&path).expect("bytes"));
            }
        }
    }
    all
}

fn set_writable(folder: &Path, writable: bool) {
    for path in everything(folder).into_keys().chain([
        folder.join("gracerung/drills"),
        folder.join("gracerung"),
        folder.to_owned(),
    ]) {
        let kind = std::fs::metadata(&path).expect("it is there");
        let mode = match (kind.is_dir(), writable) {
            (true, true) => 0o755,
            (true, false) => 0o555,
            (false, true) => 0o644,
            (false, false) => 0o444,
        };
        std::fs::set_permissions(&path, std::fs::Permissions::from_mode(mode)).expect("set");
    }
}

/// The command that makes permissions bind even a superuser's programs.
fn bound(home: &Home) -> Vec<&'static str> {
    let owner = std::fs::metadata(home.folder()).expect("it is there").uid();
    if owner == 0 {
        vec!["setpriv", "--bounding-set=-dac_override,-dac_read_search"]
    } else {
        Vec::new()
    }
}

/// The commands that write, each with the file that it writes.
const WRITING: [&[&str]; 11] = [
    &["assign", "count", "-o", "new.yaml"],
    &["report", "week.yaml", "-o", "new.yaml"],
    &["review", "r.yaml", "-o", "new.html"],
    &["review", "r.yaml", "-o", "new.pdf"],
    &["progress", "-o", "new.svg"],
    &["progress", "-o", "new.png"],
    &["journal", "backup", "new.sqlite"],
    &["journal", "export", "-o", "new.jsonl"],
    &["journal", "check", "--recover", "new.sqlite"],
    &["journal", "import", "all.jsonl"],
    &["journal", "merge", "other.sqlite"],
];

/// The commands that only read.
const READING: [&[&str]; 8] = [
    &["today", "--on", "2027-01-05"],
    &["progress"],
    &["progress", "--csv"],
    &["warmup", "--list"],
    &["review", "r.yaml"],
    &["journal", "check"],
    &["journal", "export"],
    &["settings"],
];

/// On a write-protected USB stick, commands that read still work, commands that write report it,
/// and no half-written file remains.
#[test]
fn a_read_only_home_is_read_and_never_half_written() {
    let home = filled();
    let through = bound(&home);
    set_writable(home.folder(), false);
    let probe: Vec<&str> = through.iter().copied().chain(["touch", "probe"]).collect();
    let probe = Command::new(probe[0])
        .args(&probe[1..])
        .current_dir(home.folder())
        .output()
        .expect("it runs");
    assert!(
        !probe.status.success(),
        "the folder can be written all the same"
    );
    let before = everything(home.folder());
    for arguments in WRITING {
        let said = told(&home.run_through(&through, arguments), arguments);
        assert!(
            said.contains("cannot") || said.contains("did not take"),
            "{arguments:?}: {said}"
        );
        assert_eq!(everything(home.folder()), before, "{arguments:?}");
    }
    for arguments in READING {
        let output = home.run_through(&through, arguments);
        let said = String::from_utf8_lossy(&output.stderr);
        assert_eq!(output.status.code(), Some(0), "{arguments:?}: {said}");
    }
    let progress = home.run_through(&through, &["progress", "--csv"]);
    let said = String::from_utf8_lossy(&progress.stdout);
    assert!(said.contains("count,first,300,4,4,"), "{said}");
    let settings = home.run_through(&through, &["settings", "--write"]);
    told(&settings, &["settings", "--write"]);
    assert_eq!(everything(home.folder()), before);
    set_writable(home.folder(), true);
}

/// Marks made while nothing could be written are in a file at the end, and importing that file
/// restores what was shown.
#[test]
fn marks_of_a_read_only_home_are_kept_for_later() {
    let home = filled();
    let through = bound(&home);
    let elsewhere = tempfile::tempdir().expect("a folder");
    let place = elsewhere.path().to_str().expect("a name").to_owned();
    set_writable(home.folder(), false);
    let mut run = Lines::practise(home.folder(), &through, &["count"], &[("TMPDIR", &place)]);
    run.until("the journal cannot be written, marks are kept in memory");
    run.press(" ");
    run.until("Playing.");
    // the streak counts on from the journal although it cannot be written
    run.mark_clean(2);
    run.press("q");
    run.ends_with(2);
    let said = run.said();
    assert!(
        said.contains("2 marks of this session could not be stored"),
        "{said}"
    );
    set_writable(home.folder(), true);
    let files: Vec<PathBuf> = everything(elsewhere.path()).into_keys().collect();
    assert_eq!(files.len(), 1, "{files:?}");
    let file = files[0].to_str().expect("a name");
    let before = Journal::open(&home.journal())
        .expect("a journal")
        .read_all();
    let before = before.expect("it reads").len();
    assert!(
        home.said(&["journal", "import", file])
            .contains("new, 0 known")
    );
    assert!(home.said(&["journal", "import", file]).contains(": 0 new"));
    let entries = Journal::open(&home.journal())
        .expect("a journal")
        .read_all();
    let entries = entries.expect("it reads");
    assert!(entries.len() > before + 2);
    let csv = home.said(&["progress", "count", "--csv"]);
    assert!(csv.contains("count,first,300,6,6,"), "{csv}");
}

/// A full disk: a shell script that ends by running `"$@"` where no further byte can be written.
struct Full {
    name: &'static str,
    through: Vec<String>,
}

/// Two kinds of full disk: a limit on the size of every file, and, where this machine allows it, a
/// small full file system with a copy of the home.
fn full_disks(home: &Home) -> Vec<Full> {
    let words = |words: &[&str]| words.iter().map(|word| (*word).to_owned()).collect();
    let limited = "trap '' XFSZ; ulimit -f 0; exec \"$@\"";
    let mut all = vec![Full {
        name: "no file may grow",
        through: words(&["sh", "-c", limited, "sh"]),
    }];
    let script = "mkdir -p \"$TMPDIR/full\" && mount -t tmpfs -o size=700k none \"$TMPDIR/full\" \
         && cp -a \"$HOME/.\" \"$TMPDIR/full\" && cd \"$TMPDIR/full\" && export HOME=\"$PWD\" \
         XDG_DATA_HOME=\"$PWD\" XDG_CONFIG_HOME=\"$PWD\"; \
         dd if=/dev/zero of=filler bs=1k 2>/dev/null; dd if=/dev/zero of=filler2 bs=1 2>/dev/null; \
         \"$@\"; code=$?; ls -A > \"$TMPDIR/names\"; exit $code";
    let mut own = vec!["unshare", "-m"];
    let owner = std::fs::metadata(home.folder()).expect("it is there").uid();
    if owner != 0 {
        own.push("-Ur");
    }
    own.extend(["sh", "-c", script, "sh"]);
    let may = Command::new(own[0])
        .args(&own[1..own.len() - 3])
        .args(["sh", "-c", "mount -t tmpfs none /mnt"])
        .output()
        .is_ok_and(|output| output.status.success());
    if may {
        all.push(Full {
            name: "a full file system",
            through: words(&own),
        });
    }
    all
}

/// On a full disk each command reports it and leaves no partial file, and every mark is still
/// there.
#[test]
fn a_full_disk_is_told_and_costs_nothing() {
    let home = filled();
    let elsewhere = tempfile::tempdir().expect("a folder");
    let place = elsewhere.path().to_str().expect("a name").to_owned();
    let before = everything(home.folder());
    for full in full_disks(&home) {
        let temporary = format!("TMPDIR={place}");
        let mut through = vec!["env", temporary.as_str()];
        through.extend(full.through.iter().map(String::as_str));
        for arguments in WRITING {
            let output = home.run_through(&through, arguments);
            // import and merge need not write where the journal has the entries already
            if ["import", "merge"].contains(&arguments[1]) && output.status.code() == Some(0) {
                let said = String::from_utf8_lossy(&output.stdout);
                assert!(said.contains(": 0 new"), "{}: {said}", full.name);
            } else {
                let said = told(&output, arguments);
                assert!(
                    ["cannot", "could not", "did not take", "full"]
                        .iter()
                        .any(|word| said.contains(word)),
                    "{} {arguments:?}: {said}",
                    full.name
                );
            }
            let names = std::fs::read_to_string(elsewhere.path().join("names")).unwrap_or_default();
            let left: Vec<&str> = names
                .lines()
                .filter(|name| name.starts_with(".gracerung") || name.starts_with("new"))
                .collect();
            assert!(left.is_empty(), "{} {arguments:?}: {left:?}", full.name);
            assert_eq!(
                everything(home.folder()),
                before,
                "{} {arguments:?}",
                full.name
            );
        }
    }
    assert_eq!(everything(home.folder()), before);
    assert!(home.said(&["journal", "check"]).contains("6 entries"));
}

/// When space becomes free during practice, the waiting marks are stored with the next one.
#[test]
fn marks_wait_until_there_is_room_again() {
    let home = filled();
    // the folder cannot be written at first and can be later, which for the program is the same as
    // space that becomes free
    let through = bound(&home);
    set_writable(home.folder(), false);
    let mut run = Lines::practise(home.folder(), &through, &["count"], &[]);
    run.until("the journal cannot be written");
    run.press(" ");
    run.until("Playing.");
    run.mark_clean(1);
    set_writable(home.folder(), true);
    run.press("c");
    run.until("the journal can be written again: every mark is stored");
    // time for the write that follows the display of a mark
    std::thread::sleep(Duration::from_millis(200));
    run.press("q");
    run.ends_with(0);
    let csv = home.said(&["progress", "count", "--csv"]);
    assert!(csv.contains("count,first,300,6,6,"), "{csv}");
}

/// Output that cannot be printed must be reported too.
#[test]
fn output_that_nobody_takes_is_told() {
    let home = filled();
    let through = ["sh", "-c", "exec \"$@\" > /dev/full", "sh"];
    for arguments in READING {
        let said = told(&home.run_through(&through, arguments), arguments);
        assert!(
            said.contains("cannot write to the output"),
            "{arguments:?}: {said}"
        );
    }
    for arguments in [
        ["assign", "count", "-o", "/dev/full"],
        ["report", "week.yaml", "-o", "/dev/full"],
    ] {
        told(&home.run(&arguments), &arguments);
        assert!(!std::fs::metadata("/dev/full").expect("there").is_file());
    }
}

/// The USB stick with the data folder is pulled out during a session. The next mark reports it,
/// marks are kept, and no new journal is begun. At the end the marks are in a file that only their
/// owner can read, for `journal import`.
#[test]
fn a_data_folder_that_is_taken_away_is_noticed_at_the_next_mark() {
    let home = Home::new();
    let elsewhere = tempfile::TempDir::new().expect("a folder");
    let temporary = elsewhere.path().to_str().expect("text");
    let mut program = Lines::practise(home.folder(), &[], &["count"], &[("TMPDIR", temporary)]);
    program.until("Still.");
    program.press(" ");
    program.until("Playing.");
    program.mark_clean(2);
    std::fs::rename(home.path("gracerung"), home.path("away")).expect("moved");
    program.mark_clean(1);
    program.until("is not there any more");
    program.mark_clean(1);
    program.press("q");
    program.ends_with(2);
    let said = program.said();
    assert!(
        said.contains("2 marks of this session could not be stored"),
        "{said}"
    );
    assert!(
        !home.path("gracerung").exists(),
        "nothing was begun in its place"
    );
    let kept: Vec<PathBuf> = std::fs::read_dir(elsewhere.path())
        .expect("a folder")
        .map(|entry| entry.expect("an entry").path())
        .collect();
    let [kept] = kept.as_slice() else {
        panic!("{kept:?}");
    };
    let mode = std::fs::metadata(kept)
        .expect("it is there")
        .permissions()
        .mode();
    assert_eq!(mode & 0o777, 0o600, "its owner alone reads it");
    std::fs::rename(home.path("away"), home.path("gracerung")).expect("back");
    let kept = kept.to_str().expect("text");
    home.said(&["journal", "import", kept]);
    home.said(&["journal", "import", kept]);
    let mut journal = Journal::open(&home.journal()).expect("a journal");
    let entries = journal.read_all().expect("it reads");
    let marks = entries
        .iter()
        .filter(|entry| matches!(entry.record.kind, Kind::Mark { .. }));
    assert_eq!(marks.count(), 4);
}

/// An entry with an impossible number or time would upset every plan, so it is refused with its
/// line.
#[test]
fn an_absurd_entry_is_refused_at_import() {
    let home = filled();
    let exported = home.said(&["journal", "export"]);
    let line = exported
        .lines()
        .find(|line| line.contains("\"mark\""))
        .expect("a mark");
    let absurd = |field: &str, value: &str| {
        let mut entry: serde_json::Value = serde_json::from_str(line).expect("JSON");
        entry["id"]["session"] = "00000000-0000-0000-0000-00000000abcd".into();
        entry[field] = serde_json::from_str(value).expect("JSON");
        entry.to_string()
    };
    let lines = [
        absurd("utc_us", "9223372036854775807"),
        absurd("utc_us", "-1"),
        absurd("offset_s", "2147483647"),
        absurd("seq", "18446744073709551615"),
        absurd("seq", "0"),
    ];
    std::fs::write(home.path("absurd.jsonl"), lines.join("\n")).expect("a file");
    let output = home.run(&["journal", "import", "absurd.jsonl"]);
    let said = super::told(&output, &["absurd"]);
    assert!(
        said.contains("absurd.jsonl:1: an entry that cannot be: its time"),
        "{said}"
    );
    assert_eq!(home.said(&["journal", "export"]), exported);
}

/// The sound library prints to standard error. That must not reach the screen even where its log
/// cannot be written.
#[test]
fn the_sound_library_is_quiet_also_without_a_log() {
    let home = Home::new();
    // a folder in the place of the log, so that it cannot be written
    std::fs::create_dir(home.path("gracerung/sound.log")).expect("a folder");
    let alsa = format!("ALSA_CONFIG_PATH={}", home.path("no-such-file").display());
    for line in [["devices"].as_slice(), &["calibrate", "--device", "x"]] {
        let output = home.run_through(&["env", &alsa], line);
        let said = String::from_utf8_lossy(&output.stderr).into_owned()
            + &String::from_utf8_lossy(&output.stdout);
        assert!(!said.contains("ALSA lib"), "{line:?}: {said}");
    }
    let mut program = Lines::practise(home.folder(), &[], &["count"], &[]);
    program.until("Still.");
    program.press(" ");
    program.until("Playing.");
    program.press("q");
    program.ends_with(0);
    assert!(!program.said().contains("ALSA lib"), "{}", program.said());
}
