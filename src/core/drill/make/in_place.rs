//! A bar or a movement of a tune as a drill: looped with the bars around it, the movement taken
//! apart where it stands.

use super::body::body;
use super::budget::{Spent, spend};
use super::phrase::{Tune, ground};
use super::{CannotMake, read_back, usual_tempo};
use crate::chanter::Note;
use crate::drill::document::{DrillDocument, Exact, StageDocument};
use crate::drill::written::{Bar, Gracenote, Group, Music, Written};
use crate::movement::{Context, Lengths, Part, Role, Schools, explain, place_group};
use crate::rhythm::{Metre, Pointing, WrittenLength};
use crate::units::Beats;
use crate::wording::capital;

/// A place in written music.
#[derive(Debug, Clone, Copy)]
pub struct InPlace<'a> {
    /// The tune.
    pub tune: Tune<'a>,
    /// Index of the written bar.
    pub bar: usize,
    /// Index of the melody note in it whose movement is taken apart; none loops the bar only.
    pub note: Option<usize>,
}

impl<'a> InPlace<'a> {
    fn music(&self) -> &'a Music {
        &self.tune.stage.music
    }
}

/// The drill of a place: the bar with the bar before and the bar after, where there are any. Its
/// movement's tones are written out in stages, taken from the note that gives the movement its
/// time, so that nothing else moves; the last stage is as written.
///
/// # Errors
/// No such bar or note, or a bar that cannot stand alone.
pub fn make_in_place(place: &InPlace) -> Result<DrillDocument, CannotMake> {
    if place.bar >= place.music().bars.len() {
        return Err(CannotMake("the tune has no such bar".to_owned()));
    }
    let last = place.music().bars.len() - 1;
    let (before, after) = (place.bar.saturating_sub(1), (place.bar + 1).min(last));
    // a pickup or a short last bar cannot always stand beside the others
    let windows = [
        (before, after),
        (place.bar, after),
        (before, place.bar),
        (place.bar, place.bar),
    ];
    windows
        .into_iter()
        .map(|(first, last)| document(place, first, last))
        .find(|document| read_back(document).is_some())
        .ok_or_else(|| {
            CannotMake(
                "this bar cannot be looped by itself: it is no full bar, or its first note needs \
                 a gracenote before it"
                    .to_owned(),
            )
        })
}

fn document(place: &InPlace, first: usize, last: usize) -> DrillDocument {
    let metres = &place.music().metres()[first..=last];
    let metre = metres[0];
    let bars: Vec<Bar> = place.music().bars[first..=last]
        .iter()
        .enumerate()
        .map(|(at, bar)| Bar {
            notes: bar.notes.clone(),
            // the window's first metre is the drill's
            metre: bar.metre.filter(|_| at > 0),
            ..Bar::default()
        })
        .collect();
    let at = place.bar - first;
    let pairs = |bars: &[Bar]| Music::straight(metre, bars.to_vec()).pairs();
    let pointed = place.music().pointing != Pointing::default();
    let mut stages = Vec::new();
    if let Some(note) = place.note {
        for (name, tone) in [
            ("tones of a full beat", Beats::ONE),
            ("tones of half a beat", Beats::new(1, 2)),
            ("tones of a quarter beat", Beats::new(1, 4)),
            ("tones of an eighth of a beat", Beats::new(1, 8)),
        ] {
            if let Some(apart) = apart(metre, &bars, (at, note), tone, &place.tune.drill.schools) {
                // a tone and what is left of its note may look like a dot and its cut
                let even = pointed && pairs(&apart) != pairs(&bars);
                stages.push(StageDocument {
                    pointing: even.then(|| "as written".to_owned()),
                    ..stage(metre, name, &apart)
                });
            }
        }
    }
    stages.push(stage(metre, "as written", &bars));
    let whole = stages.len() - 1;
    let Spent {
        stages,
        ladder,
        clean,
    } = spend(stages, whole, false, (46, 80));
    let number = place.music().bar_numbers()[place.bar];
    DrillDocument {
        title: capital(&format!("{}, bar {number}", place.tune.drill.title)),
        about: Some(
            "A bar of the tune with the bars around it; where a movement is taken apart, only the \
             note that gives it its time grows shorter."
                .to_owned(),
        ),
        listen_for: Some(format!(
            "{}, and the bars around it as steady as before",
            heard_of(place).unwrap_or_else(|| "the movement clean".to_owned())
        )),
        metre: Some(metre.printed()),
        beat: metre.own_beat().map(|beat| Exact::of(&beat)),
        stages: Some(stages),
        ladder: Some(ladder),
        clean: Some(clean),
        ..ground(&place.tune)
    }
}

