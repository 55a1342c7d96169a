//! A piece made fit for a drill, and what was changed on the way told, each thing once.

use super::remarks::listed;
use super::{Piece, Section};
use crate::chanter::Note;
use crate::drill::{Place, Problem, ProblemKind, Severity};
use crate::movement::{Context, Movement, Schools, place_group};
use crate::rhythm::{names_air, names_march_or_dance, names_pibroch};
use crate::units::write_fraction;
use std::collections::HashMap;

impl Piece {
    /// This piece when a drill can be made of it: no error among `problems`, and the drill file
    /// reads without one. Equal changes are told once, with their number.
    pub(in crate::exchange) fn finished(
        self,
        mut problems: Vec<Problem>,
    ) -> (Option<Self>, Vec<Problem>) {
        let mut this = self;
        this.clean(&mut problems);
        let fails = |problems: &[Problem]| {
            problems
                .iter()
                .any(|problem| problem.severity() == Severity::Error)
        };
        if this.sections.is_empty() && !fails(&problems) {
            problems.push(refused("no music was found".to_owned()));
        }
        if let Some(kind) = this.without_kind() {
            problems.push(Problem::new(Place::WHOLE_FILE, kind));
        }
        if !fails(&problems) {
            this.drop_what_does_not_fit(&mut problems);
            let (_, found) = this.drill();
            problems.extend(
                found
                    .iter()
                    .filter(|problem| problem.severity() == Severity::Error)
                    .map(|problem| refused(problem.kind.to_string())),
            );
        }
        let problems = counted(problems);
        let piece = (!fails(&problems)).then_some(this);
        (piece, problems)
    }

    /// The piece as a tune of a kind, and its problems without what that settles.
    pub fn of_kind(mut self, kind: &str, mut problems: Vec<Problem>) -> (Self, Vec<Problem>) {
        let before = self.without_kind();
        let kind = Some(plain(kind, 110)).filter(|kind| !kind.is_empty());
        self.head.kind = kind.or(self.head.kind);
        if self.without_kind().is_none() {
            problems.retain(|problem| Some(&problem.kind) != before.as_ref());
        }
        (self, problems)
    }

    /// What is read as a movement that only a ground has, in a tune that does not say what kind it is:
    /// in a march the hiharin would be a birl.
    fn without_kind(&self) -> Option<ProblemKind> {
        let [only] = self.sections.as_slice() else {
            return None;
        };
        let kind = self.head.kind.as_deref().unwrap_or_default();
        let says = names_march_or_dance(kind) || names_pibroch(kind) || names_air(kind);
        if only.name != Section::ONLY || self.metre.is_free() || says {
            return None;
        }
        let light = Schools::none().in_light_music(true);
        // groups that are alike are looked up once: a long file may hold one for each note
        let mut looked_up: HashMap<(Context, Vec<Note>), Option<Movement>> = HashMap::new();
        let mut before = None;
        let mut first = None;
        let mut bars: Vec<u16> = Vec::new();
        for note in only.score.notes.iter().filter(|note| !note.continues) {
            let context = Context {
                before: before.replace(note.note),
                after: note.note,
            };
            let parts = &note.group.parts;
            let held = parts.iter().any(|part| part.held.is_some());
            let Some(own) = note.group.movement.filter(|_| held && note.id.pass == 1) else {
                continue;
            };
            let gracenotes = parts.iter().map(|part| part.note).collect();
            let other = looked_up.entry((context, gracenotes)).or_insert_with_key(
                |(context, gracenotes)| place_group(gracenotes, *context, &light).movement,
            );
            if let Some(other) = other.filter(|other| *other != own) {
                first.get_or_insert((own.spoken(), other.spoken()));
                bars.push(note.id.bar);
            }
        }
        let (own, other) = first?;
        let times = bars.len();
        bars.dedup();
        Some(ProblemKind::Adopted {
            found: format!("a {own} or a {other}, as the kind of tune has it"),
            done: format!(
                "read as a {own}, whose first tone is held, because no kind is said; `import --kind \
                 march`, or `R:march` in an ABC file, makes it a {other}"
            ),
            times,
            bars,
        })
    }

    /// Another program may have changed the music or the ladder, and our remarks beside them say what was
    /// true before: the music counts. What fits is kept, and each thing that does not is told.
    fn drop_what_does_not_fit(&mut self, problems: &mut Vec<Problem>) {
        let fits = |piece: &Self| piece.drill().0.is_some();
        if Kept::ALL.iter().all(|what| what.said(self).is_empty()) || fits(self) {
            return;
        }
        let mut kept = self.clone();
        for what in Kept::ALL {
            what.leave_out(&mut kept);
        }
        if !fits(&kept) {
            return;
        }
        for what in Kept::ALL {
            let said = what.said(self);
            let mut with = kept.clone();
            what.put_back(&mut with, self);
            if fits(&with) {
                kept = with;
            } else {
                for said in said {
                    problems.push(adopted(said, "left out"));
                }
            }
        }
        *self = kept;
    }

