//! The nine notes and their names.

use crate::wording;
use serde::{Deserialize, Deserializer, Serialize, Serializer};

/// One of the nine notes, low to high.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Note {
    /// Low G.
    LowG,
    /// Low A, which names the pitch of the whole chanter.
    LowA,
    /// B.
    B,
    /// C, written without its sharp.
    C,
    /// D.
    D,
    /// E.
    E,
    /// F, written without its sharp.
    F,
    /// High G.
    HighG,
    /// High A, under the thumb.
    HighA,
}

/// All nine, low to high.
pub const NOTES: [Note; 9] = [
    Note::LowG,
    Note::LowA,
    Note::B,
    Note::C,
    Note::D,
    Note::E,
    Note::F,
    Note::HighG,
    Note::HighA,
];

/// Why a text is not a note.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NoteError {
    /// The text that was found.
    pub found: String,
    /// The most similar note name; none when no name is similar.
    pub nearest: Option<&'static str>,
}

impl std::fmt::Display for NoteError {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(
            f,
            "`{}` is no note: expected one of LG LA B C D E F HG HA",
            self.found
        )?;
        if let Some(nearest) = self.nearest {
            write!(f, "; did you mean `{nearest}`?")?;
        }
        Ok(())
    }
}
impl std::error::Error for NoteError {}

impl Note {
    /// Place in the scale, 0 (low G) to 8 (high A).
    pub fn index(self) -> usize {
        self as usize
    }

    /// The note at a place in the scale, when there is one.
    pub fn at(index: usize) -> Option<Self> {
        NOTES.get(index).copied()
    }

    /// The short name: `LG LA B C D E F HG HA`.
    pub fn name(self) -> &'static str {
        ["LG", "LA", "B", "C", "D", "E", "F", "HG", "HA"][self.index()]
    }

    /// The name for a sentence: `low G`, `low A`, `B` … `high A`.
    pub fn spoken(self) -> &'static str {
        [
            "low G", "low A", "B", "C", "D", "E", "F", "high G", "high A",
        ][self.index()]
    }

    /// The letter in ABC 2.1's pipe key: `G A B c d e f g a`.
    pub fn abc_letter(self) -> char {
        ['G', 'A', 'B', 'c', 'd', 'e', 'f', 'g', 'a'][self.index()]
    }

    /// The note of an ABC letter in the pipe key; none when the letter is not one of the nine.
    pub fn from_abc_letter(letter: char) -> Option<Self> {
        NOTES.into_iter().find(|note| note.abc_letter() == letter)
    }

    /// Written pitch as a MIDI key: G4 A4 B4 C♯5 D5 E5 F♯5 G5 A5 are 67 69 71 73 74 76 78 79 81
    /// (LilyPond 2.24 bagpipe.ly).
    pub fn midi_key(self) -> u8 {
        [67, 69, 71, 73, 74, 76, 78, 79, 81][self.index()]
    }

    /// Diatonic steps above the staff's lowest line in the G clef (E4 = 0): low G is 2.
    pub fn staff_step(self) -> i32 {
        2 + self.index() as i32
    }

    /// Reads the names that a player may type: `LG`, `low G`, `lowg`, `A`, `low-a`, `high A` … An
    /// `A` alone is low A. A `G` alone is an error, because a G gracenote is high G but a G melody
    /// note is low G.
    ///
    /// # Errors
    /// A text that is not a note; the error has the most similar name.
    pub fn parse(text: &str) -> Result<Self, NoteError> {
        let plain: String = text
            .chars()
            .filter(|sign| !sign.is_whitespace() && !matches!(sign, '-' | '_'))
            .flat_map(char::to_uppercase)
            .collect();
        let note = match plain.as_str() {
            "LG" | "LOWG" => Self::LowG,
            "LA" | "LOWA" | "A" => Self::LowA,
            "B" => Self::B,
            "C" => Self::C,
            "D" => Self::D,
            "E" => Self::E,
            "F" => Self::F,
            "HG" | "HIGHG" => Self::HighG,
            "HA" | "HIGHA" => Self::HighA,
            "G" => {
                return Err(NoteError {
                    found: text.to_owned(),
                    nearest: Some("LG` or `HG"),
                });
            }
            _ => {
                let names = [
                    "LG", "LA", "B", "C", "D", "E", "F", "HG", "HA", "low G", "low A", "high G",
                    "high A",
                ];
                return Err(NoteError {
                    found: text.to_owned(),
                    nearest: wording::nearest(text, names),
                });
            }
        };
        Ok(note)
    }
}

impl std::fmt::Display for Note {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.pad(self.name())
    }
}
impl std::str::FromStr for Note {
    type Err = NoteError;
    fn from_str(text: &str) -> Result<Self, NoteError> {
        Self::parse(text)
    }
}
impl Serialize for Note {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(self.name())
    }
}
impl<'de> Deserialize<'de> for Note {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        Self::parse(&text).map_err(serde::de::Error::custom)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_name_reads_back() {
        for note in NOTES {
            assert_eq!(Note::parse(note.name()), Ok(note));
            assert_eq!(Note::parse(note.spoken()), Ok(note));
            assert_eq!(Note::from_abc_letter(note.abc_letter()), Some(note));
        }
        assert_eq!(Note::parse("A"), Ok(Note::LowA));
        assert_eq!(Note::parse("high-a"), Ok(Note::HighA));
    }

    /// ABC 2.1 §3.1.14 and §4.1: the letters of the pipe key are natural except F and C, which are
    /// sharp. Capitals stand in the octave of middle C, small letters in the next octave. MIDI key
    /// 60 is middle C (MIDI 1.0). The lowest line of the G clef is the E of the octave of middle C.
    #[test]
    fn keys_and_places_on_the_staff_are_those_of_the_letters() {
        let from_c = [
            ('C', 0),
            ('D', 2),
            ('E', 4),
            ('F', 5),
            ('G', 7),
            ('A', 9),
            ('B', 11),
        ];
        for (place, note) in NOTES.into_iter().enumerate() {
            let letter = note.abc_letter();
            let octave = u8::from(letter.is_ascii_lowercase());
            let step = from_c
                .iter()
                .position(|(name, _)| *name == letter.to_ascii_uppercase())
                .expect("a letter of the scale");
            let sharp = u8::from(matches!(letter, 'c' | 'f'));
            assert_eq!(note.midi_key(), 60 + 12 * octave + from_c[step].1 + sharp);
            assert_eq!(note.staff_step(), i32::from(octave) * 7 + step as i32 - 2);
            assert_eq!(Note::at(place), Some(note));
        }
        assert_eq!(Note::at(NOTES.len()), None);
    }

    #[test]
    fn a_slip_gets_the_nearest_name_and_a_lone_g_is_ambiguous() {
        assert_eq!(
            Note::parse("LH").map_err(|e| e.nearest.is_some()),
            Err(true)
        );
        assert_eq!(
            Note::parse("G").map_err(|error| error.nearest),
            Err(Some("LG` or `HG"))
        );
        let told = |text| Note::parse(text).map_err(|error| error.to_string());
        let expected = "is no note: expected one of LG LA B C D E F HG HA";
        assert_eq!(
            told("high-b"),
            Err(format!("`high-b` {expected}; did you mean `high G`?"))
        );
        assert_eq!(told("qqqqqqqq"), Err(format!("`qqqqqqqq` {expected}")));
    }
}
