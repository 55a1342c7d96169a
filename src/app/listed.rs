//! A line of the start page: what it opens, by which names it is found, and what is shown beside
//! it.

use crate::drill::BarRange;
use crate::wording::has_words;

/// What a line of the list opens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Opens {
    /// Today's session.
    Session,
    /// A homework task whose goal is not reached yet.
    Homework,
    /// A drill.
    Drill,
    /// A movement of the catalogue; its drill is made and opened.
    Movement,
    /// Some bars of the tune with the line's name; a drill of them is made and opened.
    Bars(BarRange),
    /// A tune in which dotted notes are first held longer; that drill is made and opened.
    HeldDots,
}

/// A line of the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// What the line opens.
    pub opens: Opens,
    /// The name by which the drill, movement or tune is opened.
    pub name: String,
    /// The name of the drill in a homework file, where the file holds several.
    pub task: Option<String>,
    /// The title shown in the list.
    pub title: String,
    /// The purpose of the drill.
    pub about: String,
    /// Other names by which the search finds the line.
    pub also: String,
    /// The number of stages and the first and last tempo, in a few words.
    pub extent: String,
    /// How much of the drill's board is done, in a few words; empty where nothing was played.
    pub progress: String,
    /// When the drill was played last, in a few words; empty where it never was.
    pub last: String,
    /// The cell in which practice would begin and its music, in several lines; empty until the
    /// drill was read.
    pub preview: Vec<String>,
    /// The number of clear cells and of all cells; none where nothing was played.
    pub share: Option<(usize, usize)>,
    /// The board in small: one row for each rung, the highest first, as the rung's name and a sign
    /// for each cell.
    pub board: Vec<(String, String)>,
    /// Every problem that prevents playing; empty where the drill can be played.
    pub problems: Vec<String>,
    /// The problems in full, each with its line in the file and how to mend it.
    pub in_full: String,
    /// The parts and phrases of a tune. Each is a line that opens its bars.
    pub pieces: Vec<Listed>,
    /// All bars of a tune.
    pub bars: Option<BarRange>,
}

impl Listed {
    /// A line that opens something by its name; everything else is empty.
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

    /// A line that opens these bars of the tune of this line.
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

    /// A line that opens the tune of this line with its dotted notes first held longer. `pointing`
    /// says how the tune is pointed.
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

    /// True where the line has no problems and can be played.
    pub fn is_playable(&self) -> bool {
        self.problems.is_empty()
    }

    /// All names by which the search finds the line.
    pub(super) fn names(&self) -> String {
        format!("{} {} {}", self.name, self.title, self.also)
    }

    /// True where all the words are found in its names, or in its names and its purpose together.
    pub(super) fn has(&self, words: &str) -> bool {
        has_words(words, &format!("{} {}", self.names(), self.about))
    }
}