/// What to listen for in the movement that stands there; nothing where no movement of the catalogue
/// does.
fn heard_of(place: &InPlace) -> Option<String> {
    let bars = &place.music().bars;
    let (at, written) = (place.note?, bars.get(place.bar)?.notes.get(place.note?)?);
    let before = match at.checked_sub(1) {
        Some(before) => bars[place.bar].notes.get(before),
        None => bars.get(place.bar.checked_sub(1)?)?.notes.last(),
    };
    let context = Context {
        before: before.map(|before| before.note),
        after: written.note,
    };
    let movement = match &written.group {
        Group::None | Group::Opening => None,
        Group::Movement(resolved) => Some(resolved.movement),
        Group::Spelled(gracenotes) => {
            let notes: Vec<Note> = gracenotes.iter().map(|gracenote| gracenote.note).collect();
            place_group(&notes, context, &place.tune.drill.schools).movement
        }
    }?;
    let lengths = Lengths::default();
    let explained = explain(
        movement,
        context,
        &place.tune.drill.schools,
        usual_tempo(),
        &lengths,
    );
    explained.listen_for.into_iter().next()
}

fn stage(metre: Metre, name: &str, bars: &[Bar]) -> StageDocument {
    StageDocument {
        name: name.to_owned(),
        music: Some(body(metre, bars)),
        ..StageDocument::default()
    }
}

/// The bars with the movement's tones as written notes of `tone` beats. None where it has no
/// tones, or where the note that gives the time is not long enough.
fn apart(
    metre: Metre,
    bars: &[Bar],
    (bar, note): (usize, usize),
    tone: Beats,
    schools: &Schools,
) -> Option<Vec<Bar>> {
    let written = bars.get(bar)?.notes.get(note)?;
    let giver = match note.checked_sub(1) {
        Some(before) => Some((bar, before)),
        None => bar
            .checked_sub(1)
            .and_then(|bar| Some((bar, bars[bar].notes.len().checked_sub(1)?))),
    };
    let before = giver.map(|(bar, note)| bars[bar].notes[note].note);
    let (parts, before_beat) = parts(&written.group, before, written.note, schools)?;
    let mut waiting = Vec::new();
    let early = tones(&parts[..before_beat], tone, &mut waiting);
    let late = tones(&parts[before_beat..], tone, &mut waiting);
    if early.is_empty() && late.is_empty() {
        return None;
    }
    let mut apart = bars.to_vec();
    let closing = Written {
        group: if waiting.is_empty() {
            Group::None
        } else {
            Group::Spelled(waiting)
        },
        ..written.clone()
    };
    let taken: Beats = late.iter().map(|written| written.length).sum();
    let mut here = late;
    here.extend(shortened(metre, &closing, taken)?);
    apart[bar].notes.splice(note..=note, here);
    if !early.is_empty() {
        let (bar, note) = giver?;
        let taken: Beats = early.iter().map(|written| written.length).sum();
        let mut there = shortened(metre, &bars[bar].notes[note], taken)?;
        there.extend(early);
        apart[bar].notes.splice(note..=note, there);
    }
    Some(apart)
}

