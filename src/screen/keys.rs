//! The meanings of all keys in one table, from which the help page and docs/reference.md are made.

use crate::app::{Action, Model, Offer, Page};
use crate::practice::{Hand, Mark};
use crate::sound::Bus;
use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};

/// The page on which a key has a meaning.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum KeyPlace {
    /// On every page.
    Everywhere,
    /// The list of drills.
    List,
    /// The practice page.
    Practice,
    /// The session's page, between two parts.
    Session,
}

/// A row of the table.
#[derive(Debug, Clone, Copy)]
pub struct Binding {
    /// The page on which the key has this meaning.
    pub place: KeyPlace,
    /// The keys.
    pub keys: &'static [KeyCode],
    /// The action of the keys.
    pub action: Action,
    /// The keys' names as shown to the player.
    pub shown: &'static str,
    /// The action as shown to the player.
    pub does: &'static str,
}

const fn row(
    place: KeyPlace,
    keys: &'static [KeyCode],
    action: Action,
    shown: &'static str,
    does: &'static str,
) -> Binding {
    Binding {
        place,
        keys,
        action,
        shown,
        does,
    }
}

use KeyCode::{
    BackTab, Backspace, Char, Down, End, Enter, Esc, Home, Left, PageDown, PageUp, Right, Tab, Up,
};

