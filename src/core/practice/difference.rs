//! Kinds of difference between a clean movement and a faulty one, and the result of an exercise in
//! hearing them.
//!
//! Knows no sound and no timeline.

use crate::units::Milliseconds;
use serde::{Deserialize, Serialize};

/// How a movement with one fault differs from a clean movement.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Difference {
    /// Every tone inside the movement is too short.
    Crushed,
    /// Two tones that should be equally long differ.
    Unlike,
    /// One gracenote is too long.
    Long,
    /// The whole movement is early, every note by the same time.
    Early,
    /// A note sounds between two notes because the fingers do not cross together.
    Blip,
}

impl Difference {
    /// All kinds, in the order in which they are offered.
    pub const ALL: [Self; 5] = [
        Self::Crushed,
        Self::Unlike,
        Self::Long,
        Self::Early,
        Self::Blip,
    ];

    /// Its name in arguments and tables.
    pub fn name(self) -> &'static str {
        match self {
            Self::Crushed => "crushed",
            Self::Unlike => "unlike",
            Self::Long => "long",
            Self::Early => "early",
            Self::Blip => "blip",
        }
    }

    /// Its name in a sentence.
    pub fn spoken(self) -> &'static str {
        match self {
            Self::Crushed => "crushed tones",
            Self::Unlike => "two unlike tones",
            Self::Long => "a long gracenote",
            Self::Early => "a movement begun early",
            Self::Blip => "a crossing blip",
        }
    }
}

/// One question and its answer.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Trial {
    /// The size of the fault that was played; none when the movement was clean.
    #[serde(rename = "size_ms")]
    pub size: Option<Milliseconds>,
    /// True when the listener said that there was a fault.
    pub said_fault: bool,
}

impl Trial {
    /// True when the listener was right.
    pub fn is_right(self) -> bool {
        self.size.is_some() == self.said_fault
    }
}

/// The result of an exercise, a minute or longer, in telling a clean movement from a faulty one.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Discrimination {
    /// The kind of difference that was listened for.
    pub difference: Difference,
    /// The difference in words, with the notes of the movement: `one low G longer than the other`.
    pub what: String,
    /// The smallest audible fault: at this size three answers in four are right.
    #[serde(rename = "threshold_ms")]
    pub threshold: Milliseconds,
    /// The threshold is above this value with a probability of 90 %.
    #[serde(rename = "low_ms")]
    pub low: Milliseconds,
    /// The threshold is below this value with a probability of 90 %.
    #[serde(rename = "high_ms")]
    pub high: Milliseconds,
    /// The largest fault that was offered. A threshold above it means that even this fault was not
    /// heard.
    #[serde(rename = "widest_ms")]
    pub widest: Milliseconds,
    /// Every question and answer in order, so that a later program can compute the threshold again.
    pub trials: Vec<Trial>,
}

impl Discrimination {
    /// Reads the text of [`Discrimination::to_json`]; none for any other text.
    pub fn from_json(text: &str) -> Option<Self> {
        serde_json::from_str(text).ok()
    }

    /// The result as JSON text for the journal.
    pub fn to_json(&self) -> String {
        serde_json::to_string(self).unwrap_or_default()
    }

    /// True when at least the largest fault was heard.
    pub fn is_heard(&self) -> bool {
        self.threshold <= self.widest
    }

    /// The number of right answers, and the number of all answers.
    pub fn right(&self) -> (usize, usize) {
        let right = self.trials.iter().filter(|trial| trial.is_right()).count();
        (right, self.trials.len())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The name in arguments is also the name in the journal, and all names differ.
    #[test]
    fn each_difference_has_its_names() {
        for difference in Difference::ALL {
            let kept = serde_json::to_string(&difference).expect("JSON");
            assert_eq!(kept, format!("\"{}\"", difference.name()));
            let same = |other: &&Difference| other.spoken() == difference.spoken();
            assert_eq!(Difference::ALL.iter().filter(same).count(), 1);
            assert!(difference.spoken().len() > difference.name().len());
        }
    }

    /// An entry that cannot be read back would lose weeks of listening.
    #[test]
    fn what_was_found_reads_back() {
        let trial = |size: Option<f64>, said_fault| Trial {
            size: size.map(Milliseconds),
            said_fault,
        };
        let found = Discrimination {
            difference: Difference::Unlike,
            what: "one low G longer than the other".to_owned(),
            threshold: Milliseconds(18.0),
            low: Milliseconds(11.0),
            high: Milliseconds(30.0),
            widest: Milliseconds(88.0),
            trials: vec![
                trial(Some(44.0), true),
                trial(None, true),
                trial(None, false),
                trial(Some(20.5), false),
                trial(Some(60.0), true),
            ],
        };
        assert_eq!(found.right(), (3, 5));
        assert!(found.is_heard());
        let not_even_the_widest = Discrimination {
            threshold: Milliseconds(89.0),
            ..found.clone()
        };
        assert!(!not_even_the_widest.is_heard());
        let read = Discrimination::from_json(&found.to_json());
        assert_eq!(read, Some(found));
        assert_eq!(Discrimination::from_json("{\"notes\":[]}"), None);
    }
}
