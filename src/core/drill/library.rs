//! The drills that come with the program.

/// A drill that comes with the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BuiltIn {
    /// Its name: the file's name without its extension.
    pub name: &'static str,
    /// The text of the file.
    pub text: &'static str,
}

macro_rules! built_in {
    ($($name:literal),+ $(,)?) => {
        &[$(BuiltIn {
            name: $name,
            text: include_str!(concat!("../../../drills/", $name, ".yaml")),
        }),+]
    };
}

/// All built-in drills in the order in which they are shown: the easiest first, because later ones
/// build on earlier ones.
pub const BUILT_IN: &[BuiltIn] = built_in![
    "single-gracenotes",
    "crossings",
    "strike-on-c",
    "doubling-on-e",
    "doubling-on-c",
    "grip",
    "grip-from-d",
    "throw-on-d",
    "birl",
    "taorluath",
    "taorluath-from-low-g",
    "crunluath",
    "thumb-doublings",
    "jig-grips",
    "lamp-on-the-slipway",
    "bell-at-the-ferry",
];

/// The built-in drill with this name; none when there is none.
pub fn built_in(name: &str) -> Option<BuiltIn> {
    BUILT_IN.iter().copied().find(|drill| drill.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{read, render};
    use crate::units::{Bpm, Fraction};

    /// A player must never meet a message about a drill that came with the program.
    #[test]
    fn every_built_in_drill_reads_without_a_problem() {
        assert!(BUILT_IN.len() >= 14);
        for drill in BUILT_IN {
            let (value, problems) = read(drill.text.as_bytes());
            assert!(
                problems.is_empty() && value.is_some(),
                "{}",
                render(drill.name, drill.text, &problems)
            );
        }
    }

    /// A jig drill must have jig rhythm and reach dance tempo. Jigs are danced at 116 dotted
    /// crotchets a minute (computed from 58 bars a minute, printed dance sources). Their quavers
    /// are even or written dotted, 3 : 1 : 2 (from experience, no source).
    #[test]
    fn the_jig_drill_has_jig_rhythm_and_reaches_dance_tempo() {
        let text = built_in("jig-grips").expect("it is there").text;
        let drill = read(text.as_bytes()).0.expect("it reads");
        assert_eq!(drill.ladder.to(), Bpm::whole(116).expect("a tempo"));
        for (name, shape) in [
            ("jig rhythm, even", [2, 2, 2]),
            ("jig rhythm, dotted", [3, 1, 2]),
        ] {
            let stage = drill.stages.iter().find(|stage| stage.name == name);
            let bar = &stage.expect("the stage").music.bars[0];
            let lengths: Vec<Fraction> = bar.notes.iter().map(|note| note.length.0).collect();
            let sixth = lengths[..3].iter().sum::<Fraction>() / Fraction::from_integer(6);
            for (length, part) in lengths.iter().zip(shape) {
                assert_eq!(*length, sixth * Fraction::from_integer(part), "{name}");
            }
        }
    }
}