    /// Names that a drill file can hold.
    fn clean(&mut self, problems: &mut Vec<Problem>) {
        let title = plain(&self.title, 120);
        if title.is_empty() {
            problems.push(adopted("no title", "it is called `untitled`"));
            "untitled".clone_into(&mut self.title);
        } else {
            self.title = title;
        }
        let tidy = |text: &mut Option<String>| {
            *text = text
                .take()
                .map(|text| plain(&text, 2000))
                .filter(|text| !text.is_empty());
        };
        let short = |text: &String| Some(plain(text, 110)).filter(|text| !text.is_empty());
        let head = &mut self.head;
        head.also = head.also.iter().filter_map(short).collect();
        for text in [&mut head.kind, &mut head.composer, &mut head.origin] {
            *text = text.as_ref().and_then(short);
        }
        tidy(&mut self.about);
        tidy(&mut self.practice.listen_for);
        let mut names: Vec<String> = Vec::new();
        for (place, section) in self.sections.iter_mut().enumerate() {
            let mut name = plain(&section.name, 110);
            if name.is_empty() {
                name = format!("stage {}", place + 1);
            }
            let first = name.clone();
            let mut number = 2;
            while names.contains(&name) {
                name = format!("{first} {number}");
                number += 1;
            }
            names.push(name.clone());
            section.name = name;
            tidy(&mut section.listen_for);
        }
    }
}

/// What is said beside the music and must fit it.
#[derive(Clone, Copy)]
enum Kept {
    Phrases,
    UpTo,
    Pointing,
}

impl Kept {
    const ALL: [Self; 3] = [Self::Phrases, Self::UpTo, Self::Pointing];

    /// What a piece says of it, as sentences name it.
    fn said(self, piece: &Piece) -> Vec<String> {
        let of_stages = |what: &str, said: fn(&Section) -> Option<String>| {
            let sections = piece.sections.iter();
            sections
                .filter_map(|own| {
                    Some(format!(
                        "{what} of `{}`, {}, which no longer fits",
                        own.name,
                        said(own)?
                    ))
                })
                .collect()
        };
        match self {
            Self::Phrases => {
                let phrases = listed(&piece.practice.phrases);
                phrases
                    .map(|own| format!("the phrases {own}, which no longer fit the music"))
                    .into_iter()
                    .collect()
            }
            Self::UpTo => of_stages("the last tempo", |own| {
                own.up_to.map(|tempo| write_fraction(&tempo.value()))
            }),
            Self::Pointing => of_stages("the pointing", |own| own.pointing.clone()),
        }
    }

    fn leave_out(self, piece: &mut Piece) {
        match self {
            Self::Phrases => piece.practice.phrases.clear(),
            Self::UpTo => piece.sections.iter_mut().for_each(|own| own.up_to = None),
            Self::Pointing => piece
                .sections
                .iter_mut()
                .for_each(|own| own.pointing = None),
        }
    }

    fn put_back(self, piece: &mut Piece, from: &Piece) {
        if matches!(self, Self::Phrases) {
            piece.practice.phrases.clone_from(&from.practice.phrases);
        }
        for (own, from) in piece.sections.iter_mut().zip(&from.sections) {
            match self {
                Self::Phrases => {}
                Self::UpTo => own.up_to = from.up_to,
                Self::Pointing => own.pointing.clone_from(&from.pointing),
            }
        }
    }
}

/// Text without what would upset a terminal, of so many characters at most.
fn plain(text: &str, most: usize) -> String {
    let words: Vec<&str> = text.split_whitespace().collect();
    let shown: String = words
        .join(" ")
        .chars()
        .filter(|sign| {
            !sign.is_control()
                && !matches!(sign, '\u{202a}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{feff}')
        })
        .take(most)
        .collect();
    shown.trim().to_owned()
}

/// The report of a change to the whole file.
pub(in crate::exchange) fn adopted(found: impl Into<String>, done: impl Into<String>) -> Problem {
    adopted_at(Place::WHOLE_FILE, found, done)
}

/// The report of a change, at its place.
pub(in crate::exchange) fn adopted_at(
    place: Place,
    found: impl Into<String>,
    done: impl Into<String>,
) -> Problem {
    Problem::new(place, ProblemKind::adopted(found, done, Vec::new()))
}

/// Why no drill can be made of the whole file.
pub(in crate::exchange) fn refused(found: String) -> Problem {
    foreign(Place::WHOLE_FILE, found, "music that a drill can hold")
}

/// Why no drill can be made of it, at its place.
pub(in crate::exchange) fn foreign(
    place: Place,
    found: impl Into<String>,
    expected: impl Into<String>,
) -> Problem {
    let kind = ProblemKind::Foreign {
        found: found.into(),
        expected: expected.into(),
    };
    Problem::new(place, kind)
}

/// Equal changes become one, told where the first stands.
fn counted(mut problems: Vec<Problem>) -> Vec<Problem> {
    problems.sort_by_key(|problem| problem.place);
    let mut merged: Vec<Problem> = Vec::new();
    let mut seen: HashMap<(String, String), usize> = HashMap::new();
    for problem in problems {
        if let Some((found, done)) = problem.kind.change() {
            let key = (found.to_owned(), done.to_owned());
            if let Some(first) = seen.get(&key).and_then(|first| merged.get_mut(*first)) {
                first.kind.take_in(&problem.kind);
                continue;
            }
            seen.insert(key, merged.len());
        }
        merged.push(problem);
    }
    merged
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn equal_changes_are_told_once_with_their_number() {
        let problems = counted(vec![
            adopted("a slur", "left out"),
            adopted("a slur", "left out"),
        ]);
        assert_eq!(problems.len(), 1);
        assert_eq!(problems[0].kind.to_string(), "a slur (2 times): left out");
    }
}
