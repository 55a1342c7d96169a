//! Explains a movement as a good teacher would: what is played, why, with which fingers, when, and
//! what tends to go wrong.
//!
//! An explanation is a plain value for a page in the terminal, for JSON and for the practice
//! screen. A tempo is used only to give milliseconds.

mod elsewhere;
mod fingers;
mod kinds;
#[cfg(test)]
mod laws;
mod page;
mod purpose;
mod reasons;
#[cfg(test)]
mod refusal_laws;
#[cfg(test)]
mod setting_laws;
mod teaching;
mod time;

pub use elsewhere::{Elsewhere, OtherSchool};
pub use fingers::{CrossingNoise, FingerStep};
pub use page::{Line, Paragraph};
pub use teaching::Foundation;
pub use time::Time;

use super::{Context, Lengths, Movement, Resolution, Resolved, Role, Schools, counted, resolve};
use crate::chanter::Note;
use crate::units::{Bpm, Fraction};
use serde::Serialize;

/// One gracenote, explained.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PartExplained {
    /// The gracenote.
    pub note: Note,
    /// True for a tone that is meant to be heard; false for a gracenote that separates.
    pub sounding: bool,
    /// True when the music holds it long.
    pub held: bool,
    /// When it begins, in milliseconds from the beat; negative before the beat.
    pub begins: i32,
    /// How long it lasts, in milliseconds.
    pub milliseconds: u32,
    /// Why it is there.
    pub reason: String,
}

/// A movement explained.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Explanation {
    /// What was asked for.
    pub movement: Movement,
    /// The note before; none at the start of a phrase.
    pub from: Option<Note>,
    /// The closing note.
    pub to: Note,
    /// True when the movement can be played here.
    pub playable: bool,
    /// Why it cannot be played here; none when it can.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub why_not: Option<String>,
    /// What is explained: the movement itself, or what is played instead.
    pub explains: Option<Movement>,
    /// The gracenotes.
    pub gracenotes: Vec<Note>,
    /// The school that decides the gracenotes, or otherwise where the time falls.
    pub school: Option<&'static str>,
    /// What the movement is, in the form that is played here.
    pub purpose: String,
    /// Why this context changes the form; none when the form is the usual one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub replaced: Option<String>,
    /// Why each gracenote is there, in the order of `gracenotes`.
    pub reasons: Vec<String>,
    /// Each gracenote with its place in time.
    pub parts: Vec<PartExplained>,
    /// Where the movement takes its time from.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub time: Option<Time>,
    /// The finger work, step by step; the last step is the closing note.
    pub fingers: Vec<FingerStep>,
    /// Changes of note within the movement at which a wrong note may sound.
    pub crossings: Vec<CrossingNoise>,
    /// What to listen for.
    pub listen_for: Vec<String>,
    /// What must be clean first; empty for a single gracenote that separates two equal notes.
    pub first: Vec<Foundation>,
    /// The same movement from other notes.
    pub elsewhere: Vec<Elsewhere>,
    /// The same movement in this context under other schools.
    pub schools: Vec<OtherSchool>,
    /// The notes on which it closes, in a sentence.
    pub closes: String,
    /// How many times it stands in the 277 counted tunes.
    pub counted: u32,
    /// The source of its catalogue row.
    pub source: &'static str,
}

/// Explains a movement in a context, with milliseconds at a tempo.
pub fn explain(
    movement: Movement,
    context: Context,
    schools: &Schools,
    tempo: Bpm,
    lengths: &Lengths,
) -> Explanation {
    let resolution = resolve(movement, context, schools);
    let why_not = match &resolution {
        Resolution::Played(_) => None,
        Resolution::NotPlayable { why, .. } => Some(why.clone()),
    };
    let mut explanation = Explanation {
        movement,
        from: context.before,
        to: context.after,
        playable: why_not.is_none(),
        why_not,
        explains: None,
        gracenotes: Vec::new(),
        school: None,
        purpose: String::new(),
        replaced: None,
        reasons: Vec::new(),
        parts: Vec::new(),
        time: None,
        fingers: Vec::new(),
        crossings: Vec::new(),
        listen_for: Vec::new(),
        first: Vec::new(),
        elsewhere: Vec::new(),
        schools: Vec::new(),
        closes: elsewhere::closes(movement),
        counted: counted(movement).map_or(0, |usage| usage.count),
        source: movement.source(),
    };
    if let Some(resolved) = resolution.sounds() {
        fill(&mut explanation, resolved, schools, tempo, lengths);
    }
    explanation
}