/// All keys.
pub const BINDINGS: &[Binding] = &[
    row(KeyPlace::List, &[Up], Action::Move(1), "up", "one line up"),
    row(
        KeyPlace::List,
        &[Down],
        Action::Move(-1),
        "down",
        "one line down",
    ),
    row(
        KeyPlace::List,
        &[Home],
        Action::MoveToEnd { last: false },
        "home",
        "to the first drill",
    ),
    row(
        KeyPlace::List,
        &[End],
        Action::MoveToEnd { last: true },
        "end",
        "to the last drill",
    ),
    row(
        KeyPlace::List,
        &[Enter],
        Action::Open,
        "enter",
        "begin the session, practise the drill, make the movement's drill",
    ),
    row(
        KeyPlace::List,
        &[Right, PageDown],
        Action::Open,
        "right, page down",
        "the same, from a page-turn pedal",
    ),
    row(
        KeyPlace::List,
        &[Left, PageUp],
        Action::Move(-1),
        "left, page up",
        "one line down, from a page-turn pedal",
    ),
    row(
        KeyPlace::List,
        &[Tab],
        Action::Unfold,
        "tab",
        "show the parts and phrases of a tune, or hide them",
    ),
    row(
        KeyPlace::List,
        &[Backspace],
        Action::SearchBack,
        "letters",
        "look for a drill or a movement by any of its names; of a tune also bars, as in `slipway 5-8`",
    ),
    row(
        KeyPlace::Session,
        &[PageDown, Right, Down, Enter, Char(' '), Char('c')],
        Action::BeginPart,
        "page down, right, down, enter, space, c",
        "begin what is shown",
    ),
    row(
        KeyPlace::Session,
        &[PageUp, Left, Up, Char('x')],
        Action::NextPart,
        "page up, left, up, x",
        "leave it out",
    ),
    row(
        KeyPlace::Practice,
        &[Char('g')],
        Action::NextPart,
        "g",
        "in a session: go on to the next thing",
    ),
    row(
        KeyPlace::Practice,
        &[Char(' ')],
        Action::PlayOrPause,
        "space",
        "play, pause, play again",
    ),
    row(
        KeyPlace::Practice,
        &[Enter, Char('c')],
        Action::Mark(Mark::Clean, Hand::Key),
        "enter, c",
        "clean: the repetition just heard",
    ),
    row(
        KeyPlace::Practice,
        &[PageDown, Right, Down],
        Action::Mark(Mark::Clean, Hand::Pedal),
        "page down, right, down",
        "the same, from a page-turn pedal; with nothing to mark: go on and play",
    ),
    row(
        KeyPlace::Practice,
        &[Char('x')],
        Action::Mark(Mark::NotClean, Hand::Key),
        "x",
        "not clean: the repetition just heard",
    ),
    row(
        KeyPlace::Practice,
        &[PageUp, Left, Up],
        Action::Mark(Mark::NotClean, Hand::Pedal),
        "page up, left, up",
        "the same, from a page-turn pedal; with nothing to mark: the step back, or a rung down",
    ),
    row(
        KeyPlace::Practice,
        &[Char('p')],
        Action::KeepTake,
        "p",
        "keep what you just played, to hear it again",
    ),
    row(
        KeyPlace::Practice,
        &[Char('u'), Backspace],
        Action::Undo,
        "u",
        "take the last mark back",
    ),
    row(
        KeyPlace::Practice,
        &[Char('"')],
        Action::Write { question: false },
        "\"",
        "write a word beside the last mark",
    ),
    row(
        KeyPlace::Practice,
        &[Char('a')],
        Action::Write { question: true },
        "a",
        "write a question for the teacher",
    ),
    row(
        KeyPlace::Practice,
        &[Char('+'), Char('=')],
        Action::Tempo { up: true },
        "+",
        "a rung up the ladder",
    ),
    row(
        KeyPlace::Practice,
        &[Char('-')],
        Action::Tempo { up: false },
        "-",
        "a rung down",
    ),
    row(
        KeyPlace::Practice,
        &[Tab],
        Action::Stage { next: true },
        "tab",
        "the next stage, freely where it is not open",
    ),
    row(
        KeyPlace::Practice,
        &[BackTab],
        Action::Stage { next: false },
        "shift-tab",
        "the stage before",
    ),
    row(
        KeyPlace::Practice,
        &[Char('n')],
        Action::Advance,
        "n",
        "on to the cell that was named, back to one that was suggested",
    ),
    row(
        KeyPlace::Practice,
        &[Char('1')],
        Action::Offer(Offer::Hear),
        "1",
        "where play has stopped by itself: hear it",
    ),
    row(
        KeyPlace::Practice,
        &[Char('2')],
        Action::Offer(Offer::Sing),
        "2",
        "the same: sing or tap it once with the click",
    ),
    row(
        KeyPlace::Practice,
        &[Char('3')],
        Action::Offer(Offer::Easier),
        "3",
        "the same: a stage or an opening easier",
    ),
    row(
        KeyPlace::Practice,
        &[Char('r')],
        Action::Again,
        "r",
        "begin the repetition again",
    ),
    row(KeyPlace::Practice, &[Char('s')], Action::Stop, "s", "stop"),
    row(
        KeyPlace::Practice,
        &[Char('h')],
        Action::HandsFree,
        "h",
        "hands free: clean unless you say otherwise",
    ),
    row(
        KeyPlace::Practice,
        &[Char('f')],
        Action::Reference,
        "f",
        "reference: each time, in turns, fading, none",
    ),
    row(
        KeyPlace::Practice,
        &[Char('t')],
        Action::Clicks,
        "t",
        "thin the clicks out",
    ),
    row(
        KeyPlace::Practice,
        &[Char('b')],
        Action::Subdivision,
        "b",
        "clicks between the beats",
    ),
    row(
        KeyPlace::Practice,
        &[Char('w')],
        Action::ClickSound,
        "w",
        "another sound for the click",
    ),
    row(
        KeyPlace::Practice,
        &[Char('d')],
        Action::Drones,
        "d",
        "drones on or off",
    ),
    row(
        KeyPlace::Practice,
        &[Char('m')],
        Action::Mute(Bus::Reference),
        "m",
        "reference silent or sounding",
    ),
    row(
        KeyPlace::Practice,
        &[Char('k')],
        Action::Mute(Bus::Click),
        "k",
        "click silent or sounding",
    ),
    row(
        KeyPlace::Practice,
        &[Char('.')],
        Action::Level(Bus::Click, true),
        ".",
        "click louder",
    ),
    row(
        KeyPlace::Practice,
        &[Char(',')],
        Action::Level(Bus::Click, false),
        ",",
        "click softer",
    ),
    row(
        KeyPlace::Practice,
        &[Char('>')],
        Action::Level(Bus::Reference, true),
        ">",
        "reference louder",
    ),
    row(
        KeyPlace::Practice,
        &[Char('<')],
        Action::Level(Bus::Reference, false),
        "<",
        "reference softer",
    ),
    row(
        KeyPlace::Practice,
        &[Char('v')],
        Action::HidePhrase,
        "v",
        "from memory: hide a phrase, half, all; then show it again",
    ),
    row(
        KeyPlace::Practice,
        &[Char('V')],
        Action::OtherPhrase,
        "V",
        "from memory: hide from the next phrase on",
    ),
    row(
        KeyPlace::Practice,
        &[Char('z')],
        Action::Stand,
        "z",
        "large, to be read from two metres, or the usual page",
    ),
    row(
        KeyPlace::Practice,
        &[Char('l')],
        Action::Handed,
        "l",
        "left-handed or right-handed picture",
    ),
    row(
        KeyPlace::Practice,
        &[Char('e')],
        Action::Explain,
        "e",
        "what to listen for, where the time comes from",
    ),
    row(
        KeyPlace::Practice,
        &[Char('i')],
        Action::ReadMovement,
        "i",
        "the movement explained in full, to read",
    ),
    row(
        KeyPlace::Everywhere,
        &[Char('?')],
        Action::Help,
        "?",
        "these keys",
    ),
    row(
        KeyPlace::Everywhere,
        &[Char('q'), Esc],
        Action::Leave,
        "q, esc",
        "leave this page; in the list, the program",
    ),
];

