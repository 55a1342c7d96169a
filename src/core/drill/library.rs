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
];

/// The built-in drill of a name.
pub fn built_in(name: &str) -> Option<BuiltIn> {
    BUILT_IN.iter().copied().find(|drill| drill.name == name)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{read, render};

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
}
