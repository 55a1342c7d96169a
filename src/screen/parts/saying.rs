//! The words of the practice page for each size of window: what sounds, where the player is, what
//! comes next, the last notice, and what the keys do.

use super::{fitted, frame, put, wrapped};
use crate::app::{Model, Notice, Offer, Practising, Sounding, Words};
use crate::practice::{CellKey, CellStatus, Mark, Meant, Rung};
use crate::score::NoteId;
use crate::screen::Theme;
use crate::timeline::Sounded;
use crate::units::spell_fraction;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use unicode_width::UnicodeWidthChar;

/// What sounds now. Before anything is audible, no note sounds and the first note comes next. A
/// note that is hidden for playing from memory is left out.
pub(super) fn sounding(practising: &Practising) -> Sounding {
    let Sounding { now, next } = match &practising.heard() {
        Some(place) => place.sounding(),
        None => practising.first_sound(),
    };
    let hidden = practising.hidden_notes();
    let shown = |sounded: &Sounded| {
        let melody = NoteId {
            pass: 1,
            ..sounded.id.melody()
        };
        !hidden.contains(&melody)
    };
    Sounding {
        now: now.filter(shown),
        next: next.filter(shown),
    }
}

/// The beat, the streak, and the tempo or tone length, each with its label.
pub(super) fn numbers(practising: &Practising) -> [(String, &'static str); 3] {
    let needed = practising.state().plan().needed();
    let streak = format!("{}/{needed}", practising.streak());
    let beat = practising
        .heard()
        .filter(|_| practising.is_playing())
        .map_or_else(
            || "-".to_owned(),
            |place| (place.count_of_bar() + 1).to_string(),
        );
    let (tempo, of_tempo) = match practising.rung() {
        Rung::Tempo(tempo) => {
            let counts = practising.drill().metre.counts_of_tempo();
            (
                tempo.value(),
                if counts == "beats" { "tempo" } else { counts },
            )
        }
        Rung::Opened { tone, .. } => (tone.0, "ms a tone"),
    };
    [
        (beat, "beat"),
        (streak, "in a row"),
        (spell_fraction(&tempo), of_tempo),
    ]
}

/// What comes next, in one sentence.
pub(in crate::screen) fn next_words(practising: &Practising) -> String {
    next_forms(practising).swap_remove(0)
}

/// What comes next: the whole sentence, then shorter and shorter ones. The last one has at most
/// fifteen columns, for windows where the figures below the staff leave no more.
pub(super) fn next_forms(practising: &Practising) -> Vec<String> {
    let forms = |all: &[&str]| all.iter().map(|one| (*one).to_owned()).collect();
    let state = &practising.state();
    let here = practising.shown_cell();
    match practising.plays_once() {
        Some(_) => return forms(&["once, and nothing is marked", "once, no marks"]),
        None if practising.is_offering() => {
            return forms(&["stopped: choose below", "choose below"]);
        }
        None => {}
    }
    if practising.cold().is_some() {
        return forms(&["cold try, alone", "cold try"]);
    }
    if practising.due() {
        return forms(&["due: first try tells", "first try tells"]);
    }
    if state.stops_soon() {
        return forms(&["stops at the bar line", "stops soon"]);
    }
    // during the count-in of another cell, the words are no longer about the cell before
    let arrived = state.cell() == here;
    if let Some(cell) = state.suggestion().filter(|_| arrived) {
        return cell_forms(practising, cell, ("step back? n: ", "n: to "), "");
    }
    match state.upcoming() {
        Some(cell) if Some(cell) != here => cell_forms(practising, cell, ("next: ", "next: "), ""),
        _ => match state.named().filter(|_| arrived) {
            Some(cell) => cell_forms(practising, cell, ("next: ", "next: "), " (n)"),
            None if state.board().is_complete() => forms(&["every cell is clear", "all clear"]),
            None if here.is_some_and(|cell| state.status(cell) == CellStatus::Clear) => {
                forms(&["clear already"])
            }
            None => {
                let left = state.plan().needed().saturating_sub(practising.streak());
                // in free play, clearing this cell counts and passes all cells before it
                if state.is_free_play() {
                    vec![
                        format!("free: {left} more to clear"),
                        format!("free: {left} more"),
                    ]
                } else {
                    vec![format!("{left} more to clear"), format!("{left} more")]
                }
            }
        },
    }
}

/// The words about a cell, from long to short: the whole name, then only what differs from here
/// (the rung in the same stage, the stage on the same rung), then the number of the stage.
fn cell_forms(
    practising: &Practising,
    cell: CellKey,
    (head, short): (&str, &str),
    tail: &str,
) -> Vec<String> {
    let mut forms = vec![format!("{head}{}{tail}", practising.cell_name(cell))];
    let here = practising.shown_cell();
    let at = practising.stage_of(cell);
    if here.is_some_and(|here| here.stage == cell.stage) {
        forms.push(format!("{short}{}", cell.rung.spoken()));
    } else if let Some(at) = at {
        if here.is_some_and(|here| here.rung == cell.rung) {
            forms.push(format!("{short}{}", practising.drill().stages[at].name));
        }
        forms.push(format!("{short}stage {}", at + 1));
    }
    forms
}

pub(super) fn standing_words(practising: &Practising) -> String {
    let needed = practising.state().plan().needed();
    let by_heart = practising.clean_by_heart();
    let by_heart = by_heart.map_or_else(String::new, |count| format!(" · {count} by heart"));
    format!(
        "{}/{needed} clean{by_heart} · {} · {}",
        practising.streak(),
        practising.rung().spoken(),
        next_words(practising)
    )
}

/// How the dotted notes of this stage are to be pointed: by the stage's own range, or else by the
/// drill's.
pub(in crate::screen) fn pointing_words(practising: &Practising) -> Option<String> {
    let stage = practising.drill().stages.get(practising.stage())?;
    let pairs = stage.music.has_pairs();
    stage.music.pointing.spoken().filter(|_| pairs)
}

/// Draws the text that the player is writing, with its end visible.
fn writing(words: &Words, theme: Theme, buffer: &mut Buffer, area: Rect) {
    let head = format!("{}: ", words.prompt());
    let room = usize::from(area.width).saturating_sub(head.chars().count() + 1);
    let signs: Vec<char> = words.text.chars().collect();
    let mut from = signs.len();
    let mut wide = 0;
    while from > 0 {
        wide += signs[from - 1].width().unwrap_or(0);
        if wide > room {
            break;
        }
        from -= 1;
    }
    let tail: String = signs[from..].iter().collect();
    let text = format!("{head}{tail}▏");
    put(buffer, area, area.x, area.y, &text, theme.strong());
}

pub(super) fn notice(model: &Model, theme: Theme, buffer: &mut Buffer, area: Rect) {
    if let Some(words) = model.words() {
        writing(words, theme, buffer, area);
        return;
    }
    let offered = model
        .practising()
        .and_then(|practising| offered(practising, model.notice()));
    if let Some(notice) = offered.as_ref().or(model.notice()) {
        let style = if notice.urgent {
            theme.warning()
        } else {
            theme.strong()
        };
        let lines = wrapped(&notice.text, area.width);
        let shown = usize::from(area.height);
        for (row, text) in lines.iter().take(shown).enumerate() {
            let cut = row + 1 == shown && lines.len() > shown;
            let text = if cut {
                fitted(&lines[row..].join(" "), area.width)
            } else {
                text.clone()
            };
            put(buffer, area, area.x, area.y + row as u16, &text, style);
        }
    }
}

/// The offers after play has stopped by itself, in their order, after the last notice.
pub(in crate::screen) fn offered(practising: &Practising, said: Option<&Notice>) -> Option<Notice> {
    if !practising.is_offering() || practising.plays_once().is_some() {
        return None;
    }
    let next = practising.next_offer();
    let offers: Vec<String> = Offer::ALL
        .into_iter()
        .zip(1..)
        .filter_map(|(offer, number)| {
            let here = if next == Some(offer) { "▸" } else { "" };
            let words = practising.offer_words(offer)?;
            Some(format!("{here}{number} {words}"))
        })
        .collect();
    let offers = offers.join(" · ");
    Some(said.cloned().unwrap_or_else(|| Notice::plain(offers)))
}

/// What the keys and pedals for clean and not clean do while offers are shown.
fn pressed(practising: &Practising) -> Vec<(&'static str, &'static str)> {
    let right = match practising.next_offer() {
        Some(Offer::Hear) => "hear it",
        Some(_) => "sing or tap it",
        None => "again",
    };
    let left = match practising.offer_words(Offer::Easier) {
        Some(_) => "easier",
        None => "again",
    };
    vec![("right/enter", right), ("left/x", left), ("space", "again")]
}

/// What the keys and pedals for clean and not clean do where they mark: a repetition that has its mark
/// takes the move that the mark suggests. Before the first closing note there is nothing to mark.
fn marked(practising: &Practising) -> Vec<(&'static str, &'static str)> {
    let means = |mark| practising.state().press_means(mark);
    let (Some(clean), Some(not_clean)) = (means(Mark::Clean), means(Mark::NotClean)) else {
        return vec![("pedals", "mark at its end")];
    };
    let right = match clean {
        Meant::GoesOn(_) => "next",
        _ => "clean",
    };
    let left = match not_clean {
        Meant::StepsBack(_) => "step back",
        _ => "not clean",
    };
    vec![("right/enter", right), ("left/x", left)]
}

/// The left pedal where it goes a rung down; nothing on the lowest.
fn rung_down(practising: &Practising) -> Option<(&'static str, &'static str)> {
    let state = practising.state();
    let lower = state.plan().below(state.upcoming()?);
    lower.map(|_| ("left", "rung down"))
}

/// What the keys and pedals do now.
pub(super) fn keys(
    model: &Model,
    theme: Theme,
    buffer: &mut Buffer,
    area: Rect,
    practising: &Practising,
) {
    let marks = !practising.pedal_plays();
    let mut all = match practising.is_playing() {
        _ if model.words().is_some() => vec![("enter", "keeps it"), ("esc", "drops it")],
        _ if practising.is_offering() => {
            let mut keys = pressed(practising);
            keys.push(("u", "undo"));
            keys
        }
        true => {
            let mut keys = marked(practising);
            keys.extend([("u", "undo"), ("space", "pause")]);
            keys
        }
        false if marks => {
            let mut keys = marked(practising);
            keys.push(("space", "play"));
            keys
        }
        false if practising.goes_on_to().is_some() => {
            let mut keys = vec![("right/n", "next"), ("space", "play")];
            keys.extend(rung_down(practising));
            keys.push(("e", "explain"));
            keys
        }
        false if practising.goes_back_to().is_some() => vec![
            ("right/space", "play"),
            ("left/n", "step back"),
            ("tab", "stage"),
            ("e", "explain"),
        ],
        false => {
            let mut keys = vec![("right/space", "play")];
            keys.extend(rung_down(practising));
            keys.extend([("tab", "stage"), ("e", "explain")]);
            keys
        }
    };
    if model.words().is_none() {
        if area.width >= 70 {
            all.push(("q", "leave"));
        }
        all.push(("?", "keys"));
    }
    frame::keys(buffer, area, &all, theme);
}
