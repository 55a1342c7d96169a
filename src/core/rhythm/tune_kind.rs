//! What kind of tune some words name, as far as a rule of the trade depends on it.

use crate::wording;

/// True of a pibroch or of its ground, by their English or Gaelic names, with accents and without.
pub fn names_pibroch(kind: &str) -> bool {
    let kind = wording::without_accents(&kind.to_lowercase());
    let names = ["pibroch", "piobaireachd", "ceol mor", "ground", "urlar"];
    names.iter().any(|name| kind.contains(name))
}

/// True of an air.
pub fn names_air(kind: &str) -> bool {
    has_word(kind, &["air", "airs"])
}

/// True where one of some words, in small letters, stands in a name.
pub(super) fn has_word(kind: &str, wanted: &[&str]) -> bool {
    let kind = kind.to_lowercase();
    kind.split(|sign: char| !sign.is_alphanumeric())
        .any(|word| wanted.contains(&word))
}