/// Keys that are shown together in the help.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HelpGroup {
    /// The purpose of the keys, in one word.
    pub headline: &'static str,
    /// The page on which the keys have this meaning.
    pub place: KeyPlace,
    /// Pairs of a key and a few words about its action.
    pub rows: &'static [(&'static str, &'static str)],
}

impl HelpGroup {
    /// The keys of the group as one line for a screen reader.
    pub fn spoken(&self) -> String {
        let rows: Vec<String> = self
            .rows
            .iter()
            .map(|(keys, does)| format!("{keys}: {does}"))
            .collect();
        format!("{}.", rows.join("; "))
    }
}

/// The help: every key with a few words, so that all keys fit one page. A test checks that none is
/// missing.
pub const HELP: &[HelpGroup] = &[
    HelpGroup {
        headline: "choose",
        place: KeyPlace::List,
        rows: &[
            ("up, down", "a line"),
            ("home, end", "the first, the last"),
            ("enter", "begin what is marked"),
            ("right, pgdn", "pedal: begin it"),
            ("left, pgup", "pedal: a line down"),
            ("tab", "a tune's phrases"),
            ("letters", "find by name"),
        ],
    },
    HelpGroup {
        headline: "session",
        place: KeyPlace::Session,
        rows: &[
            ("right, enter", "begin what is shown"),
            ("left, x", "leave it out"),
        ],
    },
    HelpGroup {
        headline: "play",
        place: KeyPlace::Practice,
        rows: &[
            ("space", "play, pause, play on"),
            ("r", "the repetition again"),
            ("s", "stop"),
            ("1, 2, 3", "hear, sing, easier"),
            ("g", "session: the next thing"),
        ],
    },
    HelpGroup {
        headline: "mark",
        place: KeyPlace::Practice,
        rows: &[
            ("enter, c", "clean"),
            ("x", "not clean"),
            ("right", "pedal: clean, or play"),
            ("left", "pedal: not, or slower"),
            ("u", "take the last mark back"),
            ("h", "hands free"),
            ("p", "keep what you played"),
            ("\"", "a word beside the mark"),
            ("a", "ask the teacher"),
        ],
    },
    HelpGroup {
        headline: "move",
        place: KeyPlace::Practice,
        rows: &[
            ("+, -", "a rung up, down"),
            ("tab, shift-tab", "stage on, stage back"),
            ("n", "the cell that was named"),
        ],
    },
    HelpGroup {
        headline: "sound",
        place: KeyPlace::Practice,
        rows: &[
            ("f", "when reference plays"),
            ("m", "reference silent"),
            (">, <", "reference up, down"),
            ("k", "click silent"),
            ("., ,", "click up, down"),
            ("t", "thin the clicks out"),
            ("b", "clicks between beats"),
            ("w", "another click"),
            ("d", "drones"),
        ],
    },
    HelpGroup {
        headline: "view",
        place: KeyPlace::Practice,
        rows: &[
            ("v", "hide phrase, half, all"),
            ("V", "from the next phrase on"),
            ("z", "large, for two metres"),
            ("l", "left-handed picture"),
        ],
    },
    HelpGroup {
        headline: "read",
        place: KeyPlace::Practice,
        rows: &[
            ("e", "what to listen for"),
            ("i", "the movement in full"),
            ("?", "these keys"),
            ("q, esc", "leave the page"),
        ],
    },
];

