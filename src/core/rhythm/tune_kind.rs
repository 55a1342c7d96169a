//! Which kind of tune a name describes, as far as the rules of the trade depend on it.

use crate::wording;

/// True when the words name a pibroch or its ground, in English or Gaelic, with or without accents.
pub fn names_pibroch(kind: &str) -> bool {
    let kind = wording::without_accents(&kind.to_lowercase());
    let names = ["pibroch", "piobaireachd", "ceol mor", "ground", "urlar"];
    names.iter().any(|name| kind.contains(name))
}

/// True for a name of light music that is marched or danced to: marches, retreats, strathspeys,
/// reels, jigs, hornpipes and their like. An air is neither this nor a pibroch.
pub fn names_march_or_dance(kind: &str) -> bool {
    const NAMES: [&str; 21] = [
        "march",
        "marches",
        "quickstep",
        "quicksteps",
        "retreat",
        "retreats",
        "strathspey",
        "strathspeys",
        "reel",
        "reels",
        "jig",
        "jigs",
        "hornpipe",
        "hornpipes",
        "polka",
        "polkas",
        "waltz",
        "waltzes",
        "schottische",
        "schottisches",
        "barndance",
    ];
    !names_pibroch(kind) && has_word(kind, &NAMES)
}

/// True for a name of an air.
pub fn names_air(kind: &str) -> bool {
    has_word(kind, &["air", "airs"])
}

/// True when one of the `wanted` words (in lower case) stands in the name.
pub(super) fn has_word(kind: &str, wanted: &[&str]) -> bool {
    let kind = kind.to_lowercase();
    kind.split(|sign: char| !sign.is_alphanumeric())
        .any(|word| wanted.contains(&word))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_kind_is_a_dance_or_a_pibroch_or_neither() {
        for (kind, dance, pibroch) in [
            ("march", true, false),
            ("2/4 March", true, false),
            ("slip jig", true, false),
            ("Strathspey & Reel", true, false),
            ("ground", false, true),
            ("pibroch, a march of long ago", false, true),
            ("Ùrlar", false, true),
            ("slow air", false, false),
            ("exercise", false, false),
        ] {
            assert_eq!(names_march_or_dance(kind), dance, "{kind}");
            assert_eq!(names_pibroch(kind), pibroch, "{kind}");
        }
    }
}
