//! Reads settings from the file, the environment and the flags, and reports every problem found.

use super::layered::{Origin, Settings};
use super::problem::SettingProblem;
use super::table::{Id, SETTINGS, Setting, SettingKind, id_of, setting};
use super::value::Value;
use super::words::{checked, expectation, from_words, meant, words_of};
use crate::drill::Place;
use crate::wording;
use std::ops::Range;
use toml::de::{DeTable, DeValue};

/// The largest settings file that is read, in bytes (chosen: a hundred times what all settings
/// need).
pub const LARGEST_FILE: usize = 256 * 1024;

/// The sources that settings are read from.
#[derive(Debug, Clone, Copy, Default)]
pub struct Source<'a> {
    /// The text of the settings file; none when there is no file.
    pub file: Option<&'a str>,
    /// Variables of the environment that begin with `GRACERUNG_`, and their values.
    pub environment: &'a [(String, String)],
    /// The flags given on the command line: each setting with its value as text.
    pub flags: &'a [(Id, String)],
}

/// Reads settings. A setting with a problem keeps the value it would have without that source.
pub fn read(source: Source<'_>) -> (Settings, Vec<SettingProblem>) {
    let mut settings = Settings::default();
    let mut problems = Vec::new();
    if let Some(text) = source.file {
        read_file(text, &mut settings, &mut problems);
    }
    for (variable, word) in source.environment {
        let Some(setting) = SETTINGS
            .iter()
            .find(|setting| setting.variable() == *variable)
        else {
            let names: Vec<String> = SETTINGS.iter().map(Setting::variable).collect();
            let nearest = wording::nearest(variable, names.iter().map(String::as_str));
            problems.push(SettingProblem {
                about: None,
                place: None,
                says: format!("the variable `{variable}` is no setting{}", meant(nearest)),
                mend: Some("`gracerung settings` lists them".to_owned()),
            });
            continue;
        };
        match from_words(setting, word) {
            Ok(value) => settings.put(setting, value, Origin::Environment),
            Err(expected) => problems.push(SettingProblem {
                about: id_of(setting.name),
                place: None,
                says: format!("the variable `{variable}` is `{word}`; expected {expected}"),
                mend: None,
            }),
        }
    }
    for (id, word) in source.flags {
        if let Some(setting) = SETTINGS.get(id.0)
            && let Ok(value) = from_words(setting, word)
        {
            settings.put(setting, value, Origin::Flag);
        }
    }
    settings.wrong = problems.len();
    (settings, problems)
}

fn read_file(text: &str, settings: &mut Settings, problems: &mut Vec<SettingProblem>) {
    let text_at = |span: Range<usize>| place(text, &span);
    if text.len() > LARGEST_FILE {
        problems.push(SettingProblem {
            about: None,
            place: Some(place(text, &(0..0))),
            says: format!(
                "the file has {} bytes; at most {LARGEST_FILE} are read",
                text.len()
            ),
            mend: None,
        });
        return;
    }
    // A line that is not TOML is reported, and the rest of the file is read without it.
    let mut rest = text.to_owned();
    for _ in 0..MOST_TORN {
        let (table, errors) = DeTable::parse_recoverable(&rest);
        if errors.is_empty() {
            let mut more = 0;
            read_table("", table.get_ref(), text, settings, problems, &mut more);
            if more > 0 {
                problems.push(SettingProblem {
                    about: None,
                    place: None,
                    says: format!("and {more} more names are no settings"),
                    mend: None,
                });
            }
            return;
        }
        let error = &errors[0];
        let at = text_at(error.span().unwrap_or(0..0));
        problems.push(SettingProblem {
            about: named_in(text, at.line),
            place: Some(at),
            says: format!("this is not TOML: {}", error.message().replace('\n', "; ")),
            mend: Some("write lines such as `la = 236`, with words in quotes".to_owned()),
        });
        let Some(without) = blanked(&rest, at.line) else {
            return;
        };
        rest = without;
    }
}

/// The most unknown names that are reported one by one, each with a similar name; the rest are only
/// counted. Looking up thousands of names would take seconds.
const MOST_UNKNOWN: usize = 20;

