//! The value of a setting.

use serde::{Serialize, Serializer};

/// A value.
#[derive(Debug, Clone, PartialEq)]
pub enum Value {
    /// On or off.
    Switch(bool),
    /// A number.
    Number(f64),
    /// A word or a text.
    Word(String),
    /// Several words.
    Words(Vec<String>),
}

impl Serialize for Value {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Switch(on) => serializer.serialize_bool(*on),
            Self::Number(number) if number.fract() == 0.0 => {
                serializer.serialize_i64(*number as i64)
            }
            Self::Number(number) => serializer.serialize_f64(*number),
            Self::Word(word) => serializer.serialize_str(word),
            Self::Words(words) => serializer.collect_seq(words),
        }
    }
}

impl std::fmt::Display for Value {
    /// Writes the value as in the settings file.
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Switch(on) => on.fmt(f),
            Self::Number(number) => number.fmt(f),
            Self::Word(word) => write!(f, "\"{word}\""),
            Self::Words(words) => {
                let quoted: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
                write!(f, "[{}]", quoted.join(", "))
            }
        }
    }
}
