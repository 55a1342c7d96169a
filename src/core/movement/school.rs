//! Schools: named variants of movements that a drill or the player's settings select.
//!
//! A description says what is played, and never which school is right.

use crate::wording;

/// One named variant of one or more movements.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct School {
    /// The name in kebab-case, as in drills, settings and `--school`.
    pub name: &'static str,
    /// What this school plays, in a neutral sentence.
    pub description: &'static str,
}

/// From D the separating B is written as D.
pub(super) const D_FROM_D: School = School {
    name: "d-from-d",
    description: "from D the grip, taorluath, crunluath and catch keep their D gracenote instead \
                  of taking the B",
};
/// LilyPond's `egrip`.
pub(super) const E_GRIP: School = School {
    name: "e-grip",
    description: "the grip is separated by the E gracenote",
};
/// LilyPond's `bgrip`, from notes other than D.
pub(super) const B_GRIP: School = School {
    name: "b-grip",
    description: "the grip is separated by the B gracenote from every note, not from D alone",
};
/// LilyPond's `Gtaor`.
pub(super) const LOW_G_TAORLUATH: School = School {
    name: "low-g-taorluath",
    description: "a taorluath or crunluath from low G returns to low G inside, where others play \
                  low A",
};
/// LilyPond's `taorjmd`.
pub(super) const LOW_A_TAORLUATH: School = School {
    name: "low-a-taorluath",
    description: "the second tone of the taorluath is low A, as an 18th-century treatise writes it",
};
/// LilyPond's `taorold`.
pub(super) const LOW_A_WRITTEN: School = School {
    name: "low-a-written",
    description: "the taorluath to low A sounds a short low A before its E gracenote, as older \
                  pibroch scores write it",
};
/// LilyPond's `gripthrwd`.
pub(super) const HEAVY_THROW: School = School {
    name: "heavy-throw",
    description: "the throw on D is heavy: it returns to low G before the C",
};
/// The throw on D with the first of three places of the beat.
pub(super) const THROW_D_ON_BEAT: School = School {
    name: "throw-d-on-the-beat",
    description: "the D gracenote of the throw on D falls on the beat, its low G before it",
};
/// The throw on D with the last of three places of the beat.
pub(super) const THROW_BEFORE_BEAT: School = School {
    name: "throw-before-the-beat",
    description: "the throw on D ends on the beat: all of it is taken from the note before",
};
/// The grip begins on the beat.
pub(super) const GRIP_ON_BEAT: School = School {
    name: "grip-on-the-beat",
    description: "the grip starts on the beat and takes its time from the closing note",
};
/// The catch sounds before the beat.
pub(super) const CATCH_BEFORE_BEAT: School = School {
    name: "catch-before-the-beat",
    description: "the catch ends on the beat and takes its time from the note before",
};
/// The throws on E and F sound before the beat.
pub(super) const UPPER_THROW_BEFORE_BEAT: School = School {
    name: "upper-throw-before-the-beat",
    description: "the throws on E and F end on the beat and take their time from the note before",
};
/// LilyPond's `wthrwe`.
pub(super) const OPEN_THROW: School = School {
    name: "open-throw-on-e",
    description: "the throw on E is played over D instead of low A",
};
/// LilyPond's `gbirl`.
pub(super) const BIRL_WITH_HIGH_G: School = School {
    name: "birl-with-hg",
    description: "the birl opens with the high G gracenote",
};
/// LilyPond's `dbirl`.
pub(super) const BIRL_WITH_D: School = School {
    name: "birl-with-d",
    description: "the birl opens with the D gracenote",
};
/// Found in tunes after B and C.
pub(super) const SHORT_BIRL: School = School {
    name: "short-birl",
    description: "the birl starts with its first tap, from any note",
};
/// LilyPond's `whslurd` and related forms.
pub(super) const LIGHT_D: School = School {
    name: "light-d",
    description: "a strike or shake on D taps to C instead of low G",
};
/// Found in tunes after high A.
pub(super) const FULL_FROM_HIGH_A: School = School {
    name: "full-from-ha",
    description: "doublings, strikes, shakes and catches after high A are played in full instead of \
                  taking the half form",
};
/// LilyPond's `tdblg` from high G; the whole doubling from high A.
pub(super) const FULL_ON_HIGH_G: School = School {
    name: "full-on-hg",
    description: "the doubling on high G from high G or high A is played in full instead of the \
                  half form: from high G the thumb opens it",
};
/// LilyPond's `tcad`, which names no note before it. LilyPond's `thcad`, its E alone, is an E
/// gracenote in other contexts.
pub(super) const CADENCE_WITHOUT_HIGH_G: School = School {
    name: "cadence-without-hg",
    description: "the cadence leaves out the gracenote that opens it, whatever note comes before",
};
/// Found in tunes from C to E.
pub(super) const EARLY_GRACENOTE: School = School {
    name: "early-gracenote",
    description: "a gracenote that the next note cannot sound is played at the end of the note \
                  before",
};
/// Long variations of an 18th-century treatise, played the second way.
pub(super) const LONG_OVER_LOW_G: School = School {
    name: "long-over-low-g",
    description: "the long variations return to low G instead of low A after their E gracenote",
};

