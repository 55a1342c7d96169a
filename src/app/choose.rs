//! The start page: today's session, the drills, and every movement of the catalogue.

use super::listed::{Listed, Opens};
use super::session::{SessionPlan, part_words};
use crate::drill::BarRange;
use crate::movement::find_said;
use crate::planning::SessionPart;
use crate::wording::{count, has_words, nearly_has_words};

/// The reason why a part is in the session; empty where it has none.
fn why_words(part: &SessionPart) -> String {
    match part {
        SessionPart::Cell(item) => item.why.clone(),
        other => part_words(other),
    }
}

/// The start page's list, its search and the marked line.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Choose {
    /// Today's session; none where there is nothing to practise.
    pub(super) session: Option<Listed>,
    /// Homework tasks whose goal is not reached yet.
    pub(super) homework: Vec<Listed>,
    /// All drills.
    pub(super) drills: Vec<Listed>,
    /// Every movement of the catalogue. They are shown only while the player searches.
    pub(super) movements: Vec<Listed>,
    /// The letters typed so far, which are searched for in titles and names.
    pub(super) search: String,
    /// The place of the marked line among the lines shown, from 0.
    pub(super) marked: usize,
    /// The name of the tune whose parts and phrases are listed below it.
    pub(super) unfolded: Option<String>,
}

/// Read access to the fields. Only this room changes them.
impl Choose {
    /// Today's session; none where there is nothing to practise.
    pub fn session(&self) -> Option<&Listed> {
        self.session.as_ref()
    }

    /// Homework tasks whose goal is not reached yet.
    pub fn homework(&self) -> &[Listed] {
        &self.homework
    }

    /// All drills.
    pub fn drills(&self) -> &[Listed] {
        &self.drills
    }

    /// Every movement of the catalogue. They are shown only while the player searches.
    pub fn movements(&self) -> &[Listed] {
        &self.movements
    }

    /// The letters typed so far, which are searched for in titles and names.
    pub fn letters(&self) -> &str {
        &self.search
    }

    /// The place of the marked line among the lines shown, from 0.
    pub fn marked(&self) -> usize {
        self.marked
    }

    /// The name of the tune whose parts and phrases are listed below it.
    pub fn unfolded(&self) -> Option<&str> {
        self.unfolded.as_deref()
    }
}

impl Choose {
    /// The lines that are shown. Without a search these are today's session, the homework and the
    /// drills. With a search they are all lines but the session whose names or purpose match, and
    /// the matching movements that have no drill of the same name.
    pub fn shown(&self) -> Vec<&Listed> {
        let with_pieces = |line| {
            let open = self
                .unfolded
                .as_ref()
                .is_some_and(|name| is_drill(line, name));
            std::iter::once(line).chain(line.pieces.iter().filter(move |_| open))
        };
        if self.search.is_empty() {
            let all = self
                .session
                .iter()
                .chain(&self.homework)
                .chain(&self.drills);
            return all.flat_map(with_pieces).collect();
        }
        let wanted = self.search.to_lowercase();
        let named =
            |movement: &&Listed| self.drills.iter().all(|drill| drill.name != movement.name);
        let movements = self.movements.iter().filter(named);
        let all = self.homework.iter().chain(&self.drills).chain(movements);
        // the letters may say more than a movement's name, such as a thrown doubling on a certain
        // note or the form of a school
        let said = find_said(&wanted).ok().map(|named| named.movement.name());
        let is_said = |line: &&Listed| said == Some(line.name.as_str());
        let mut found: Vec<&Listed> = all
            .clone()
            .filter(|line| line.has(&wanted) || is_said(line))
            .collect();
        if found.is_empty() {
            let nearly = |line: &&Listed| nearly_has_words(&wanted, &line.names());
            found = all.clone().filter(nearly).collect();
        }
        // a movement with more words behind it, such as `taorluath d`; where nothing else is found
        // its name may have a typing slip
        let nearest = find_said(&wanted).err().and_then(|error| error.nearest);
        let begins_so = |name: &&str| wanted.replace(' ', "-").starts_with(*name);
        let by_name = found.iter().any(|line| has_words(&wanted, &line.names()));
        let nearest = nearest.filter(|name| found.is_empty() || !by_name && begins_so(name));
        let is_near = |line: &&Listed| nearest == Some(line.name.as_str());
        found.retain(|line| !is_near(line));
        found.extend(all.filter(is_near));
        // names that begin with the letters come first, then names that contain them
        let order = |line: &&Listed| {
            let title = line.title.to_lowercase();
            let begins = title.starts_with(&wanted) || line.name.starts_with(&wanted);
            match () {
                () if begins => 0,
                // a line with exactly this name comes before lines that merely match, so that a
                // search for the heavy throw does not begin with the light one
                () if is_said(line) || is_near(line) => 1,
                () if has_words(&wanted, &line.names()) => 2,
                () => 3,
            }
        };
        found.sort_by_key(order);
        found.into_iter().flat_map(with_pieces).collect()
    }