fn fill(
    explanation: &mut Explanation,
    resolved: &Resolved,
    schools: &Schools,
    tempo: Bpm,
    lengths: &Lengths,
) {
    // Times are exact until the end, so that the rounding errors of a long movement do not add up.
    let exact: Vec<Fraction> = resolved
        .parts
        .iter()
        .map(|part| {
            let beats = if part.held {
                Lengths::HELD
            } else {
                lengths.of(part.role, tempo)
            };
            beats.0 * tempo.beat().0
        })
        .collect();
    let milliseconds: Vec<u32> = exact.iter().map(|length| rounded(*length) as u32).collect();
    let reasons = reasons::reasons(resolved, schools);
    let (before, after) = exact.split_at(resolved.before_beat);
    let (before, after): (Fraction, Fraction) = (before.iter().sum(), after.iter().sum());
    // The first note of a figure has the beat, and the figure's gracenote comes after that note.
    let short = kinds::figure_note(resolved).map(|_| Lengths::figure_note().0 * tempo.beat().0);
    let mut begins = short.unwrap_or(-before);
    explanation.explains = Some(resolved.movement);
    explanation.gracenotes = resolved.gracenotes();
    explanation.school = resolved.school;
    explanation.replaced.clone_from(&resolved.replaced);
    explanation.closes = elsewhere::closes(resolved.movement);
    explanation.purpose = purpose::purpose(resolved);
    explanation.time = Some(time::time(
        resolved,
        tempo,
        rounded(before) as u32,
        rounded(after) as u32,
        rounded(before + after) as u32,
    ));
    for (place, part) in resolved.parts.iter().enumerate() {
        explanation.parts.push(PartExplained {
            note: part.note,
            sounding: part.role == Role::Sounding,
            held: part.held,
            begins: rounded(begins),
            milliseconds: milliseconds[place],
            reason: reasons[place].clone(),
        });
        begins += exact[place];
    }
    explanation.reasons = reasons;
    explanation.fingers = fingers::steps(resolved, &milliseconds);
    explanation.crossings = fingers::crossings(resolved);
    explanation.listen_for = teaching::listen_for(resolved);
    explanation.first = teaching::foundations(resolved);
    explanation.elsewhere = elsewhere::elsewhere(resolved, schools);
    explanation.schools = elsewhere::other_schools(resolved);
}

