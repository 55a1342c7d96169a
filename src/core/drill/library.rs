//! The drills inside the program.

/// A drill inside the program.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BuiltIn {
    /// The name it is called by: the file's name without its ending.
    pub name: &'static str,
    /// The file.
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

/// All of them, in the order they are shown: easiest first, as one is built on another.
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

/// The built-in drill of a name.
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

    /// A jig drill that stops at two thirds of the tempo, in nothing but crotchets and grips, is no
    /// jig: danced at 116 dotted crotchets (computed from 58 bars a minute, printed dance sources),
    /// its quavers even or written dotted, 3 : 1 : 2 (from experience, no source).
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