/// The most lines that are reported as not TOML. A file with more of them is some other kind of
/// file.
const MOST_TORN: usize = 20;

/// The text with one line replaced by spaces, so that all other places stay the same. None when the
/// line is empty already.
fn blanked(text: &str, line: usize) -> Option<String> {
    let lines: Vec<&str> = text.split_inclusive('\n').collect();
    let torn = lines.get(line.checked_sub(1)?)?;
    if torn.trim().is_empty() {
        return None;
    }
    let spaces = torn
        .bytes()
        .map(|byte| if byte == b'\n' { '\n' } else { ' ' });
    let before = lines.iter().take(line - 1).copied().collect::<String>();
    let after = lines.iter().skip(line).copied().collect::<String>();
    Some(before + &spaces.collect::<String>() + &after)
}

/// The setting that a line seems to set: the name before `=`, in the table that the line belongs
/// to.
fn named_in(text: &str, line: usize) -> Option<Id> {
    let lines: Vec<&str> = text.lines().take(line).collect();
    let name = lines.last()?.split('=').next()?.trim();
    let table = lines.iter().rev().find_map(|line| {
        let inner = line.trim().strip_prefix('[')?;
        Some(inner.split(']').next().unwrap_or_default().trim())
    });
    match table {
        Some(table) => id_of(&format!("{table}.{name}")),
        None => id_of(name.split_whitespace().next().unwrap_or_default()),
    }
}

fn read_table(
    before: &str,
    table: &DeTable<'_>,
    text: &str,
    settings: &mut Settings,
    problems: &mut Vec<SettingProblem>,
    more: &mut usize,
) {
    for (key, value) in table {
        let name = format!("{before}{}", key.get_ref());
        let group = format!("{name}.");
        if let DeValue::Table(inner) = value.get_ref()
            && before.is_empty()
            && SETTINGS
                .iter()
                .any(|setting| setting.name.starts_with(&group))
        {
            read_table(&group, inner, text, settings, problems, more);
            continue;
        }
        let Some(setting) = setting(&name) else {
            if problems.len() >= MOST_UNKNOWN {
                *more += 1;
                continue;
            }
            let names = SETTINGS.iter().map(|setting| setting.name);
            let known = names.clone().filter(|known| {
                known
                    .strip_prefix(before)
                    .is_some_and(|rest| !rest.contains('.'))
            });
            let nearest = wording::nearest(&name, names);
            let mend = match nearest {
                Some(nearest) => {
                    format!(
                        "write `{}`",
                        nearest.strip_prefix(before).unwrap_or(nearest)
                    )
                }
                None => format!("known here: {}", wording::list(&known.collect::<Vec<_>>())),
            };
            problems.push(SettingProblem {
                about: None,
                place: Some(place(text, &key.span())),
                says: format!("`{name}` is no setting{}", meant(nearest)),
                mend: Some(mend),
            });
            continue;
        };
        match from_toml(setting, value.get_ref()) {
            Ok(value) => settings.put(setting, value, Origin::File),
            Err((found, expected)) => problems.push(SettingProblem {
                about: id_of(setting.name),
                place: Some(place(text, &value.span())),
                says: format!("`{name}` is {found}; expected {expected}"),
                mend: Some(format!(
                    "write `{} = {}`, or another that fits",
                    key.get_ref(),
                    example(setting)
                )),
            }),
        }
    }
}

fn example(setting: &Setting) -> &'static str {
    match setting.kind {
        SettingKind::Schools => "[\"heavy-throw\"]",
        SettingKind::Keys => "[\"f5\"]",
        _ => setting.usual,
    }
}

/// What was found and what was expected.
type Misfit = (String, String);

