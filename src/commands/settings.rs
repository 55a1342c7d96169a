//! `settings`: show each value and where it comes from; and settings for the other commands.

use super::table::table;
use super::{Failure, Outcome, Ran, calibrate, folders, open, output, plan};
use crate::app::{Action, Model, Options, Page};
use crate::chanter::{Instrument, Tuning, TuningTable};
use crate::movement::Schools;
use crate::practice::{Hand, Mark, Thresholds};
use crate::rhythm::ReferencePlan;
use crate::settings::{LARGEST_FILE, Origin, Settings, Source, Value, read};
use crate::sound::{Bus, ClickSound, Levels};
use crate::units::{Gain, Hertz};
use crate::wording;
use crossterm::event::{KeyCode, KeyEvent};
use serde::Serialize;

/// Arguments of `settings`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung settings\n  gracerung settings --json\n  \
    gracerung settings --write    (a file with every default, to edit)\n  \
    GRACERUNG_LA=238 gracerung settings\n\n\
    A flag wins over the environment, that over the file, that over the default.\n\
    Exit 0: read. Exit 1: problems were found."
)]
pub(crate) struct Arguments {
    /// Print as JSON.
    #[arg(long)]
    json: bool,
    /// Write a settings file with every default as a comment, where there is none yet.
    #[arg(long, conflicts_with = "json")]
    write: bool,
}

#[derive(Serialize)]
struct Row<'a> {
    name: &'a str,
    value: &'a Value,
    origin: Origin,
    variable: String,
    about: &'a str,
}

