//! All settings together, each with where its value came from.

use super::table::{Id, Key, SETTINGS, Setting, of};
use super::value::Value;
use super::words::usual;
use serde::Serialize;

/// Where a value came from; a later one wins over an earlier one.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Origin {
    /// Nobody said anything.
    Default,
    /// The settings file.
    File,
    /// A variable of the environment.
    Environment,
    /// A flag of the command.
    Flag,
}

impl Origin {
    /// The word for it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Default => "default",
            Self::File => "file",
            Self::Environment => "environment",
            Self::Flag => "flag",
        }
    }
}

/// One setting as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct SettingNow {
    /// The setting.
    pub setting: &'static Setting,
    /// Its value.
    pub value: Value,
    /// Where it came from.
    pub origin: Origin,
}

/// All settings, one part each, in the order of the table.
#[derive(Debug, Clone, PartialEq)]
pub struct Settings {
    parts: Vec<SettingNow>,
    /// How many problems were found while they were read.
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
    /// Every setting, in the order of the table.
    pub fn parts(&self) -> &[SettingNow] {
        &self.parts
    }

    /// Puts a value, unless one that wins over it stands.
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

    /// How many problems were found while they were read: what had one stands at its default.
    pub fn wrong(&self) -> usize {
        self.wrong
    }

    fn part(&self, id: Id) -> Option<&SettingNow> {
        self.parts.get(id.0)
    }

    /// Where a setting's value came from.
    pub fn origin(&self, id: Id) -> Origin {
        self.part(id).map_or(Origin::Default, |part| part.origin)
    }

    /// True where the player said something: in the file, the environment or a flag.
    pub fn is_set(&self, id: Id) -> bool {
        self.origin(id) != Origin::Default
    }

    fn value<T>(&self, key: &Key<T>) -> Option<&Value> {
        self.part(key.id()).map(|part| &part.value)
    }

    /// A switch.
    pub fn switch(&self, key: Key<of::Switch>) -> bool {
        matches!(self.value(&key), Some(Value::Switch(true)))
    }

    /// A number.
    pub fn number(&self, key: Key<of::Number>) -> f64 {
        match self.value(&key) {
            Some(Value::Number(number)) => *number,
            _ => 0.0,
        }
    }

    /// A word or a text.
    pub fn word(&self, key: Key<of::Word>) -> &str {
        match self.value(&key) {
            Some(Value::Word(word)) => word,
            _ => "",
        }
    }

    /// A word or a text; none where it is empty.
    pub fn given(&self, key: Key<of::Word>) -> Option<&str> {
        Some(self.word(key)).filter(|word| !word.is_empty())
    }

    /// Words.
    pub fn words(&self, key: Key<of::Words>) -> &[String] {
        match self.value(&key) {
            Some(Value::Words(words)) => words,
            _ => &[],
        }
    }
}