    /// The bars that the last word of the search names, with the tune that the words before it
    /// find: `slipway 5-8`. None where those words find no tune or several.
    pub fn bars(&self) -> Option<(&Listed, BarRange)> {
        let (name, bars) = self.search.trim_end().rsplit_once(' ')?;
        let bars = BarRange::parse(bars)?;
        let wanted = name.trim().to_lowercase();
        let mut tunes = self.drills.iter().filter(|line| {
            let there = line.bars.is_some_and(|all| bars.last <= all.last);
            there && line.is_playable() && line.has(&wanted)
        });
        tunes
            .next()
            .map(|line| (line, bars))
            .filter(|_| tunes.next().is_none())
    }

    /// Shows the parts and phrases of the marked tune, or hides them again. Returns false where the
    /// marked line has none.
    pub(super) fn unfold(&mut self) -> bool {
        let Some(line) = self.current() else {
            return false;
        };
        let name = line.name.clone();
        let open = self.unfolded.as_ref() == Some(&name);
        if !open && line.pieces.is_empty() {
            return false;
        }
        self.unfolded = (!open).then(|| name.clone());
        // the marked line may just have been hidden; then its tune is marked instead
        self.marked = self
            .shown()
            .iter()
            .position(|line| is_drill(line, &name))
            .unwrap_or(0);
        true
    }

    /// The marked line.
    pub fn current(&self) -> Option<&Listed> {
        self.shown().get(self.marked).copied()
    }

    /// Marks the line of the drill with this name, where it is listed.
    pub(super) fn mark(&mut self, name: &str) {
        if let Some(place) = self.shown().iter().position(|drill| drill.name == name) {
            self.marked = place;
        }
    }

    /// Puts today's session, with its planned minutes, at the top of the list, and the homework
    /// below it. The line that the player marked stays marked; where nothing was marked the session
    /// is.
    pub(super) fn set_today(&mut self, session: &SessionPlan, homework: Vec<Listed>) {
        let first = |page: &Self| usize::from(page.session.is_some()) + page.homework.len();
        let had = first(self);
        let ahead = session.parts.get(session.at..).unwrap_or_default();
        let minutes = session.minutes_ahead();
        let (title, about) = if session.goes_on() {
            (
                "Today's session, goes on",
                "It goes on where you left it; two pedals are enough.",
            )
        } else if session.another {
            (
                "Another session",
                "Today's is done: this is what the day has besides.",
            )
        } else {
            (
                "Today's session",
                "Each thing until it is answered or its minutes are over; two pedals are enough.",
            )
        };
        self.session = (!ahead.is_empty()).then(|| Listed {
            about: about.to_owned(),
            extent: count(minutes as usize, "minute", "minutes"),
            preview: ahead.iter().map(why_words).collect(),
            ..Listed::new(Opens::Session, "", title)
        });
        self.homework = homework;
        let has = first(self);
        if self.search.is_empty() && self.marked > 0 {
            // the homework task that was marked may have been reached in the meantime
            self.marked = (self.marked + has).saturating_sub(had);
        }
    }