/// The keys of the warm-up page.
pub const HELP_WARM: HelpGroup = HelpGroup {
    headline: "warm-up",
    place: KeyPlace::Everywhere,
    rows: &[
        ("right, space", "pause, go on"),
        ("left, n", "on to the next"),
        ("ctrl-z", "suspend"),
        ("?", "these keys"),
        ("q, esc", "leave"),
    ],
};

/// The keys of `hear`, the page on which a movement is heard clean or with a fault.
pub const HELP_HEAR: HelpGroup = HelpGroup {
    headline: "hear",
    place: KeyPlace::Everywhere,
    rows: &[
        ("right, c", "clean; begin, once more"),
        ("left, x", "a fault; both again"),
        ("ctrl-z", "suspend"),
        ("?", "these keys"),
        ("q, esc", "leave"),
    ],
};

/// The keys of the page for blowing evenly.
pub const HELP_BLOW: HelpGroup = HelpGroup {
    headline: "blow",
    place: KeyPlace::Everywhere,
    rows: &[
        ("ctrl-z", "suspend"),
        ("?", "these keys"),
        ("q, esc", "leave"),
    ],
};

/// The groups of the help, with those of this page first.
pub(super) fn help_of(place: KeyPlace) -> impl Iterator<Item = &'static HelpGroup> {
    let own = HELP.iter().filter(move |group| group.place == place);
    let rest = HELP
        .iter()
        .filter(move |group| group.place == KeyPlace::Practice && group.place != place);
    own.chain(rest)
}

/// The action of a key on the page that is shown; none where the key has no meaning.
pub fn action(model: &Model, key: KeyEvent) -> Option<Action> {
    if key.kind == KeyEventKind::Release {
        return None;
    }
    if key.modifiers.contains(KeyModifiers::CONTROL) {
        return match key.code {
            Char('z') => Some(Action::Suspend),
            Char('c') => Some(Action::End),
            _ => None,
        };
    }
    if model.words().is_some() {
        return match key.code {
            Char(letter) => Some(Action::Letter(letter)),
            Backspace => Some(Action::LetterBack),
            Enter => Some(Action::KeepWords),
            Esc => Some(Action::Leave),
            _ => None,
        };
    }
    if model.over().is_some() {
        return match key.code {
            Char('?' | 'i' | 'q' | ' ') | Esc | Enter => Some(Action::Leave),
            Up | Char('k') => Some(Action::Move(1)),
            Down | Char('j') => Some(Action::Move(-1)),
            PageUp | Left => Some(Action::Move(10)),
            PageDown | Right => Some(Action::Move(-10)),
            _ => None,
        };
    }
    // on the start page a letter goes into the search at once; only while the search is empty do
    // `q` and `?` keep their meanings
    if model.page() == Page::Choose
        && let Char(letter) = key.code
        && (!model.choose().letters().is_empty() || !matches!(letter, '?' | 'q' | ' '))
    {
        return Some(Action::Search(letter));
    }
    let place = match model.page() {
        Page::Choose => KeyPlace::List,
        Page::Practise => KeyPlace::Practice,
        Page::Session => KeyPlace::Session,
    };
    BINDINGS
        .iter()
        .filter(|binding| binding.place == place || binding.place == KeyPlace::Everywhere)
        .find(|binding| binding.keys.contains(&key.code))
        .map(|binding| binding.action)
}

