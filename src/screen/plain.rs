//! Shows the program in plain lines for screen readers. Each change is said once.

use super::parts::reading;
use super::parts::saying::{next_words, pointing_words};
use super::parts::session::{last_said, summary};
use crate::app::{
    Listed, Model, Offer, Overlay, Page, Practising, SoundState, Stands, Words, part_words, trouble,
};
use crate::practice::Phase;
use crate::wording;

/// What was said so far, so that nothing is said twice.
#[derive(Debug, Clone, Default)]
pub struct Plain {
    said: Said,
    /// The lines of the session's page as last printed.
    session: Vec<String>,
}

#[derive(Debug, Clone, Default, PartialEq)]
struct Said {
    page: Option<Page>,
    drill: Option<String>,
    marked: Option<String>,
    cell: Option<String>,
    notice: Option<String>,
    phase: Option<Phase>,
    breath: bool,
    sound: Option<SoundState>,
    over: Option<Overlay>,
    writing: Option<&'static str>,
    /// The offers after play has stopped by itself.
    offered: Option<String>,
    /// True where the next repetition is a cold try.
    cold: bool,
    /// The last trouble with the microphone's signal.
    trouble: Option<&'static str>,
}

impl Plain {
    /// The lines that say what has changed since the last call.
    pub fn lines(&mut self, model: &Model) -> Vec<String> {
        let mut now = said(model);
        // the microphone reports the same trouble again and again; it is said once, until another
        // one follows
        now.trouble = now.trouble.or(self.said.trouble);
        let before = std::mem::replace(&mut self.said, now.clone());
        let mut lines = Vec::new();
        if now.trouble != before.trouble
            && let Some(trouble) = now.trouble
        {
            lines.push(format!("{trouble}."));
        }
        if now.over != before.over {
            match now.over {
                Some(Overlay::Keys) => lines.extend(help_lines(model)),
                Some(Overlay::Movement) => lines.extend(reading::lines(model, usize::MAX)),
                Some(Overlay::Problems) => lines.extend(reading::problems(model)),
                None => {}
            }
        }
        match model.page() {
            Page::Choose => {
                if before.page != now.page {
                    lines.push(
                        "Choose: up and down move, letters find a drill or a movement, enter opens it, q leaves.".to_owned(),
                    );
                }
                if now.marked != before.marked || before.page != now.page {
                    lines.extend(now.marked.clone());
                }
            }
            Page::Practise => practice_lines(model, &now, &before, &mut lines),
            Page::Session => {
                let said = session_lines(model);
                if said != self.session {
                    lines.extend(said.iter().cloned());
                    self.session = said;
                }
            }
        }
        if now.writing != before.writing
            && let Some(prompt) = now.writing
        {
            lines.push(format!("Write, {prompt}; enter keeps it, escape drops it."));
        }
        if now.notice != before.notice
            && let Some(text) = now.notice
        {
            lines.push(text);
        }
        lines
    }
}

/// The marked line of the list, in sentences.
fn marked_words(line: &Listed) -> String {
    let beside = if line.is_playable() {
        &line.extent
    } else {
        "it cannot be played: enter shows why"
    };
    let told = [line.title.as_str(), &line.about, beside];
    let told = told.into_iter().filter(|text| !text.is_empty());
    let sentences: Vec<String> = told
        .map(|text| format!("{}.", text.trim_end_matches('.')))
        .collect();
    sentences.join(" ")
}

fn said(model: &Model) -> Said {
    let practising = model.practising();
    Said {
        page: Some(model.page()),
        drill: practising.map(|practising| practising.drill().title.clone()),
        marked: model.choose().current().map(marked_words),
        cell: practising
            .and_then(|practising| practising.cell().map(|cell| practising.cell_name(cell))),
        notice: model.notice().map(|notice| notice.text.clone()),
        phase: practising.map(|practising| practising.state().phase()),
        breath: practising
            .filter(|practising| practising.plays_once().is_none())
            .and_then(|practising| practising.heard())
            .is_some_and(crate::app::HeardPlace::is_breath),
        sound: Some(model.sound().clone()),
        over: model.over(),
        writing: model.words().map(Words::prompt),
        offered: practising
            .filter(|practising| practising.is_offering() && practising.plays_once().is_none())
            .map(offered),
        cold: practising.is_some_and(|practising| practising.cold().is_some()),
        trouble: model.ear().and_then(trouble),
    }
}

