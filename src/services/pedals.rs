//! The keys that the player's own pedals send.
use crate::app::{Action, Model, Page};
use crate::practice::{Hand, Mark};
use crate::settings::{Key, Settings, keys, of};
use crossterm::event::{KeyCode, KeyEvent};

/// The keys that mark as pedals do, in addition to the usual ones.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Pedals {
    clean: Vec<KeyCode>,
    not_clean: Vec<KeyCode>,
}

impl Pedals {
    pub(crate) fn of(settings: &Settings) -> Self {
        let named = |key: Key<of::Words>| {
            let words = settings.words(key).iter();
            words.filter_map(|word| key_of(word)).collect()
        };
        Self {
            clean: named(keys::PEDAL_CLEAN),
            not_clean: named(keys::PEDAL_NOT_CLEAN),
        }
    }

    /// The action of a key of the player's own pedals on a page of the model; none for any other
    /// key.
    pub(crate) fn action(&self, model: &Model, key: KeyEvent) -> Option<Action> {
        if model.over().is_some() || model.words().is_some() {
            return None;
        }
        let mark = self.own(key)?;
        match (model.page(), mark) {
            (Page::Practise, mark) => Some(Action::Mark(mark, Hand::Pedal)),
            (Page::Session, Mark::Clean) => Some(Action::BeginPart),
            (Page::Session, Mark::NotClean) => Some(Action::NextPart),
            (Page::Choose, Mark::Clean) => Some(Action::Open),
            (Page::Choose, Mark::NotClean) => Some(Action::Move(-1)),
        }
    }

    /// The pedal that a key stands for, on pages that know only two pedals. The right one is
    /// "clean".
    pub(crate) fn side(&self, key: KeyEvent) -> Option<Mark> {
        use KeyCode::{Char, Down, Enter, Left, PageDown, PageUp, Right, Up};
        self.own(key).or(match key.code {
            PageDown | Right | Down | Enter | Char('c' | ' ') => Some(Mark::Clean),
            PageUp | Left | Up | Char('x') => Some(Mark::NotClean),
            _ => None,
        })
    }

    /// The pedal that a key stands for by the settings.
    fn own(&self, key: KeyEvent) -> Option<Mark> {
        if self.clean.contains(&key.code) {
            Some(Mark::Clean)
        } else if self.not_clean.contains(&key.code) {
            Some(Mark::NotClean)
        } else {
            None
        }
    }
}

fn key_of(word: &str) -> Option<KeyCode> {
    let mut letters = word.chars();
    if let (Some(letter), None) = (letters.next(), letters.next()) {
        return Some(KeyCode::Char(letter));
    }
    let word = word.to_lowercase();
    if let Some(number) = word
        .strip_prefix('f')
        .and_then(|number| number.parse().ok())
    {
        return Some(KeyCode::F(number));
    }
    Some(match word.as_str() {
        "home" => KeyCode::Home,
        "end" => KeyCode::End,
        "insert" => KeyCode::Insert,
        "delete" => KeyCode::Delete,
        "tab" => KeyCode::Tab,
        "backspace" => KeyCode::Backspace,
        _ => return None,
    })
}