/// The settings and the problems as text.
fn read_all(flags: &[(&'static str, String)]) -> Result<(Settings, Vec<String>), Failure> {
    let path = folders::settings()?;
    let shown = path.display().to_string();
    let mut trouble = Vec::new();
    let file = match std::fs::symlink_metadata(&path) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => None,
        _ => {
            let bytes = open::read_bytes(&path, LARGEST_FILE)?;
            match String::from_utf8(bytes) {
                Ok(text) => Some(text.strip_prefix('\u{feff}').unwrap_or(&text).to_owned()),
                Err(error) => {
                    let byte = error.utf8_error().valid_up_to() + 1;
                    trouble.push(format!(
                        "{shown}: byte {byte} of the file is not UTF-8 text\n     save it as UTF-8\n"
                    ));
                    None
                }
            }
        }
    };
    let mut environment: Vec<(String, String)> = std::env::vars_os()
        .filter_map(|(name, value)| Some((name.into_string().ok()?, value.into_string().ok()?)))
        .filter(|(name, _)| name.starts_with("GRACERUNG_"))
        .collect();
    environment.sort();
    let (settings, problems) = read(Source {
        file: file.as_deref(),
        environment: &environment,
        flags,
    });
    let source = file.unwrap_or_default();
    trouble.extend(problems.iter().map(|one| one.render(&shown, &source)));
    Ok((settings, trouble))
}

/// Settings for a command, with the flags it was given.
///
/// # Errors
/// Problems in the settings file or the environment, all of them.
pub(crate) fn load(flags: &[(&'static str, String)]) -> Result<Settings, Failure> {
    let (settings, trouble) = read_all(flags)?;
    if trouble.is_empty() {
        return Ok(settings);
    }
    Err(Failure(format!(
        "the settings have {}:\n{}",
        wording::count(trouble.len(), "problem", "problems"),
        trouble.concat()
    )))
}

/// Runs `settings`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let path = folders::settings()?;
    if arguments.write {
        if std::fs::symlink_metadata(&path).is_ok() {
            return Err(Failure(format!(
                "`{}` exists and was left as it is: edit it, or move it away first",
                path.display()
            )));
        }
        if let Some(folder) = path.parent() {
            output::make_folder(folder)?;
        }
        output::write_bytes(&path, false, starter().as_bytes())?;
        output::wrote(&path, "every setting with its default, to edit")?;
        return Ok(Outcome::Done);
    }
    let (settings, trouble) = read_all(&[])?;
    for problem in &trouble {
        output::complain(problem);
    }
    let rows: Vec<Row<'_>> = settings
        .parts()
        .iter()
        .map(|part| Row {
            name: part.setting.name,
            value: &part.value,
            origin: part.origin,
            variable: part.setting.variable(),
            about: part.setting.about,
        })
        .collect();
    if arguments.json {
        output::print_json(&rows)?;
    } else {
        let there = if path.exists() {
            ""
        } else {
            " (not there: `gracerung settings --write` makes it)"
        };
        let rows: Vec<[String; 4]> = rows
            .iter()
            .map(|row| {
                [
                    row.name.to_owned(),
                    row.value.to_string(),
                    row.origin.name().to_owned(),
                    row.about.to_owned(),
                ]
            })
            .collect();
        let pairs = match calibrate::stored() {
            Ok(pairs) if pairs.is_empty() => String::new(),
            Ok(pairs) => format!(
                "measured: {} (`gracerung calibrate --list`)\n",
                wording::count(pairs.len(), "pair of devices", "pairs of devices")
            ),
            Err(failure) => format!("measured: {failure}\n"),
        };
        let text = format!(
            "file: {}{there}\n{pairs}\n{}",
            path.display(),
            table(["setting", "value", "from", "what for"], &rows)
        );
        output::print(&text)?;
    }
    Ok(if trouble.is_empty() {
        Outcome::Done
    } else {
        Outcome::Findings
    })
}

/// A settings file with every default as a comment.
fn starter() -> String {
    use std::fmt::Write as _;
    let mut text =
        String::from("# gracerung settings. Take the `# ` before a line away to change it.\n");
    let mut table = "";
    // In TOML everything below a table's head belongs to it, so what has no table comes first.
    let tabled = |setting: &&crate::settings::Setting| setting.name.contains('.');
    let all = crate::settings::SETTINGS.iter();
    for setting in all
        .clone()
        .filter(|one| !tabled(one))
        .chain(all.filter(tabled))
    {
        let (group, key) = setting.name.split_once('.').unwrap_or(("", setting.name));
        if group != table {
            let _ = write!(text, "\n[{group}]\n");
            table = group;
        }
        let _ = writeln!(text, "# {key} = {}    # {}", setting.usual, setting.about);
    }
    text
}

/// The player's schools.
pub(crate) fn schools(settings: &Settings) -> Schools {
    settings
        .words("school")
        .iter()
        .fold(Schools::none(), |schools, name| {
            schools.clone().with(name).unwrap_or(schools)
        })
}

/// The pitch the settings ask for.
pub(crate) fn tuning(settings: &Settings) -> Tuning {
    let table = match settings.word("tuning") {
        "1954" => TuningTable::MidCentury,
        _ => TuningTable::Modern,
    };
    let la = settings.number("la");
    // `--pipes` beside a file that tunes the practice chanter means the pipes at their own pitch.
    if la > 0.0 && settings.origin("la") >= settings.origin("instrument") {
        return Tuning::with_low_a(Hertz(la), table);
    }
    let instrument = match settings.word("instrument") {
        "pipes" => Instrument::PipeChanter,
        _ => Instrument::PracticeChanter,
    };
    Tuning {
        table,
        ..Tuning::of(instrument)
    }
}

/// The tuning of a command with its flags, which win over the settings.
///
/// # Errors
/// Problems in the settings file or the environment, all of them.
pub(crate) fn sounding(la: Option<Hertz>, pipes: bool, drones: bool) -> Result<Settings, Failure> {
    let mut flags = Vec::new();
    flags.extend(la.map(|la| ("la", la.0.to_string())));
    flags.extend(pipes.then(|| ("instrument", "pipes".to_owned())));
    flags.extend(drones.then(|| ("drones", "true".to_owned())));
    load(&flags)
}

/// The balance of the settings for a file, the loudest bus as loud as it can be: how loud the whole
/// is, is set where it is played. Levels that nobody touched are all full.
pub(crate) fn balance(settings: &Settings) -> Levels {
    let usual = Levels::default();
    let chosen = options(settings).levels;
    let ratio = |bus: Bus| chosen.of(bus).0 / usual.of(bus).0;
    let most = Bus::ALL.into_iter().map(ratio).fold(0.0, f32::max);
    let mut levels = Levels::FULL;
    for bus in Bus::ALL {
        if most > 0.0 {
            levels.set(bus, Gain(ratio(bus) / most));
        } else {
            levels.set(bus, Gain(0.0));
        }
    }
    levels
}

/// How what was heard is judged: what the player set, else what is usual for the chanter.
pub(crate) fn thresholds(settings: &Settings, instrument: Instrument) -> Thresholds {
    let usual = match instrument {
        Instrument::PracticeChanter => Thresholds::default(),
        Instrument::PipeChanter => Thresholds::for_pipes(),
    };
    let of = |name: &str, usual: f64| {
        let name = format!("thresholds.{name}");
        if settings.is_set(&name) {
            settings.number(&name)
        } else {
            usual
        }
    };
    Thresholds {
        gracenote_longest_ms: of("gracenote-longest", usual.gracenote_longest_ms),
        gracenote_longest_low_ms: of("gracenote-longest-low", usual.gracenote_longest_low_ms),
        gracenote_aim_ms: of("gracenote-aim", usual.gracenote_aim_ms),
        tone_shortest_ms: of("tone-shortest", usual.tone_shortest_ms),
        crushed_share: of("crushed", usual.crushed_share),
        crushed_under_ms: of("crushed-under", usual.crushed_under_ms),
        dragged_share: of("dragged", usual.dragged_share),
        dragged_over_ms: of("dragged-over", usual.dragged_over_ms),
        alike: of("alike", usual.alike),
        alike_short: of("alike-short", usual.alike_short),
        alike_short_under_ms: of("alike-short-under", usual.alike_short_under_ms),
        opened_shortest: of("opened-shortest", usual.opened_shortest),
        opened_longest: of("opened-longest", usual.opened_longest),
        opened_alike: of("opened-alike", usual.opened_alike),
        opened_to_ms: None,
        tap_shortest_ms: of("tap-shortest", usual.tap_shortest_ms),
        tap_longest_ms: of("tap-longest", usual.tap_longest_ms),
        crossing_ms: of("crossing", usual.crossing_ms),
        offset_ms: of("offset", usual.offset_ms),
        offset_percent: of("offset-percent", usual.offset_percent),
        drift_percent: of("drift", usual.drift_percent),
        least_confidence: of("confidence", usual.least_confidence),
    }
}

/// Choices for sound and picture.
pub(crate) fn options(settings: &Settings) -> Options {
    let mut levels = Levels::default();
    for (bus, name) in [
        (Bus::Reference, "levels.reference"),
        (Bus::Drones, "levels.drones"),
        (Bus::Click, "levels.click"),
        (Bus::Cue, "levels.cue"),
    ] {
        levels.set(bus, Gain(settings.number(name) as f32));
    }
    let click = settings.word("click");
    Options {
        levels,
        tuning: tuning(settings),
        drones: settings.switch("drones"),
        click_sound: ClickSound::ALL
            .into_iter()
            .find(|sound| sound.name() == click)
            .unwrap_or_default(),
        reference: if settings.switch("alone") {
            ReferencePlan::Silent
        } else {
            ReferencePlan::Every
        },
        hands_free: settings.switch("hands-free"),
        stop_rule: settings.switch("stop-rule"),
        rule: plan::rule(settings),
        left_handed: settings.switch("left-handed"),
        staircase: settings.word("ladder") == "staircase",
        thresholds: thresholds(settings, tuning(settings).instrument),
        by_ear: settings.word("mark-by") == "ear",
        headphones: settings.switch("headphones"),
        ..Options::default()
    }
}

/// Keys that mark as a pedal does, besides the usual ones.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Pedals {
    clean: Vec<KeyCode>,
    not_clean: Vec<KeyCode>,
}

impl Pedals {
    pub(crate) fn of(settings: &Settings) -> Self {
        let keys = |name: &str| {
            settings
                .words(name)
                .iter()
                .filter_map(|word| key(word))
                .collect()
        };
        Self {
            clean: keys("pedal.clean"),
            not_clean: keys("pedal.not-clean"),
        }
    }

    /// The mark a key makes on the page where marks are made.
    pub(crate) fn action(&self, model: &Model, key: KeyEvent) -> Option<Action> {
        if model.page != Page::Practise || model.over.is_some() || model.words.is_some() {
            return None;
        }
        Some(Action::Mark(self.mark(key)?, Hand::Pedal))
    }

    /// What a key says as a pedal does, wherever there is something to say.
    pub(crate) fn mark(&self, key: KeyEvent) -> Option<Mark> {
        if self.clean.contains(&key.code) {
            Some(Mark::Clean)
        } else if self.not_clean.contains(&key.code) {
            Some(Mark::NotClean)
        } else {
            None
        }
    }
}

fn key(word: &str) -> Option<KeyCode> {
    let mut letters = word.chars();
    if let (Some(letter), None) = (letters.next(), letters.next()) {
        return Some(KeyCode::Char(letter));
    }
    let word = word.to_lowercase();
    if let Some(number) = word
        .strip_prefix('f')
        .and_then(|number| number.parse().ok())
    {
        return Some(KeyCode::F(number));
    }
    Some(match word.as_str() {
        "home" => KeyCode::Home,
        "end" => KeyCode::End,
        "insert" => KeyCode::Insert,
        "delete" => KeyCode::Delete,
        "tab" => KeyCode::Tab,
        "backspace" => KeyCode::Backspace,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The table repeats names and numbers of higher rooms; a difference would change a player's
    /// sound or judging just by making a settings file.
    #[test]
    fn settings_that_nobody_touched_are_the_programs_own() {
        let settings = Settings::default();
        let names: Vec<&str> = ClickSound::ALL.iter().map(|sound| sound.name()).collect();
        assert_eq!(crate::settings::CLICKS, names);
        assert_eq!(options(&settings), Options::default());
        let of = |instrument| thresholds(&settings, instrument);
        assert_eq!(of(Instrument::PracticeChanter), Thresholds::default());
        assert_eq!(of(Instrument::PipeChanter), Thresholds::for_pipes());
        assert_eq!(tuning(&settings), Tuning::default());
    }

    /// Files rendered before and after a settings file is made must be the same; a click made
    /// twice as loud must be twice as loud against the rest.
    #[test]
    fn a_file_keeps_the_balance_of_the_settings() {
        assert_eq!(balance(&Settings::default()), Levels::FULL);
        let (settings, problems) = read(Source {
            file: Some("levels.click = 0.9\n"),
            ..Source::default()
        });
        assert!(problems.is_empty(), "{problems:?}");
        let levels = balance(&settings);
        assert_eq!(levels.of(Bus::Click), Gain(1.0));
        assert_eq!(levels.of(Bus::Reference), Gain(0.5));
    }

    /// A file that tunes the practice chanter must not tune the pipes down an octave.
    #[test]
    fn the_pipes_of_a_flag_have_their_own_pitch() {
        let read = |flags: &[(&'static str, String)]| {
            read(Source {
                file: Some("la = 238\n"),
                flags,
                ..Source::default()
            })
            .0
        };
        assert_eq!(tuning(&read(&[])).low_a, Hertz(238.0));
        let pipes = read(&[("instrument", "pipes".to_owned())]);
        assert_eq!(tuning(&pipes).low_a, Hertz(480.0));
    }

    #[test]
    fn the_starter_file_reads_with_and_without_its_comment_signs() {
        let text = starter();
        let plain: String = text
            .lines()
            .skip(1)
            .map(|line| format!("{}\n", line.strip_prefix("# ").unwrap_or(line)))
            .collect();
        for file in [&text, &plain] {
            let (_, problems) = read(Source {
                file: Some(file),
                ..Source::default()
            });
            assert!(problems.is_empty(), "{problems:?}");
        }
    }
}
