//! Makes one value from the words of the environment, of a flag or of the file.

use super::table::{Setting, SettingKind};
use super::value::Value;
use crate::movement::Schools;
use crate::wording;

pub(super) fn meant(nearest: Option<&str>) -> String {
    nearest.map_or_else(String::new, |name| format!("; did you mean `{name}`?"))
}

pub(super) fn expectation(kind: SettingKind) -> String {
    match kind {
        SettingKind::Switch => "`true` or `false`".to_owned(),
        SettingKind::Number(least, most) => format!("a number from {least} to {most}"),
        SettingKind::Whole(least, most) => format!("a whole number from {least} to {most}"),
        SettingKind::NoneOr(least, most) => {
            format!("a number from {least} to {most}, or 0 for what is usual")
        }
        SettingKind::OneOf(choices) => {
            let quoted: Vec<String> = choices.iter().map(|word| format!("`{word}`")).collect();
            wording::choice(&quoted)
        }
        SettingKind::Schools => "a list of schools such as `[\"heavy-throw\"]`".to_owned(),
        SettingKind::Keys => "a list of keys such as `[\"f5\", \"b\"]`".to_owned(),
        SettingKind::Text => "a text in quotes".to_owned(),
    }
}

pub(super) fn checked(setting: &Setting, number: Option<f64>) -> Option<Value> {
    let number = number.filter(|number| number.is_finite())?;
    let fits = match setting.kind {
        SettingKind::NoneOr(least, most) => number == 0.0 || (least..=most).contains(&number),
        SettingKind::Number(least, most) => (least..=most).contains(&number),
        SettingKind::Whole(least, most) => {
            number.fract() == 0.0 && (least as f64..=most as f64).contains(&number)
        }
        _ => false,
    };
    fits.then_some(Value::Number(number))
}

/// Makes a value from one word, as the environment and flags give it. Lists are split at commas.
/// The error is a text that says what was expected.
pub(super) fn from_words(setting: &Setting, word: &str) -> Result<Value, String> {
    let expected = || expectation(setting.kind);
    let plain = word.trim();
    match setting.kind {
        SettingKind::Switch => match plain.to_lowercase().as_str() {
            "true" | "yes" | "on" | "1" => Ok(Value::Switch(true)),
            "false" | "no" | "off" | "0" => Ok(Value::Switch(false)),
            _ => Err(expected()),
        },
        SettingKind::Number(..) | SettingKind::Whole(..) | SettingKind::NoneOr(..) => {
            checked(setting, plain.parse().ok()).ok_or_else(expected)
        }
        SettingKind::OneOf(choices) => {
            if choices.contains(&plain) {
                return Ok(Value::Word(plain.to_owned()));
            }
            let nearest = wording::nearest(plain, choices.iter().copied());
            Err(format!("{}{}", expected(), meant(nearest)))
        }
        SettingKind::Text => {
            if plain.chars().any(char::is_control) || plain.chars().count() > 200 {
                return Err("one line of at most 200 characters".to_owned());
            }
            Ok(Value::Word(plain.to_owned()))
        }
        SettingKind::Schools | SettingKind::Keys => {
            let words = plain
                .split(',')
                .map(|word| word.trim().to_owned())
                .filter(|word| !word.is_empty())
                .collect();
            words_of(setting, words)
        }
    }
}

pub(super) fn words_of(setting: &Setting, words: Vec<String>) -> Result<Value, String> {
    if setting.kind == SettingKind::Schools {
        let mut schools = Schools::none();
        for word in &words {
            schools = schools.with(word).map_err(|error| error.to_string())?;
        }
        let names = schools.names().iter().map(|name| (*name).to_owned());
        return Ok(Value::Words(names.collect()));
    }
    let known = |word: &String| {
        let function = word
            .strip_prefix(['f', 'F'])
            .and_then(|number| number.parse::<u8>().ok());
        word.chars().count() == 1
            || function.is_some_and(|number| (1..=24).contains(&number))
            || NAMED_KEYS.contains(&word.to_lowercase().as_str())
    };
    match words.iter().find(|word| !known(word)) {
        None => Ok(Value::Words(words)),
        Some(word) => Err(format!(
            "keys: a single letter, `f1` to `f24`, {}; not `{word}`",
            wording::choice(NAMED_KEYS)
        )),
    }
}

/// Names of the keys that a pedal may send, besides letters and function keys.
const NAMED_KEYS: &[&str] = &["home", "end", "insert", "delete", "tab", "backspace"];

/// The default of a setting.
pub(super) fn usual(setting: &Setting) -> Value {
    let word = setting.usual.trim_matches('"').trim_matches(['[', ']']);
    from_words(setting, word).unwrap_or(Value::Word(String::new()))
}