/// The keys of a page as a Markdown table, for docs/reference.md.
pub fn key_table(place: KeyPlace) -> String {
    use std::fmt::Write as _;
    let mut text = String::from("| key | does |\n|---|---|\n");
    for binding in BINDINGS.iter().filter(|binding| binding.place == place) {
        let _ = writeln!(text, "| `{}` | {} |", binding.shown, binding.does);
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::{Overlay, Words};

    /// Where two rows have the same key on the same page, the second could never be reached.
    #[test]
    fn no_key_has_two_meanings_on_a_page() {
        for place in [KeyPlace::List, KeyPlace::Practice, KeyPlace::Session] {
            let mut seen: Vec<KeyCode> = Vec::new();
            for binding in BINDINGS
                .iter()
                .filter(|row| row.place == place || row.place == KeyPlace::Everywhere)
            {
                for key in binding.keys {
                    assert!(!seen.contains(key), "{key:?} in {place:?}");
                    seen.push(*key);
                }
            }
        }
    }

    /// A key that has an action must be in the help, or nobody would find it.
    #[test]
    fn the_page_of_help_has_every_key() {
        for binding in BINDINGS {
            let first = binding.shown.split(", ").next().unwrap_or_default();
            // the name `page up, down` stands for `page down` too
            let first = first.rsplit(' ').next().unwrap_or(first);
            let place = match binding.place {
                KeyPlace::Everywhere => KeyPlace::Practice,
                place => place,
            };
            let has = help_of(place)
                .filter(|group| group.place == place)
                .any(|group| {
                    group.rows.iter().any(|(keys, _)| {
                        let alike = |word: &str| binding.shown.split(", ").any(|own| own == word);
                        keys.contains(first) || keys.split(", ").any(alike)
                    })
                });
            assert!(has, "`{}` ({})", binding.shown, binding.does);
        }
    }

    /// While a text is read, a pedal turns its pages. It must not mark anything.
    #[test]
    fn nothing_marks_while_something_is_read() {
        for over in [Overlay::Keys, Overlay::Movement, Overlay::Problems] {
            let model = Model::showing(Page::Practise, Some(over), None);
            for code in [Up, Down, Left, Right, PageUp, PageDown, Enter, Char('x')] {
                let found = action(&model, KeyEvent::new(code, KeyModifiers::NONE));
                assert!(
                    matches!(found, None | Some(Action::Move(_) | Action::Leave)),
                    "{code:?} over {over:?}"
                );
            }
        }
    }

    /// While the player writes, a letter must not mark, and a pedal that is held down must do
    /// nothing.
    #[test]
    fn letters_are_letters_while_words_are_written() {
        let words = Words {
            about: None,
            text: String::new(),
        };
        let model = Model::showing(Page::Practise, None, Some(words));
        for code in [Char('x'), Char('c'), Char(' '), Char('?'), Char('q')] {
            let found = action(&model, KeyEvent::new(code, KeyModifiers::NONE));
            assert!(matches!(found, Some(Action::Letter(_))), "{code:?}");
        }
        for code in [Up, Down, Left, Right, PageUp, PageDown] {
            let found = action(&model, KeyEvent::new(code, KeyModifiers::NONE));
            assert_eq!(found, None, "{code:?}");
        }
    }

    /// A pedal that sends page keys acts as a pedal on the start page too, and does not jump ten
    /// lines.
    #[test]
    fn page_keys_are_pedals_on_every_page() {
        for page in [Page::Choose, Page::Session, Page::Practise] {
            let model = Model::showing(page, None, None);
            let does = |code| action(&model, KeyEvent::new(code, KeyModifiers::NONE));
            assert_eq!(does(PageDown), does(Right), "{page:?}");
            assert_eq!(does(PageUp), does(Left), "{page:?}");
            assert!(does(Right).is_some() && does(Left).is_some(), "{page:?}");
        }
    }

    /// Pedals may send arrow keys or page keys, so on the practice page these keys must do nothing
    /// but mark.
    #[test]
    fn arrows_and_page_keys_only_mark_while_practising() {
        let model = Model::showing(Page::Practise, None, None);
        for code in [Up, Down, Left, Right, PageUp, PageDown] {
            let found = action(&model, KeyEvent::new(code, KeyModifiers::NONE));
            assert!(
                matches!(found, Some(Action::Mark(_, Hand::Pedal))),
                "{code:?}"
            );
        }
    }
}