fn from_toml(setting: &Setting, value: &DeValue<'_>) -> Result<Value, Misfit> {
    let expected = expectation(setting.kind);
    let wrong = |found: String| (found, expected.clone());
    let number = |text: &str| text.replace('_', "").parse::<f64>().ok();
    match (setting.kind, value) {
        (SettingKind::Switch, DeValue::Boolean(on)) => Ok(Value::Switch(*on)),
        (
            SettingKind::Number(..) | SettingKind::Whole(..) | SettingKind::NoneOr(..),
            DeValue::Integer(found),
        ) => checked(setting, number(found.as_str()))
            .ok_or_else(|| wrong(format!("`{}`", found.as_str()))),
        (
            SettingKind::Number(..) | SettingKind::Whole(..) | SettingKind::NoneOr(..),
            DeValue::Float(found),
        ) => checked(setting, number(found.as_str()))
            .ok_or_else(|| wrong(format!("`{}`", found.as_str()))),
        (
            SettingKind::OneOf(_) | SettingKind::Text | SettingKind::Schools | SettingKind::Keys,
            DeValue::String(word),
        ) => from_words(setting, word).map_err(|expected| (format!("`{word}`"), expected)),
        (SettingKind::Schools | SettingKind::Keys, DeValue::Array(items)) => {
            let mut words = Vec::new();
            for item in items {
                match item.get_ref() {
                    DeValue::String(word) => words.push(word.to_string()),
                    other => {
                        return Err(wrong(format!("a list with {}", described(other))));
                    }
                }
            }
            words_of(setting, words).map_err(|expected| ("a list".to_owned(), expected))
        }
        (_, other) => Err(wrong(described(other))),
    }
}

fn described(value: &DeValue<'_>) -> String {
    match value {
        DeValue::String(word) => format!("the text `{word}`"),
        DeValue::Integer(number) => format!("the number `{}`", number.as_str()),
        DeValue::Float(number) => format!("the number `{}`", number.as_str()),
        DeValue::Boolean(on) => format!("`{on}`"),
        DeValue::Datetime(_) => "a date".to_owned(),
        DeValue::Array(_) => "a list".to_owned(),
        DeValue::Table(_) => "a table".to_owned(),
    }
}

/// The line and column of a byte range, counted as editors do.
fn place(text: &str, span: &Range<usize>) -> Place {
    let start = (0..=span.start.min(text.len()))
        .rev()
        .find(|at| text.is_char_boundary(*at))
        .unwrap_or(0);
    let before = &text[..start];
    let line_start = before.rfind('\n').map_or(0, |at| at + 1);
    let rest = text[start..].lines().next().unwrap_or_default();
    let width = rest
        .char_indices()
        .take_while(|(at, _)| start + at < span.end)
        .count();
    Place {
        line: before.matches('\n').count() + 1,
        column: before[line_start..].chars().count() + 1,
        width: width.max(1),
    }
}

#[cfg(test)]
mod tests {
    use super::super::words::usual;
    use super::*;
    use crate::settings::keys;

    fn of(file: &str) -> (Settings, Vec<SettingProblem>) {
        read(Source {
            file: Some(file),
            ..Source::default()
        })
    }

    #[track_caller]
    fn check(file: &str, expected: &str) {
        let (_, problems) = of(file);
        let text: String = problems
            .iter()
            .map(|one| one.render("settings.toml", file))
            .collect();
        assert_eq!(text, expected);
    }

    /// A default that breaks the rule of its own setting would silently become an empty word.
    #[test]
    fn every_default_is_what_its_own_rule_allows() {
        for setting in SETTINGS {
            let file = match setting.name.split_once('.') {
                Some((table, key)) => format!("[{table}]\n{key} = {}\n", setting.usual),
                None => format!("{} = {}\n", setting.name, setting.usual),
            };
            let (settings, problems) = of(&file);
            assert!(problems.is_empty(), "{}: {problems:?}", setting.name);
            let part = settings
                .parts()
                .iter()
                .find(|part| part.setting.name == setting.name);
            assert_eq!(part.map(|part| &part.value), Some(&usual(setting)));
            assert_eq!(part.map(|part| part.origin), Some(Origin::File));
        }
    }

    #[test]
    fn flags_win_over_the_environment_and_that_over_the_file() {
        let environment = [
            ("GRACERUNG_LA".to_owned(), "238".to_owned()),
            ("GRACERUNG_CLICK".to_owned(), "wood".to_owned()),
        ];
        let flags = [(keys::CLICK.id(), "bell".to_owned())];
        let (settings, problems) = read(Source {
            file: Some("la = 236\ndrones = true\n"),
            environment: &environment,
            flags: &flags,
        });
        assert!(problems.is_empty());
        assert_eq!(settings.number(keys::LA), 238.0);
        assert_eq!(settings.word(keys::CLICK), "bell");
        assert!(settings.switch(keys::DRONES));
        let origin = |name: &str| {
            let part = settings
                .parts()
                .iter()
                .find(|part| part.setting.name == name);
            part.map(|part| part.origin)
        };
        assert_eq!(origin("la"), Some(Origin::Environment));
        assert_eq!(origin("click"), Some(Origin::Flag));
        assert_eq!(origin("drones"), Some(Origin::File));
        assert_eq!(origin("tuning"), Some(Origin::Default));
    }

