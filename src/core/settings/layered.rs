//! All settings together, each with the source of its value.

use super::table::{Id, Key, SETTINGS, Setting, of};
use super::value::Value;
use super::words::usual;
use serde::Serialize;

/// The source of a value. A later variant takes precedence over an earlier one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Origin {
    /// The default, because no source sets the value.
    Default,
    /// The settings file.
    File,
    /// An environment variable.
    Environment,
    /// A command-line flag.
    Flag,
}

impl Origin {
    /// The word for this source.
    pub fn name(self) -> &'static str {
        match self {
            Self::Default => "default",
            Self::File => "file",
            Self::Environment => "environment",
            Self::Flag => "flag",
        }
    }
}

/// One setting with its present value.
#[derive(Debug, Clone, PartialEq)]
pub struct SettingNow {
    /// The setting.
    pub setting: &'static Setting,
    /// Its value.
    pub value: Value,
    /// The source of its value.
    pub origin: Origin,
}

/// The values of all settings, in the order of the table.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    parts: Vec<SettingNow>,
    /// How many problems were found when the settings were read.
    pub(super) wrong: usize,
}

impl Default for Settings {
    fn default() -> Self {
        let parts = SETTINGS
            .iter()
            .map(|setting| SettingNow {
                setting,
                value: usual(setting),
                origin: Origin::Default,
            })
            .collect();
        Self { parts, wrong: 0 }
    }
}

impl Settings {
    /// Every setting with its value, in the order of the table.
    pub fn parts(&self) -> &[SettingNow] {
        &self.parts
    }

    /// Sets a value, unless its present value comes from a source that takes precedence.
    pub(super) fn put(&mut self, setting: &Setting, value: Value, origin: Origin) {
        if let Some(part) = self
            .parts
            .iter_mut()
            .find(|part| part.setting.name == setting.name)
            && origin >= part.origin
        {
            part.value = value;
            part.origin = origin;
        }
    }

    /// How many problems were found when the settings were read. A setting with a problem keeps the
    /// value it would have without it.
    pub fn wrong(&self) -> usize {
        self.wrong
    }

    fn part(&self, id: Id) -> Option<&SettingNow> {
        self.parts.get(id.0)
    }

    /// The source of a setting's value.
    pub fn origin(&self, id: Id) -> Origin {
        self.part(id).map_or(Origin::Default, |part| part.origin)
    }

    /// True when the file, the environment or a flag sets the value.
    pub fn is_set(&self, id: Id) -> bool {
        self.origin(id) != Origin::Default
    }

    fn value<T>(&self, key: &Key<T>) -> Option<&Value> {
        self.part(key.id()).map(|part| &part.value)
    }

    /// The value of a switch: true for on.
    pub fn switch(&self, key: Key<of::Switch>) -> bool {
        matches!(self.value(&key), Some(Value::Switch(true)))
    }

    /// The value of a setting that is a number.
    pub fn number(&self, key: Key<of::Number>) -> f64 {
        match self.value(&key) {
            Some(Value::Number(number)) => *number,
            _ => 0.0,
        }
    }

    /// The value of a setting that is a word or a text.
    pub fn word(&self, key: Key<of::Word>) -> &str {
        match self.value(&key) {
            Some(Value::Word(word)) => word,
            _ => "",
        }
    }

    /// The value of a setting that is a word or a text; none when it is empty.
    pub fn given(&self, key: Key<of::Word>) -> Option<&str> {
        Some(self.word(key)).filter(|word| !word.is_empty())
    }

    /// The value of a setting that is a list of words.
    pub fn words(&self, key: Key<of::Words>) -> &[String] {
        match self.value(&key) {
            Some(Value::Words(words)) => words,
            _ => &[],
        }
    }
}