fn practice_lines(model: &Model, now: &Said, before: &Said, lines: &mut Vec<String>) {
    let Some(practising) = model.practising() else {
        return;
    };
    if now.drill != before.drill {
        lines.push(format!("{}.", practising.drill().title));
        if let Some(listen) = &practising.drill().listen_for {
            lines.push(format!(
                "{}.",
                wording::capital(&wording::listen_for(listen))
            ));
        }
        lines.push(
            "Space plays, enter marks clean, x not clean, u takes back, ? lists the keys."
                .to_owned(),
        );
    }
    if now.cell != before.cell
        && let Some(cell) = &now.cell
    {
        lines.push(format!("Stage: {cell}."));
        if let Some(pointing) = pointing_words(practising) {
            lines.push(format!("{}.", wording::capital(&pointing)));
        }
        if let Some(score) = practising.scores().get(practising.stage()) {
            lines.push(format!(
                "Music: {}",
                super::music_line(score, &practising.hidden_notes())
            ));
        }
    }
    if now.phase != before.phase {
        lines.push(
            match practising.state().phase() {
                Phase::Playing => "Playing.",
                Phase::Paused => "Paused.",
                Phase::Offering => "Stopped: three not clean in a row. Errors are not drilled.",
                Phase::NobodyThere => "Paused: nobody there.",
                Phase::Still => "Still.",
            }
            .to_owned(),
        );
    }
    if now.offered != before.offered
        && let Some(offered) = &now.offered
    {
        lines.push(offered.clone());
    }
    if now.cold && !before.cold {
        lines.push("The next repetition is a cold try: once, without reference.".to_owned());
    }
    if now.sound != before.sound
        && let SoundState::Sounding { device, .. } = &model.sound()
    {
        lines.push(format!("Sound on {device}."));
    }
    if now.breath && !before.breath {
        let next = wording::capital(&next_words(practising));
        lines.push(format!("Breathe and mark. {next}."));
    }
}

/// The offers after play has stopped by itself, and the press that takes each.
fn offered(practising: &Practising) -> String {
    let offers: Vec<String> = Offer::ALL
        .into_iter()
        .zip(1..)
        .filter_map(|(offer, number)| {
            let words = practising.offer_words(offer)?;
            Some(format!("{number}, {words}"))
        })
        .collect();
    let right = match practising.next_offer() {
        Some(Offer::Hear) => "hear it",
        Some(_) => "sing or tap it",
        None => "play it again",
    };
    format!(
        "Press {}. The right pedal: {right}. The left pedal: easier. Space plays it again.",
        offers.join("; ")
    )
}

/// The lines of the session's page, without its countdown.
fn session_lines(model: &Model) -> Vec<String> {
    let Some(session) = model.session() else {
        return Vec::new();
    };
    if session.stands() == Stands::Over {
        let mut lines = vec!["The session is over.".to_owned()];
        lines.extend(summary(session).into_iter().map(|line| format!("{line}.")));
        lines.push("Right or left pedal leaves.".to_owned());
        return lines;
    }
    let Some(part) = session.part() else {
        return Vec::new();
    };
    let mut lines: Vec<String> = last_said(session)
        .map(|said| format!("{}.", wording::capital(&said)))
        .into_iter()
        .collect();
    lines.extend([
        format!(
            "{} of {}: {}, {}.",
            session.at() + 1,
            session.parts().len(),
            part_words(part),
            wording::count(part.minutes() as usize, "minute", "minutes")
        ),
        "Right pedal or enter begins, left pedal or x leaves it out; it begins by itself."
            .to_owned(),
    ]);
    lines
}

fn help_lines(model: &Model) -> Vec<String> {
    let place = match model.page() {
        Page::Choose => super::KeyPlace::List,
        Page::Practise => super::KeyPlace::Practice,
        Page::Session => super::KeyPlace::Session,
    };
    super::BINDINGS
        .iter()
        .filter(|row| row.place == place || row.place == super::KeyPlace::Everywhere)
        .map(|row| format!("{}: {}.", row.shown, row.does))
        .collect()
}
