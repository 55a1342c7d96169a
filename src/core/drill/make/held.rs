//! A drill that plays a tune first with its dots held longer than usual and then as it is pointed.
//! An exaggeration makes the goal easier to hear and feel (common practice, no source).

use super::CannotMake;
use super::body::repeated_body;
use super::phrase::{Tune, ground, stage, taken, titled};
use crate::drill::bar_range::BarRange;
use crate::drill::document::{DrillDocument, Exact, StageDocument};
use crate::units::spell_fraction;

/// The most rungs of the exaggerated stage, after which the tune itself is played (chosen).
const MOST_RUNGS: usize = 4;

/// The drill of a tune, or of some of its bars, that begins with a stage whose dots are held
/// longer.
///
/// # Errors
/// The tune has no pointing or no pairs, or the bars are not in it or cannot stand alone.
pub fn make_held(tune: &Tune, range: Option<BarRange>) -> Result<DrillDocument, CannotMake> {
    let music = &tune.stage.music;
    let title = &tune.drill.title;
    let Some(held) = music.pointing.exaggerated() else {
        return Err(CannotMake(format!(
            "how `{title}` is pointed is not said, so that its dots cannot be held longer: write a \
             ratio, such as `pointing: 4:1`, or its kind, such as `kind: strathspey`, into its drill \
             file"
        )));
    };
    if !music.has_pairs() {
        return Err(CannotMake(format!(
            "`{title}` has no dot with its cut and no snap to hold"
        )));
    }
    let whole = match range {
        Some(range) => stage(tune, "as in the tune", range, &taken(tune, range)?),
        None => StageDocument {
            name: "as in the tune".to_owned(),
            music: Some(repeated_body(music)),
            ..StageDocument::default()
        },
    };
    let tempi = tune.drill.ladder.rungs();
    let up_to = tempi.get(MOST_RUNGS - 1).or(tempi.last());
    let exaggerated = StageDocument {
        name: "held dots".to_owned(),
        listen_for: Some(
            "every dot held longer than in the tune, its cut short and clear, the beat where it was"
                .to_owned(),
        ),
        pointing: held.written(),
        up_to: up_to.map(|tempo| Exact::of(&tempo.value())),
        ..whole.clone()
    };
    let what = match range {
        Some(range) => format!("{}, dots held", range.spoken()),
        None => "dots held".to_owned(),
    };
    let about = match up_to.filter(|tempo| **tempo < tune.drill.ladder.to()) {
        Some(tempo) => format!(
            "Dots held longer than the tune wants them, slowly only, up to {}; then as it wants them.",
            spell_fraction(&tempo.value())
        ),
        None => "Dots held longer than the tune wants them, then as it wants them.".to_owned(),
    };
    Ok(DrillDocument {
        title: titled(tune, &what),
        about: Some(about),
        listen_for: Some("the dots as long as in the stage before, or nearly".to_owned()),
        stages: Some(vec![exaggerated, whole]),
        ..ground(tune)
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{Drill, read, write};
    use crate::movement::Schools;
    use crate::score::{resolve_music, written_text};
    use crate::units::Beats;

    fn march(head: &str) -> Drill {
        let text = format!(
            "title: A march\nmetre: 2/4\nunit: 1/8\n{head}\nmusic: \"|:{{g}}A>B {{g}}c>d|{{g}}e>c {{g}}A2:|\"\n\
             ladder: {{from: 60, to: 80, step: 4%}}\n"
        );
        let (drill, problems) = read(text.as_bytes());
        drill.unwrap_or_else(|| panic!("{problems:?}"))
    }

    fn held(drill: &Drill, range: Option<BarRange>) -> Result<Drill, String> {
        let tune = Tune {
            drill,
            stage: &drill.stages[0],
        };
        let document = make_held(&tune, range).map_err(|error| error.0)?;
        let text = write(&document)?;
        let (drill, problems) = read(text.as_bytes());
        drill.ok_or_else(|| format!("{text}{problems:?}"))
    }

    /// The tune itself keeps its cells; the exaggerated stage has its own cells.
    #[test]
    fn dots_are_held_first_and_then_as_in_the_tune() {
        let drill = march("kind: march");
        let made = held(&drill, None).expect("it can be made");
        let text = |drill: &Drill, at: usize| {
            let music = &drill.stages[at].music;
            let score = resolve_music(music, Beats::ZERO, &Schools::none());
            assert_eq!(score.written_text(), written_text(music, &Schools::none()));
            score.written_text()
        };
        assert_eq!(text(&made, 1), text(&drill, 0));
        assert_eq!(text(&made, 0), format!("{} pointed 7:1", text(&drill, 0)));
        assert_eq!(
            made.stages[0].own_pointing().as_deref(),
            Some("pointed 7 : 1, snaps 1 : 7")
        );
        assert_eq!(
            made.pointing().as_deref(),
            Some("pointed 4 : 1 (from experience)")
        );
        let top = made.stages[0].up_to.expect("it is left for the tune");
        let about = made.about.as_deref().unwrap_or_default();
        let up_to = format!("up to {};", spell_fraction(&top.value()));
        assert!(about.contains(&up_to), "{about}");
        let bars = BarRange { first: 2, last: 2 };
        let made = held(&drill, Some(bars)).expect("it can be made");
        assert_eq!(made.title, "A march, bar 2, dots held");
    }

    /// Writing a tune anew keeps the note that stays equal at a change of metre, and a gracenote
    /// that is held for just a quaver.
    #[test]
    fn a_tune_that_is_written_anew_is_the_same_music() {
        let text = "title: A\nmetre: 2/4\nunit: 1/8\npointing: 4:1\n\
            music: \"|:{g}A>B {gA1d}c>d|[M:6/8][Q:1/8=1/8]{g}c3 {d}A3|[M:2/4]{g}e>c {g}A2:|\"\n\
            ladder: {from: 60, to: 80, step: 4%}\n";
        let (drill, problems) = read(text.as_bytes());
        let drill = drill.unwrap_or_else(|| panic!("{problems:?}"));
        let made = held(&drill, None).expect("it can be made");
        let print = |drill: &Drill, stage: usize| {
            written_text(&drill.stages[stage].music, &Schools::none())
        };
        assert_eq!(print(&made, 1), print(&drill, 0));
        assert!(print(&drill, 0).contains("6/8 at"), "{}", print(&drill, 0));
    }

    #[test]
    fn a_tune_without_a_pointing_says_how_to_give_it_one() {
        let told = held(&march("pointing: as written"), None).expect_err("as written");
        assert!(told.contains("pointing: 4:1"), "{told}");
        held(&march("pointing: round"), None).expect_err("round");
        assert!(held(&march("pointing: 3:1, 2.5 to 4"), None).is_ok());
    }
}
