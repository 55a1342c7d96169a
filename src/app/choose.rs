//! The list of drills.

/// A drill in the list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Listed {
    /// The name it is opened by.
    pub name: String,
    /// Its title.
    pub title: String,
    /// What it is for.
    pub about: String,
    /// Stages, first and last tempo, in a few words.
    pub extent: String,
    /// How much of its board is done, in a few words; empty where nothing was played.
    pub progress: String,
    /// False where it has problems and cannot be played.
    pub playable: bool,
}

/// Something to practise today, with its reason.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TodayLine {
    /// Minutes to plan for it.
    pub minutes: u32,
    /// Why, one sentence.
    pub why: String,
}

/// The list and where the player is in it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Choose {
    /// All drills.
    pub drills: Vec<Listed>,
    /// What to practise today, first things first.
    pub today: Vec<TodayLine>,
    /// Letters that titles and names are searched for.
    pub search: String,
    /// Letters that are typed are searched for.
    pub searching: bool,
    /// The marked line among those shown.
    pub marked: usize,
}

impl Choose {
    /// The drills whose title, name or purpose has the letters searched for.
    pub fn shown(&self) -> Vec<&Listed> {
        let wanted = self.search.to_lowercase();
        self.drills
            .iter()
            .filter(|drill| {
                wanted.is_empty()
                    || [&drill.name, &drill.title, &drill.about]
                        .iter()
                        .any(|text| text.to_lowercase().contains(&wanted))
            })
            .collect()
    }

    /// The marked drill.
    pub fn current(&self) -> Option<&Listed> {
        self.shown().get(self.marked).copied()
    }

    /// Marks the drill of a name, when it is listed.
    pub fn mark(&mut self, name: &str) {
        if let Some(place) = self.shown().iter().position(|drill| drill.name == name) {
            self.marked = place;
        }
    }

    pub(super) fn move_by(&mut self, lines: i32) {
        let last = self.shown().len().saturating_sub(1);
        let wanted = self.marked as i64 - i64::from(lines);
        self.marked = usize::try_from(wanted.max(0)).unwrap_or(0).min(last);
    }

    pub(super) fn move_to_end(&mut self, last: bool) {
        self.marked = if last {
            self.shown().len().saturating_sub(1)
        } else {
            0
        };
    }

    pub(super) fn search(&mut self, letter: Option<char>) {
        match letter {
            Some(letter) if self.search.chars().count() < 40 => self.search.push(letter),
            Some(_) => {}
            None => {
                self.search.pop();
            }
        }
        self.marked = 0;
    }
}