    /// What is said when a task of homework is reached: the start page, or the shell that the program was
    /// begun from, says how it goes on. The line of the task stays until the page is shown again.
    pub(super) fn more_asked(&self) -> &'static str {
        if self.homework.len() > 1 {
            "; `q` shows what else is asked"
        } else {
            "; `q` shows how to send it"
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

fn is_drill(line: &Listed, name: &str) -> bool {
    line.opens == Opens::Drill && line.name == name
}

#[cfg(test)]
mod tests {
    use super::*;

    fn listed(opens: Opens, name: &str, also: &str) -> Listed {
        Listed {
            also: also.to_owned(),
            ..Listed::new(opens, name, name)
        }
    }

    fn page() -> Choose {
        Choose {
            drills: vec![
                listed(Opens::Drill, "grip", ""),
                listed(Opens::Drill, "my-tune", ""),
            ],
            movements: vec![
                listed(Opens::Movement, "grip", "leumluath"),
                listed(Opens::Movement, "taorluath", "taorluadh"),
            ],
            ..Choose::default()
        }
    }

    fn names(page: &Choose) -> Vec<&str> {
        page.shown().iter().map(|line| line.name.as_str()).collect()
    }

    /// A movement without a drill is found by every name that the player may call it.
    #[test]
    fn movements_are_found_by_any_of_their_names() {
        let mut page = page();
        assert_eq!(names(&page), ["grip", "my-tune"]);
        for letter in "uadh".chars() {
            page.search(Some(letter));
        }
        assert_eq!(names(&page), ["taorluath"]);
        page.search.clear();
        for letter in "rodin".chars() {
            page.search(Some(letter));
        }
        assert_eq!(names(&page), ["grip"], "a name that says more is known too");
        page.search.clear();
        page.search(Some('g'));
        assert_eq!(names(&page), ["grip"], "a drill stands for its movement");
    }

    /// The session arrives after the first screen was drawn. A line that the player marked by then
    /// stays marked.
    #[test]
    fn the_session_comes_first_and_moves_no_mark() {
        let mut page = page();
        let session = |parts| SessionPlan {
            parts,
            at: 0,
            outcomes: Vec::new(),
            minutes: 12,
            used_ms: 0,
            ..SessionPlan::default()
        };
        let warms = session(vec![SessionPart::WarmUp(3), SessionPart::Rest(2)]);
        let homework = || vec![Listed::new(Opens::Homework, "week.yaml", "Homework: Grip")];
        page.mark("my-tune");
        page.set_today(&warms, homework());
        assert_eq!(
            page.current().map(|line| line.name.as_str()),
            Some("my-tune")
        );
        let shown: Vec<Opens> = page.shown().iter().map(|line| line.opens).collect();
        assert_eq!(shown[..3], [Opens::Session, Opens::Homework, Opens::Drill]);
        page.set_today(&session(Vec::new()), Vec::new());
        assert_eq!(
            page.current().map(|line| line.name.as_str()),
            Some("my-tune")
        );
        let mut fresh = self::page();
        fresh.set_today(&SessionPlan { at: 1, ..warms }, homework());
        let line = fresh.current().expect("a line");
        assert_eq!(line.extent, "2 minutes", "what was played is not ahead");
        assert_eq!(fresh.current().map(|line| line.opens), Some(Opens::Session));
    }

    /// Parts and phrases are listed below their tune while it is unfolded, and any range of bars
    /// can be named.
    #[test]
    fn a_tune_unfolds_and_any_bars_are_named() {
        let range = |text| BarRange::parse(text).expect("bars");
        let mut page = page();
        let tune = &mut page.drills[1];
        tune.bars = Some(range("1-16"));
        tune.pieces = vec![
            tune.piece("phrase 1", range("1-4")),
            tune.held_dots("pointed 4 : 1"),
        ];
        assert!(!page.unfold(), "a movement has no phrases");
        page.mark("my-tune");
        assert!(page.unfold());
        assert_eq!(names(&page), ["grip", "my-tune", "my-tune", "my-tune"]);
        page.move_by(-1);
        let marked = page.current().map(|line| line.opens);
        assert_eq!(marked, Some(Opens::Bars(range("1-4"))));
        page.move_by(-1);
        let marked = page.current().map(|line| line.opens);
        assert_eq!(marked, Some(Opens::HeldDots));
        assert!(page.unfold(), "from a phrase the tune is folded again");
        let marked = page.current().map(|line| line.opens);
        assert_eq!(marked, Some(Opens::Drill));
        let mut named = |letters: &str| {
            page.search = letters.to_owned();
            page.bars().map(|(line, bars)| (line.name.clone(), bars))
        };
        assert_eq!(
            named("tune 5-8"),
            Some(("my-tune".to_owned(), range("5-8")))
        );
        assert_eq!(named("tune 5-17"), None, "it has sixteen");
        assert_eq!(named("grip 1"), None, "that is no tune");
    }

    /// A player who remembers only part of a name finds it: the words may come in any order and one
    /// letter may be wrong.
    #[test]
    fn words_find_in_any_order_and_with_a_slip() {
        let mut page = Choose {
            drills: vec![
                Listed {
                    about: "The taorluath closing on low A.".to_owned(),
                    ..Listed::new(Opens::Drill, "taorluath-from-low-g", "Taorluath from low G")
                },
                listed(Opens::Drill, "lamp-on-the-slipway", ""),
            ],
            ..page()
        };
        let mut find = |search: &str| -> Vec<String> {
            page.search = search.to_owned();
            let shown = page.shown();
            shown.iter().map(|line| line.name.clone()).collect()
        };
        assert_eq!(find("taorluath low g"), ["taorluath-from-low-g"]);
        assert_eq!(find("low g taor"), ["taorluath-from-low-g"]);
        assert_eq!(find("slipway lamp"), ["lamp-on-the-slipway"]);
        assert_eq!(find("tarluath"), ["taorluath-from-low-g", "taorluath"]);
        assert_eq!(find("slipwya"), ["lamp-on-the-slipway"]);
        assert_eq!(find("taorluath high a"), ["taorluath"]);
        assert_eq!(find("taorluth d"), ["taorluath"]);
        assert_eq!(find("taorluath the"), ["taorluath", "taorluath-from-low-g"]);
        assert_eq!(find("no such thing"), [""; 0]);
    }

    /// A search for one school's form must not be answered with the drill of another form.
    #[test]
    fn what_is_called_so_itself_comes_before_what_the_name_means() {
        let mut page = page();
        page.drills.push(listed(Opens::Drill, "throw-on-d", ""));
        let heavy = Listed::new(Opens::Movement, "heavy-throw", "Heavy throw");
        page.movements.push(heavy);
        page.search = "heavy throw".to_owned();
        assert_eq!(names(&page), ["heavy-throw", "throw-on-d"]);
    }
}