    #[test]
    fn a_wrong_setting_is_told_with_its_line_a_caret_and_how_to_mend_it() {
        check(
            "la = 236\nclik = \"wood\"\n",
            "settings.toml:2:1: `clik` is no setting; did you mean `click`?\n 2 | clik = \"wood\"\n   | ^^^^\n     write `click`\n",
        );
        check(
            "[levels]\nclick = 3\n",
            "settings.toml:2:9: `levels.click` is `3`; expected a number from 0 to 1\n 2 | click = 3\n   |         ^\n     write `click = 0.45`, or another that fits\n",
        );
        check(
            "click = \"wod\"\n",
            "settings.toml:1:9: `click` is `wod`; expected `tick`, `pip`, `wood` or `bell`; did you mean `wood`?\n 1 | click = \"wod\"\n   |         ^^^^^\n     write `click = \"tick\"`, or another that fits\n",
        );
    }

    #[test]
    fn the_stop_rule_is_on_or_off() {
        check(
            "stop-rule = \"never\"\n",
            "settings.toml:1:13: `stop-rule` is the text `never`; expected `true` or `false`\n 1 | stop-rule = \"never\"\n   |             ^^^^^^^\n     write `stop-rule = true`, or another that fits\n",
        );
        assert!(of("").0.switch(keys::STOP_RULE));
        assert!(!of("stop-rule = false\n").0.switch(keys::STOP_RULE));
    }

    /// The message for a wrong pitch names the range of chanters, not 0 to 520.
    #[test]
    fn a_pitch_is_that_of_a_chanter_or_none() {
        check(
            "la = 100\n",
            "settings.toml:1:6: `la` is `100`; expected a number from 200 to 520, or 0 for what is usual\n 1 | la = 100\n   |      ^^^\n     write `la = 0`, or another that fits\n",
        );
    }

    /// A mistake in one line must not affect the other settings.
    #[test]
    fn a_line_that_is_no_toml_costs_that_line_alone() {
        let (settings, problems) = of("la 236\ndrones = true\n[levels]\nclick = 0.3\n");
        assert_eq!(problems.len(), 1, "{problems:?}");
        assert_eq!(problems[0].about, Some(keys::LA.id()));
        assert!(settings.switch(keys::DRONES));
        assert_eq!(settings.number(keys::LEVELS_CLICK), 0.3);
        assert_eq!(settings.wrong(), 1);
    }

    /// Finding the most similar name and the line number for each of many unknown names would take
    /// seconds, so only the first twenty are looked up.
    #[test]
    fn many_names_that_are_none_cost_twenty_problems() {
        let file: String = (0..1000).map(|n| format!("refernce{n} = {n}\n")).collect();
        let (_, problems) = of(&file);
        assert_eq!(problems.len(), MOST_UNKNOWN + 1);
        assert_eq!(problems[20].says, "and 980 more names are no settings");
    }

    #[test]
    fn every_problem_of_a_file_is_told_at_once_and_the_rest_holds() {
        let (settings, problems) = of("la = 100\nname = 3\nhands-free = \"x\"\ndrones = true\n");
        assert_eq!(problems.len(), 3);
        assert!(settings.switch(keys::DRONES));
        assert_eq!(settings.number(keys::LA), 0.0);
    }

    proptest::proptest! {
        /// Any text in the file is either read or reported, and never causes a panic.
        #[test]
        fn any_text_is_read_or_told(text in "[a-z\\[\\]=\"\\n .0-9é#-]{0,80}") {
            let (_, problems) = of(&text);
            for problem in problems {
                proptest::prop_assert!(!problem.render("x", &text).is_empty());
            }
        }
    }
}