fn parts(
    group: &Group,
    before: Option<Note>,
    after: Note,
    schools: &Schools,
) -> Option<(Vec<Part>, usize)> {
    match group {
        Group::None | Group::Opening => None,
        Group::Movement(resolved) => Some((resolved.parts.clone(), resolved.before_beat)),
        Group::Spelled(gracenotes) => {
            let notes: Vec<Note> = gracenotes.iter().map(|gracenote| gracenote.note).collect();
            let placed = place_group(&notes, Context { before, after }, schools);
            Some((placed.parts, placed.before_beat))
        }
    }
}

/// The tones among the parts as written notes, each with the gracenotes that wait before it.
fn tones(parts: &[Part], tone: Beats, waiting: &mut Vec<Gracenote>) -> Vec<Written> {
    let mut tones = Vec::new();
    for part in parts {
        if part.role == Role::Separating {
            waiting.push(Gracenote {
                note: part.note,
                held: None,
            });
        } else {
            let gracenotes = std::mem::take(waiting);
            tones.push(Written {
                note: part.note,
                length: tone,
                tied: false,
                group: if gracenotes.is_empty() {
                    Group::None
                } else {
                    Group::Spelled(gracenotes)
                },
            });
        }
    }
    tones
}

/// A note shorter by `taken`, in as many tied notes as its length needs. None where nothing would
/// be left of it.
fn shortened(metre: Metre, written: &Written, taken: Beats) -> Option<Vec<Written>> {
    let length = written.length - taken;
    if length <= Beats::ZERO {
        return None;
    }
    let values = WrittenLength::tied(metre.semibreves_of(length));
    let count = values.len();
    let notes: Vec<Written> = values
        .into_iter()
        .enumerate()
        .map(|(place, value)| Written {
            note: written.note,
            length: metre.beats_of(value.part_of_semibreve()),
            tied: if place + 1 < count {
                true
            } else {
                written.tied
            },
            group: if place == 0 {
                written.group.clone()
            } else {
                Group::None
            },
        })
        .collect();
    (!notes.is_empty()).then_some(notes)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{BUILT_IN, Drill, read};
    use crate::movement::Movement;

    fn drill(head: &str, music: &str) -> Drill {
        let text = format!(
            "title: our tune\nmetre: 4/4\n{head}music: \"{music}\"\n\
             ladder: {{from: 50, to: 80, step: 4%}}\n"
        );
        let (drill, problems) = read(text.as_bytes());
        drill.unwrap_or_else(|| panic!("{problems:?}"))
    }

    fn place(drill: &Drill, bar: usize, note: Option<usize>) -> InPlace<'_> {
        let stage = &drill.stages[0];
        let tune = Tune { drill, stage };
        InPlace { tune, bar, note }
    }

    fn stages(drill: &Drill, bar: usize, note: Option<usize>) -> Vec<(String, String)> {
        make_in_place(&place(drill, bar, note))
            .expect("it can be looped")
            .stages
            .expect("stages")
            .into_iter()
            .map(|stage| (stage.name, stage.music.expect("it is written out")))
            .collect()
    }

    /// The grip takes its tones from the note before it; the bars around stay as they are.
    #[test]
    fn a_grip_is_taken_apart_where_it_stands() {
        let tune = drill("", "{g}A4 {g}c4 | {g}d4 {GBG}A4 | {g}B8 | {g}c8 |");
        let stages = stages(&tune, 1, Some(1));
        assert_eq!(
            stages[0],
            (
                "tones of half a beat".to_owned(),
                "{g}A4 {g}c4 | {g}d2 G {B}G A4 | {g}B8 |".to_owned()
            )
        );
        assert_eq!(
            stages.last(),
            Some(&(
                "as written".to_owned(),
                "{g}A4 {g}c4 | {g}d4 {GBG}A4 | {g}B8 |".to_owned()
            ))
        );
    }

    /// "Listen for the movement clean" helps nobody: it is said what of this movement.
    #[test]
    fn it_is_said_what_to_listen_for_in_this_movement() {
        let tune = drill("", "{g}A4 {g}c4 | {g}d4 {GBG}A4 | {g}B8 | {g}c8 |");
        let said = make_in_place(&place(&tune, 1, Some(1)))
            .expect("a drill")
            .listen_for;
        let said = said.expect("something");
        assert!(said.starts_with("both low Gs are heard"), "{said}");
        assert!(
            said.ends_with("and the bars around it as steady as before"),
            "{said}"
        );
    }

    /// A bar of a march is played as the march is: pointed, its birl a birl. Where a tone and what is left
    /// of its note look like a dot and its cut, that stage is even.
    #[test]
    fn a_bar_keeps_what_its_tune_says_of_itself() {
        let tune = drill(
            "kind: march\nschool: heavy-throw\npointing: 4:1\n",
            "{g}A3 {d}c {g}e4 | {g}d4 {GBG}A2 {gef}e2 | {dAGAG}A8 |",
        );
        let made = read_back(&make_in_place(&place(&tune, 1, Some(2))).expect("a drill"));
        let made = made.expect("it reads");
        assert_eq!(made.head.kind.as_deref(), Some("march"));
        assert_eq!(made.schools, tune.schools);
        let pointed: Vec<_> = made
            .stages
            .iter()
            .map(|stage| stage.music.pointing)
            .collect();
        assert_eq!(pointed.last(), Some(&tune.stages[0].music.pointing));
        let own = made
            .stages
            .iter()
            .filter(|stage| stage.own_pointing().is_some());
        let own: Vec<&str> = own.map(|stage| stage.name.as_str()).collect();
        assert_eq!(own, ["tones of a quarter beat"]);
        let last = &made.stages.last().expect("a stage").music;
        let score = crate::score::resolve_music(last, Beats::ZERO, &made.schools);
        let birl = &score.notes.last().expect("a note").group;
        assert_eq!(birl.movement.map(Movement::name), Some("birl"));
        assert!(birl.parts.iter().all(|part| part.held.is_none()));
    }

    /// A doubling begins on the beat: it takes its tone from the note it decorates.
    #[test]
    fn a_doubling_takes_its_tone_from_its_own_note() {
        let tune = drill("", "{g}A4 {gcd}c4 |");
        let stages = stages(&tune, 0, Some(1));
        assert_eq!(stages[0].1, "{g}A4 {g}c2 {d}c2 |");
    }

    fn onsets(music: &Music) -> Vec<Beats> {
        let notes = music.bars.iter().flat_map(|bar| &bar.notes);
        notes
            .scan(Beats::ZERO, |at, note| {
                let onset = *at;
                *at = *at + note.length;
                Some(onset)
            })
            .collect()
    }

    /// Every bar and every movement of every tune in the program can be practised by itself, and
    /// what stands on the beat in the tune stands there in every stage.
    #[test]
    fn every_place_of_every_written_stage_reads_back() {
        let mut places = 0;
        for built in BUILT_IN {
            let (drill, _) = read(built.text.as_bytes());
            let drill = drill.expect("built-in drills read");
            for stage in &drill.stages {
                for (bar, written) in stage.music.bars.iter().enumerate() {
                    // a pickup is practised with the bar it leads to
                    if written.length() < drill.metre.bar() {
                        continue;
                    }
                    for note in (0..written.notes.len()).map(Some).chain([None]) {
                        let drill = &drill;
                        let tune = Tune { drill, stage };
                        let place = InPlace { tune, bar, note };
                        let document = make_in_place(&place).expect(built.name);
                        let drill = read_back(&document).expect(built.name);
                        let as_written = onsets(&drill.stages.last().expect("a stage").music);
                        for stage in &drill.stages {
                            let onsets = onsets(&stage.music);
                            let all = as_written.iter().all(|onset| onsets.contains(onset));
                            assert!(all, "{} {bar} {note:?}: {}", built.name, stage.name);
                        }
                        places += 1;
                    }
                }
            }
        }
        assert!(places > 300, "{places}");
    }
}
