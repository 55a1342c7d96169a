//! A line of the start page: what it opens, how it is found, and what stands beside it.

use crate::drill::BarRange;
use crate::wording::has_words;

/// What a line of the list opens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Opens {
    /// Today's session.
    Session,
    /// A task of homework that is not reached.
    Homework,
    /// A drill.
    Drill,
    /// A movement of the catalogue: its drill is made and opened.
    Movement,
    /// Some bars of the tune of that name: their drill is made and opened.
    Bars(BarRange),
    /// A tune with its dots held longer first: that drill is made and opened.
    HeldDots,
}

/// A line of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// What it opens.
    pub opens: Opens,
    /// The name it is opened by.
    pub name: String,
    /// Which drill of a homework file, where it holds several.
    pub task: Option<String>,
    /// Its title.
    pub title: String,
    /// What it is for.
    pub about: String,
    /// Other names it is found by.
    pub also: String,
    /// Stages, first and last tempo, in a few words.
    pub extent: String,
    /// How much of its board is done, in a few words; empty where nothing was played.
    pub progress: String,
    /// When it was played last, in a few words; empty where it never was.
    pub last: String,
    /// Where practice would begin and the music there, once the drill was read; several lines.
    pub preview: Vec<String>,
    /// How many cells are clear, of how many, where anything was played.
    pub share: Option<(usize, usize)>,
    /// The board in small: a row of signs for each rung, the highest first, with the rung before it.
    pub board: Vec<(String, String)>,
    /// Every problem that keeps it from being played; empty where it can be.
    pub problems: Vec<String>,
    /// The problems in full: each with its line and how to mend it.
    pub in_full: String,
    /// The parts and phrases of a tune, each a line that opens its bars.
    pub pieces: Vec<Listed>,
    /// All bars of a tune.
    pub bars: Option<BarRange>,
}

impl Listed {
    /// A line that opens something by its name, with nothing known of it yet.
    pub fn new(opens: Opens, name: &str, title: &str) -> Self {
        Self {
            opens,
            name: name.to_owned(),
            task: None,
            title: title.to_owned(),
            about: String::new(),
            also: String::new(),
            extent: String::new(),
            progress: String::new(),
            last: String::new(),
            preview: Vec::new(),
            share: None,
            board: Vec::new(),
            problems: Vec::new(),
            in_full: String::new(),
            pieces: Vec::new(),
            bars: None,
        }
    }

    /// A line that opens bars of this tune.
    pub fn piece(&self, title: &str, bars: BarRange) -> Self {
        Self {
            about: format!(
                "By itself, with the pickup before it and the next note after it. Any bars: type a \
                 name of the tune and the bars, such as `{} 5-8`.",
                self.name
            ),
            extent: bars.spoken(),
            ..Self::new(Opens::Bars(bars), &self.name, title)
        }
    }

    /// A line that opens this tune with its dots held longer first; `pointing` says how it is pointed.
    pub fn held_dots(&self, pointing: &str) -> Self {
        Self {
            about: format!(
                "Its dots held longer than in the tune, their cuts short and clear; then as in the \
                 tune, {pointing}."
            ),
            extent: "a stage for the dots, then the tune".to_owned(),
            ..Self::new(Opens::HeldDots, &self.name, "dots held longer")
        }
    }

    /// False where it has problems and cannot be played.
    pub fn is_playable(&self) -> bool {
        self.problems.is_empty()
    }

    /// The names it is found by.
    pub(super) fn names(&self) -> String {
        format!("{} {} {}", self.name, self.title, self.also)
    }

    /// True where all words that are searched for stand among its names, or among its names and its
    /// purpose together.
    pub(super) fn has(&self, words: &str) -> bool {
        has_words(words, &format!("{} {}", self.names(), self.about))
    }
}