/// Every school.
pub const SCHOOLS: [School; 22] = [
    D_FROM_D,
    E_GRIP,
    B_GRIP,
    GRIP_ON_BEAT,
    LOW_G_TAORLUATH,
    LOW_A_TAORLUATH,
    LOW_A_WRITTEN,
    HEAVY_THROW,
    THROW_D_ON_BEAT,
    THROW_BEFORE_BEAT,
    OPEN_THROW,
    UPPER_THROW_BEFORE_BEAT,
    BIRL_WITH_HIGH_G,
    BIRL_WITH_D,
    SHORT_BIRL,
    LIGHT_D,
    FULL_FROM_HIGH_A,
    FULL_ON_HIGH_G,
    CATCH_BEFORE_BEAT,
    EARLY_GRACENOTE,
    CADENCE_WITHOUT_HIGH_G,
    LONG_OVER_LOW_G,
];

/// The schools that a drill or the settings select (none by default), and whether the music is
/// light music.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Schools {
    chosen: Vec<&'static str>,
    light_music: bool,
}

/// Why a text is not the name of a school.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct UnknownSchool {
    /// The text that was found.
    pub found: String,
    /// The most similar name; none when no name is similar.
    pub nearest: Option<&'static str>,
}

impl std::fmt::Display for UnknownSchool {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "`{}` is no school: ", self.found)?;
        if let Some(nearest) = self.nearest {
            return write!(f, "did you mean `{nearest}`?");
        }
        let names: Vec<&str> = SCHOOLS.iter().map(|school| school.name).collect();
        write!(f, "expected {}", wording::choice(&names))
    }
}
impl std::error::Error for UnknownSchool {}

impl Schools {
    /// No school: every movement has its usual form.
    pub fn none() -> Self {
        Self::default()
    }

    /// The same schools for light music that is marched or danced to. In it a movement's name never
    /// makes a gracenote held; only a written length does. What a pibroch holds is as long as its
    /// pulse allows, and marches and dances leave no time for it (common practice, no source).
    #[must_use]
    pub fn in_light_music(mut self, light_music: bool) -> Self {
        self.light_music = light_music;
        self
    }

    /// True when no name holds a tone, which is so in light music.
    pub(super) fn holds_nothing(&self) -> bool {
        self.light_music
    }

    /// Adds one school by name.
    ///
    /// # Errors
    /// A text that is not the name of a school; the error has the most similar name.
    pub fn with(mut self, name: &str) -> Result<Self, UnknownSchool> {
        let plain = name.trim().to_lowercase().replace([' ', '_'], "-");
        let Some(school) = SCHOOLS.iter().find(|school| school.name == plain) else {
            return Err(UnknownSchool {
                found: name.to_owned(),
                nearest: wording::nearest(&plain, SCHOOLS.iter().map(|school| school.name)),
            });
        };
        if !self.chosen.contains(&school.name) {
            self.chosen.push(school.name);
        }
        Ok(self)
    }

    /// Adds one school of the table.
    pub fn and(&self, school: School) -> Self {
        let mut more = self.clone();
        if !more.chooses(school.name) {
            more.chosen.push(school.name);
        }
        more
    }

    /// True when the school is chosen.
    pub fn chooses(&self, name: &str) -> bool {
        self.chosen.contains(&name)
    }

    /// The chosen names, in the order they were chosen.
    pub fn names(&self) -> &[&'static str] {
        &self.chosen
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slip_in_a_school_gets_the_nearest_name() {
        let error = Schools::none()
            .with("heavy-trow")
            .expect_err("it names no school");
        assert_eq!(error.nearest, Some("heavy-throw"));
        assert_eq!(
            error.to_string(),
            "`heavy-trow` is no school: did you mean `heavy-throw`?"
        );
        let schools = Schools::none()
            .with("Heavy Throw")
            .expect("spaces are read as hyphens");
        assert!(schools.chooses("heavy-throw"));
    }

    #[test]
    fn every_school_has_its_own_name() {
        let mut names: Vec<&str> = SCHOOLS.iter().map(|school| school.name).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), SCHOOLS.len());
    }
}
