//! The tempo of a tune: what its `Q:` field says, in beats of its metre (ABC 2.1 §3.1.8).

use super::lines::shown;
use crate::drill::{Place, Problem};
use crate::exchange::piece::adopted_at;
use crate::rhythm::Metre;
use crate::units::{Bpm, Fraction, parse_fraction, spell_fraction, write_fraction};

/// So many notes a minute.
struct Said {
    /// The note as a part of a semibreve.
    note: Fraction,
    count: Fraction,
    /// The field names no note of its own.
    bare: bool,
}

/// The beats a minute that a field says, exactly; what is not plain in it is told.
pub(super) fn tempo(
    place: Place,
    text: &str,
    (metre, unit): (Metre, Fraction),
    problems: &mut Vec<Problem>,
) -> Option<Bpm> {
    let mut tell = |found: String, done: String| problems.push(adopted_at(place, found, done));
    let field = format!("the tempo `{}`", shown(text));
    let Some(said) = said(text, unit) else {
        tell(
            field,
            "left out: it says no number of notes a minute".to_owned(),
        );
        return None;
    };
    let rate = metre.beats_of(said.note).0 * said.count;
    let beats = format!("{} beats of {metre} a minute", spell_fraction(&rate));
    let Ok(tempo) = Bpm::new(rate) else {
        tell(
            field,
            format!("left out: that is {beats}, and a drill goes from 20 to 300"),
        );
        return None;
    };
    if said.bare {
        let unit = write_fraction(&said.note);
        tell(
            format!("{field}, which names no note"),
            format!("read as notes of the unit {unit}, as ABC 2.1 has it: {beats}"),
        );
    } else if !rate.is_integer() && said.note != metre.beat_of_semibreve() {
        tell(
            format!("{field}, which counts another note than the beat"),
            format!("counted as {beats}, which is the same"),
        );
    }
    Some(tempo)
}

/// `1/4=120`, `"quick" 3/8=60`, `1/4 3/8=40` for both notes together; of earlier versions (§10.1)
/// `C=100`, `C3=40` and `120`, whose note is the unit.
fn said(text: &str, unit: Fraction) -> Option<Said> {
    let mut bare = String::new();
    let mut quoted = false;
    for sign in text.chars() {
        match sign {
            '"' => quoted = !quoted,
            sign if !quoted => bare.push(sign),
            _ => {}
        }
    }
    let Some((note, count)) = bare.split_once('=') else {
        return Some(Said {
            note: unit,
            count: parse_fraction(&bare).ok()?,
            bare: true,
        });
    };
    let note = match note.trim().strip_prefix(['C', 'c']) {
        Some("") => unit,
        Some(times) => unit * parse_fraction(times).ok()?,
        None => {
            let mut sum = Fraction::from_integer(0);
            for word in note.split_whitespace() {
                sum += parse_fraction(word).ok()?;
            }
            sum
        }
    };
    Some(Said {
        note,
        count: parse_fraction(count).ok()?,
        bare: false,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(field: &str, metre: Metre, tempo: Option<(i128, i128)>, told: &str) {
        let mut problems = Vec::new();
        let unit = Fraction::new(1, 8);
        let read = super::tempo(Place::WHOLE_FILE, field, (metre, unit), &mut problems);
        let wanted = tempo.map(|(above, below)| Fraction::new(above, below));
        assert_eq!(read.map(Bpm::value), wanted, "{field} in {metre}");
        let said: Vec<String> = problems.iter().map(|own| own.kind.to_string()).collect();
        match told {
            "" => assert_eq!(said, [""; 0], "{field}"),
            told => assert!(said.len() == 1 && said[0].contains(told), "{said:?}"),
        }
    }

    /// The examples of ABC 2.1 §3.1.8 and, of what is outdated, §10.1.
    #[test]
    fn the_examples_of_the_standard_are_read() {
        let four = Metre::FOUR_FOUR;
        check("1/2=120", four, Some((240, 1)), "");
        check("\"Allegro\" 1/4=120", four, Some((120, 1)), "");
        check("3/8=50 \"Slowly\"", Metre::SIX_EIGHT, Some((50, 1)), "");
        let five = Metre::parse("5/4").expect("a metre");
        check("1/4 3/8 1/4 3/8=40", five, Some((200, 1)), "");
        check("\"Andante\"", four, None, "says no number");
        check("120", four, Some((60, 1)), "notes of the unit 1/8");
        check("C=120", four, Some((60, 1)), "");
        check("C3=40", Metre::SIX_EIGHT, Some((40, 1)), "");
    }

    /// Another note than the beat is counted as the beat, exactly.
    #[test]
    fn another_note_than_the_beat_is_counted_as_the_beat() {
        let six = Metre::SIX_EIGHT;
        check("1/8=180", six, Some((60, 1)), "");
        check("1/4=90", six, Some((60, 1)), "");
        check("1/2=60", Metre::FOUR_FOUR, Some((120, 1)), "");
        check("1/4=160", Metre::TWO_TWO, Some((80, 1)), "");
        check(
            "1/4=100",
            six,
            Some((200, 3)),
            "counted as 66⅔ beats of 6/8",
        );
        check("3/8=65.5", six, Some((131, 2)), "");
        check("1/8=50", six, None, "that is 16⅔ beats of 6/8 a minute");
        let five = Metre::parse("5/8").expect("a metre");
        check("1/4=90", five, Some((180, 1)), "");
        check("5/8=32", five, Some((160, 1)), "");
    }
}