fn rounded(milliseconds: Fraction) -> i32 {
    milliseconds.round().to_integer() as i32
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chanter::{Finger, NOTES, Shape, gracenote_finger};
    use crate::movement::{Family, find};

    fn at(tempo: i128) -> Bpm {
        Bpm::whole(tempo).expect("a tempo")
    }

    fn explained(name: &str, from: Note, to: Note) -> Explanation {
        let movement = find(name).expect("a movement");
        let context = Context::between(from, to);
        explain(
            movement,
            context,
            &Schools::none(),
            at(60),
            &Lengths::default(),
        )
    }

    fn space() -> impl Iterator<Item = (Movement, Context)> {
        Movement::all().flat_map(|movement| {
            let befores = std::iter::once(None).chain(NOTES.map(Some));
            befores.flat_map(move |before| {
                NOTES.map(move |after| (movement, Context { before, after }))
            })
        })
    }

    fn fingers(names: &[&str]) -> Vec<Finger> {
        Finger::ALL
            .into_iter()
            .filter(|finger| names.contains(&finger.name()))
            .collect()
    }

    /// A wrong finger in one step would teach a wrong hand. The steps are played on the fingering
    /// chart and must give every note of the explanation.
    #[test]
    fn the_steps_played_on_the_chart_give_every_note() {
        let mut steps = 0;
        for (movement, context) in space() {
            let Some(before) = context.before else {
                continue;
            };
            let explanation = explain(
                movement,
                context,
                &Schools::none(),
                at(80),
                &Lengths::default(),
            );
            let mut shape = Shape::of(before);
            for step in &explanation.fingers {
                steps += 1;
                let told = format!("{movement} {context:?} {}", step.sentence);
                for finger in fingers(&step.lifts) {
                    assert!(shape.covers(finger), "{told}");
                    shape = shape.lifted(finger);
                }
                for finger in fingers(&step.falls) {
                    assert!(!shape.covers(finger), "{told}");
                    shape = shape.covered(finger);
                }
                let settled = Shape::of(step.hand_on);
                if step.returns && step.note > step.hand_on {
                    let finger = gracenote_finger(step.note).expect("a finger");
                    assert!(!shape.covers(finger), "{told}");
                    shape = shape.covered(finger);
                } else if step.returns {
                    assert!(step.lifts.is_empty(), "{told}");
                    for finger in fingers(&step.falls) {
                        shape = shape.lifted(finger);
                    }
                } else {
                    assert_eq!(step.note, step.hand_on, "{told}");
                }
                assert_eq!(shape, settled, "{told}");
            }
            assert_eq!(shape, Shape::of(context.after), "{movement} {context:?}");
        }
        assert!(steps > 10_000, "{steps}");
    }

    /// A page must describe exactly the gracenotes that sound.
    #[test]
    fn an_explanation_is_whole_for_every_movement_in_every_context() {
        for (movement, context) in space() {
            let explanation = explain(
                movement,
                context,
                &Schools::none(),
                at(60),
                &Lengths::default(),
            );
            let told = format!("{movement} {context:?}");
            let resolution = resolve(movement, context, &Schools::none());
            let resolved = resolution.sounds().expect("something sounds");
            assert_eq!(explanation.gracenotes, resolved.gracenotes(), "{told}");
            assert_eq!(explanation.reasons.len(), resolved.parts.len(), "{told}");
            assert_eq!(
                explanation.fingers.len(),
                resolved.parts.len() + 1,
                "{told}"
            );
            assert!(!explanation.purpose.is_empty(), "{told}");
            assert!(!explanation.listen_for.is_empty(), "{told}");
            let alone = resolved.parts.len() == 1 && context.before == Some(context.after);
            assert!(!explanation.first.is_empty() || alone, "{told}");
            let time = explanation.time.as_ref().expect("it takes time");
            let first = explanation.parts.first().expect("a part");
            if resolved.movement.family() != Family::Figure {
                assert_eq!(first.begins, -(time.from_the_note_before as i32), "{told}");
            }
            for pair in explanation.parts.windows(2) {
                let end = pair[0].begins + pair[0].milliseconds as i32;
                assert!((end - pair[1].begins).abs() <= 1, "{told}");
            }
            let page = explanation.write(80);
            assert!(!page.contains(".."), "{page}");
            for line in page.lines() {
                assert!(line.chars().count() <= 80, "{told}: {line}");
            }
        }
    }

    /// The grip from D to low A, as it is taught (common practice, no source).
    #[test]
    fn the_grip_from_d_is_explained_as_it_is_taught() {
        let grip = explained("grip", Note::D, Note::LowA);
        assert_eq!(grip.gracenotes, [Note::LowG, Note::B, Note::LowG]);
        assert!(
            grip.replaced
                .as_deref()
                .is_some_and(|why| why.contains("from D"))
        );
        let time = grip.time.as_ref().expect("it takes time");
        assert_eq!((time.before_beat, time.on_the_beat), (3, Note::LowA));
        let sounding: Vec<bool> = grip.parts.iter().map(|part| part.sounding).collect();
        assert_eq!(sounding, [true, false, true]);
        let first: Vec<&str> = grip.first.iter().map(|first| first.what.as_str()).collect();
        assert_eq!(
            first,
            [
                "the B gracenote on low G",
                "a clean low G, every hole covered at once"
            ]
        );
        let from_c = explained("grip", Note::C, Note::LowA);
        assert!(from_c.first[0].what.contains("D gracenote"));
        let taorluath = explained("taorluath", Note::C, Note::LowA);
        assert_eq!(taorluath.first[0].what, "the grip");
        assert!(
            taorluath
                .first
                .iter()
                .any(|first| first.what.contains("E gracenote"))
        );
    }

    #[test]
    fn a_throw_with_the_beat_inside_says_on_what_it_falls() {
        let schools = Schools::none()
            .with("throw-d-on-the-beat")
            .expect("a school");
        let throw = explain(
            find("throw-on-d").expect("a movement"),
            Context::between(Note::LowA, Note::D),
            &schools,
            at(80),
            &Lengths::default(),
        );
        let time = throw.time.expect("it takes time");
        assert_eq!(time.on_the_beat, Note::D);
        assert!(
            time.sentence.contains("on the D gracenote"),
            "{}",
            time.sentence
        );
        assert_eq!(
            (time.from_the_note_before, time.from_the_closing_note),
            (55, 90)
        );
    }

    #[test]
    fn what_cannot_be_played_is_explained_by_what_is_played_instead() {
        let explanation = explained("taorluath", Note::B, Note::E);
        assert!(!explanation.playable);
        assert_eq!(explanation.explains.map(Movement::name), Some("grip"));
        let page = explanation.write(80).replace('\n', " ");
        assert!(page.starts_with("Grip from B to E No taorluath"), "{page}");
        assert!(
            page.contains("Play the grip instead, which this page explains: LG (D) LG."),
            "{page}"
        );
    }

    /// A snapshot of the page at 80 columns.
    #[test]
    fn the_page_of_the_grip_from_d() {
        insta::assert_snapshot!(explained("grip", Note::D, Note::LowA).write(80));
    }

    #[test]
    fn the_page_of_the_doubling_on_e_from_c() {
        insta::assert_snapshot!(explained("doubling", Note::C, Note::E).write(80));
    }
}
