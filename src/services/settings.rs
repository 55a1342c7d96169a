//! Loads the settings for a command, reports wrong ones, and converts them to the types of the
//! other rooms.
use super::{Failure, files, folders, needs, output};
use crate::app::Options;
use crate::chanter::{Instrument, Tuning, TuningTable};
use crate::movement::Schools;
use crate::planning::{Order, Rule};
use crate::practice::Thresholds;
use crate::rhythm::ReferencePlan;
use crate::settings::{Id, Key, LARGEST_FILE, Origin, Settings, Source, keys, of, read};
use crate::sound::{Bus, ClickSound, Levels};
use crate::units::{Gain, Hertz, Milliseconds};
use crate::wording;
use std::sync::atomic::{AtomicBool, Ordering};

/// The problem of a setting in words, with the setting.
pub(crate) struct Trouble {
    about: Option<Id>,
    pub(crate) text: String,
}

/// The settings, and their problems in words.
///
/// # Errors
/// The file cannot be read.
pub(crate) fn read_all(flags: &[(Id, String)]) -> Result<(Settings, Vec<Trouble>), Failure> {
    let path = folders::settings()?;
    let shown = path.display().to_string();
    let mut trouble = Vec::new();
    let file = match std::fs::symlink_metadata(&path) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => None,
        _ => {
            let bytes = files::read_bytes(&path, LARGEST_FILE)?;
            match String::from_utf8(bytes) {
                Ok(text) => Some(text.strip_prefix('\u{feff}').unwrap_or(&text).to_owned()),
                Err(error) => {
                    let byte = error.utf8_error().valid_up_to() + 1;
                    trouble.push(Trouble {
                        about: None,
                        text: format!(
                            "{shown}: byte {byte} of the file is not UTF-8 text\n     save it as UTF-8\n"
                        ),
                    });
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
    trouble.extend(problems.iter().map(|one| Trouble {
        about: one.about,
        text: one.render(&shown, &source),
    }));
    Ok((settings, trouble))
}

/// True once a wrong setting was reported. A command may read its settings more than once, and
/// reports only once.
static TOLD: AtomicBool = AtomicBool::new(false);

/// The settings for a command, with its options and the list of settings that it needs. A wrong
/// setting that the command does not need, or that an option overrules, is reported and keeps its
/// default.
///
/// # Errors
/// A needed setting is wrong in the file or the environment; every problem is listed.
pub(crate) fn load(flags: &[(Id, String)], needs: &[&[Id]]) -> Result<Settings, Failure> {
    let (settings, trouble) = read_all(flags)?;
    if trouble.is_empty() {
        return Ok(settings);
    }
    let stops = |id: Id| {
        needs.iter().any(|group| group.contains(&id)) && settings.origin(id) != Origin::Flag
    };
    let all: Vec<&str> = trouble.iter().map(|one| one.text.as_str()).collect();
    let told = format!(
        "the settings have {}:\n{}",
        wording::count(trouble.len(), "problem", "problems"),
        all.concat()
    );
    if trouble.iter().any(|one| one.about.is_some_and(stops)) {
        return Err(Failure(told));
    }
    if !TOLD.swap(true, Ordering::Relaxed) {
        output::complain(&told);
    }
    Ok(settings)
}

/// True where the screen may use colours, by `NO_COLOR` (no-color.org) and the settings.
pub(crate) fn colours(own: &Settings) -> bool {
    std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
        && own.word(keys::COLOURS) != "never"
}

/// The text of a settings file with every default as a comment, and with the given values in place
/// of some.
pub(crate) fn starter(chosen: &[(&str, &str)]) -> String {
    use std::fmt::Write as _;
    let mut text =
        String::from("# gracerung settings. Take the `# ` before a line away to change it.\n");
    let mut table = "";
    // in TOML everything below the header of a table belongs to that table, so settings without a
    // table come first
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
        let value = chosen.iter().find(|(name, _)| *name == setting.name);
        let _ = match value {
            Some((_, value)) => writeln!(text, "{key} = {value}    # {}", setting.about),
            None => writeln!(text, "# {key} = {}    # {}", setting.usual, setting.about),
        };
    }
    text
}

/// The player's schools.
pub(crate) fn schools(settings: &Settings) -> Schools {
    settings
        .words(keys::SCHOOL)
        .iter()
        .fold(Schools::none(), |schools, name| {
            schools.clone().with(name).unwrap_or(schools)
        })
}

/// The tuning that the settings ask for.
pub(crate) fn tuning(settings: &Settings) -> Tuning {
    let table = match settings.word(keys::TUNING) {
        "1954" => TuningTable::MidCentury,
        _ => TuningTable::Modern,
    };
    if gives_low_a(settings) {
        return Tuning::with_low_a(Hertz(settings.number(keys::LA)), table);
    }
    let instrument = match settings.word(keys::INSTRUMENT) {
        "pipes" => Instrument::PipeChanter,
        _ => Instrument::PracticeChanter,
    };
    Tuning {
        table,
        ..Tuning::of(instrument)
    }
}

/// True where the settings give low A itself and not only the chanter. With `--pipes`, a low A that
/// a file gives for the practice chanter does not count.
pub(crate) fn gives_low_a(settings: &Settings) -> bool {
    settings.number(keys::LA) > 0.0
        && settings.origin(keys::LA.id()) >= settings.origin(keys::INSTRUMENT.id())
}

/// The settings with a command's sound options, which overrule them.
///
/// # Errors
/// All problems in the settings file and the environment.
pub(crate) fn sounding(la: Option<Hertz>, pipes: bool, drones: bool) -> Result<Settings, Failure> {
    let mut flags = Vec::new();
    flags.extend(la.map(|la| (keys::LA.id(), la.0.to_string())));
    flags.extend(pipes.then(|| (keys::INSTRUMENT.id(), "pipes".to_owned())));
    flags.extend(drones.then(|| (keys::DRONES.id(), "true".to_owned())));
    load(&flags, &[needs::SOUND])
}

/// The balance of the levels for a file, with the loudest bus at full level, because the overall
/// loudness is chosen on playback. Where no level was changed all are full.
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

/// The thresholds of judging: the player's own, or else the usual ones of the chanter.
pub(crate) fn thresholds(settings: &Settings, instrument: Instrument) -> Thresholds {
    let usual = match instrument {
        Instrument::PracticeChanter => Thresholds::default(),
        Instrument::PipeChanter => Thresholds::for_pipes(),
    };
    let of = |key: Key<of::Number>, usual: f64| {
        if settings.is_set(key.id()) {
            settings.number(key)
        } else {
            usual
        }
    };
    let length = |key: Key<of::Number>, usual: Milliseconds| Milliseconds(of(key, usual.0));
    Thresholds {
        gracenote_longest: length(keys::THRESHOLDS_GRACENOTE_LONGEST, usual.gracenote_longest),
        gracenote_longest_low: length(
            keys::THRESHOLDS_GRACENOTE_LONGEST_LOW,
            usual.gracenote_longest_low,
        ),
        gracenote_aim: length(keys::THRESHOLDS_GRACENOTE_AIM, usual.gracenote_aim),
        tone_shortest: length(keys::THRESHOLDS_TONE_SHORTEST, usual.tone_shortest),
        crushed_share: of(keys::THRESHOLDS_CRUSHED, usual.crushed_share),
        crushed_under: length(keys::THRESHOLDS_CRUSHED_UNDER, usual.crushed_under),
        dragged_share: of(keys::THRESHOLDS_DRAGGED, usual.dragged_share),
        dragged_over: length(keys::THRESHOLDS_DRAGGED_OVER, usual.dragged_over),
        alike: of(keys::THRESHOLDS_ALIKE, usual.alike),
        alike_short: of(keys::THRESHOLDS_ALIKE_SHORT, usual.alike_short),
        alike_short_under: length(keys::THRESHOLDS_ALIKE_SHORT_UNDER, usual.alike_short_under),
        opened_shortest: of(keys::THRESHOLDS_OPENED_SHORTEST, usual.opened_shortest),
        opened_longest: of(keys::THRESHOLDS_OPENED_LONGEST, usual.opened_longest),
        opened_alike: of(keys::THRESHOLDS_OPENED_ALIKE, usual.opened_alike),
        opened_to: None,
        tap_shortest: length(keys::THRESHOLDS_TAP_SHORTEST, usual.tap_shortest),
        tap_longest: length(keys::THRESHOLDS_TAP_LONGEST, usual.tap_longest),
        crossing: length(keys::THRESHOLDS_CROSSING, usual.crossing),
        offset: length(keys::THRESHOLDS_OFFSET, usual.offset),
        offset_percent: of(keys::THRESHOLDS_OFFSET_PERCENT, usual.offset_percent),
        drift_percent: of(keys::THRESHOLDS_DRIFT, usual.drift_percent),
        least_confidence: of(keys::THRESHOLDS_CONFIDENCE, usual.least_confidence),
    }
}

/// The player's choices for sound and picture.
pub(crate) fn options(settings: &Settings) -> Options {
    let mut levels = Levels::default();
    for (bus, key) in [
        (Bus::Reference, keys::LEVELS_REFERENCE),
        (Bus::Drones, keys::LEVELS_DRONES),
        (Bus::Click, keys::LEVELS_CLICK),
        (Bus::Cue, keys::LEVELS_CUE),
    ] {
        levels.set(bus, Gain(settings.number(key) as f32));
    }
    let click = settings.word(keys::CLICK);
    Options {
        levels,
        tuning: tuning(settings),
        drones: settings.switch(keys::DRONES),
        click_sound: ClickSound::ALL
            .into_iter()
            .find(|sound| sound.name() == click)
            .unwrap_or_default(),
        reference: if settings.switch(keys::ALONE) {
            ReferencePlan::Silent
        } else {
            ReferencePlan::Every
        },
        hands_free: settings.switch(keys::HANDS_FREE),
        stop_rule: settings.switch(keys::STOP_RULE),
        rule: rule(settings),
        left_handed: settings.switch(keys::LEFT_HANDED),
        staircase: settings.word(keys::LADDER) == "staircase",
        thresholds: thresholds(settings, tuning(settings).instrument),
        by_ear: settings.word(keys::MARK_BY) == "ear",
        headphones: settings.switch(keys::HEADPHONES),
        ..Options::default()
    }
}

/// The rule by which a day is planned.
pub(crate) fn rule(settings: &Settings) -> Rule {
    Rule {
        first_gap: settings.number(keys::PLAN_FIRST_GAP) as i32,
        growth: settings.number(keys::PLAN_GAP_GROWTH),
        longest_gap: settings.number(keys::PLAN_LONGEST_GAP) as i32,
        minutes: settings.number(keys::PLAN_MINUTES) as u32,
        new: settings.number(keys::PLAN_NEW) as usize,
        order: match settings.word(keys::PLAN_ORDER) {
            "mix" => Order::Mix,
            _ => Order::Block,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The settings' table repeats defaults of other rooms. A difference would change a player's
    /// sound or judging merely because a settings file was made.
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

    /// A file rendered before a settings file was made must equal one rendered after it. A click
    /// that is set twice as loud must be twice as loud relative to the rest.
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

    /// A settings file that tunes the practice chanter must not tune the pipes an octave down.
    #[test]
    fn the_pipes_of_a_flag_have_their_own_pitch() {
        let read = |flags: &[(Id, String)]| {
            read(Source {
                file: Some("la = 238\n"),
                flags,
                ..Source::default()
            })
            .0
        };
        assert_eq!(tuning(&read(&[])).low_a, Hertz(238.0));
        let pipes = read(&[(keys::INSTRUMENT.id(), "pipes".to_owned())]);
        assert_eq!(tuning(&pipes).low_a, Hertz(480.0));
    }
    #[test]
    fn the_starter_file_reads_with_and_without_its_comment_signs() {
        let text = starter(&[]);
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
