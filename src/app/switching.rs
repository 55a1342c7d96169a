//! Settings that a key changes at once and without the board: levels, drones, clicks and what is
//! shown.

use super::effect::Effect;
use super::message::Action;
use super::model::Model;
use super::notice::Notice;
use super::options::Options;
use super::playing::{load, wanted};
use super::practising::Practising;
use crate::chanter::Instrument;
use crate::rhythm::{ClickPlan, ReferencePlan, Subdivision};
use crate::sound::{Bus, ClickSound, Command, Entrance, When};
use crate::units::Gain;

/// How much one key press changes a level, as a share of full level.
const LEVEL_STEP: f32 = 0.05;

/// The sentence for drones that were turned on or off. It warns where the microphone is used: our
/// tenor drones sound the very low A of a practice chanter, and nothing in the sound tells the two
/// apart.
fn drones_words(options: &Options) -> &'static str {
    let mistaken = options.by_ear
        && !options.headphones
        && options.tuning.instrument == Instrument::PracticeChanter;
    match (options.drones, mistaken) {
        (true, true) => {
            "drones on: the ear takes them for your low A; wear headphones (--headphones)"
        }
        (true, false) => "drones on",
        (false, _) => "drones off",
    }
}

pub(super) fn act_on_options(model: &mut Model, action: Action, effects: &mut Vec<Effect>) {
    let options = &mut model.options;
    let mut say = None;
    match action {
        Action::Level(bus, up) => {
            let step = if up { LEVEL_STEP } else { -LEVEL_STEP };
            let gain = Gain((options.levels.of(bus).0 + step).clamp(0.0, 1.0));
            options.levels.set(bus, gain);
            effects.push(Effect::Sound(Command::Level(bus, options.levels.of(bus))));
            let silent = if options.levels.muted[bus as usize] {
                ", silent still"
            } else {
                ""
            };
            say = Some(format!(
                "{} at {:.0} %{silent}",
                bus_name(bus),
                gain.0 * 100.0
            ));
        }
        Action::Mute(bus) => {
            let muted = !options.levels.muted[bus as usize];
            options.levels.mute(bus, muted);
            effects.push(Effect::Sound(Command::Mute(bus, muted)));
            let how = if muted { "silent" } else { "sounding" };
            say = Some(format!("{} {how}", bus_name(bus)));
        }
        Action::Drones => {
            options.drones = !options.drones;
            effects.push(Effect::Sound(Command::Drones(options.drones)));
            say = Some(drones_words(options).to_owned());
        }
        Action::Reference => {
            options.reference = match options.reference {
                ReferencePlan::Every => ReferencePlan::Alternate,
                ReferencePlan::Alternate => ReferencePlan::Fading(6),
                ReferencePlan::Fading(_) => ReferencePlan::Silent,
                ReferencePlan::Silent => ReferencePlan::Every,
            };
            say = Some(reference_words(options.reference).to_owned());
        }
        Action::Clicks => {
            // in a bar of two beats, clicks on 1 and 3 are the same as one click a bar, so the next
            // choice is taken
            let heard = |plan| {
                let practising = model.practising.as_ref();
                practising.map_or(plan, |practising| practising.clicks(plan))
            };
            options.clicks = match heard(options.clicks) {
                ClickPlan::Every => heard(ClickPlan::OneAndThree),
                ClickPlan::OneAndThree => ClickPlan::OnePerBar,
                ClickPlan::OnePerBar => ClickPlan::SilentBars { play: 2, rest: 2 },
                ClickPlan::SilentBars { .. } => ClickPlan::Every,
            };
            effects.push(Effect::Sound(Command::Clicks(options.clicks)));
            say = Some(click_words(options.clicks).to_owned());
        }
        Action::ClickSound => {
            let place = ClickSound::ALL
                .iter()
                .position(|sound| *sound == options.click_sound)
                .unwrap_or(0);
            options.click_sound = ClickSound::ALL[(place + 1) % ClickSound::ALL.len()];
            effects.push(Effect::Sound(Command::ClickSound(options.click_sound)));
            say = Some(format!("click: {}", options.click_sound.name()));
        }
        Action::Subdivision if counted_in_groups(model.practising.as_ref()) => {
            say = Some(
                "each note that the tempo counts clicks here, louder where a group begins"
                    .to_owned(),
            );
        }
        Action::Subdivision => {
            options.subdivision = match options.subdivision {
                Subdivision::Beats => Subdivision::Halves,
                Subdivision::Halves => Subdivision::Thirds,
                Subdivision::Thirds => Subdivision::Quarters,
                Subdivision::Quarters => Subdivision::Beats,
            };
            say = Some(subdivision_words(options.subdivision).to_owned());
            model.notice = say.take().map(Notice::plain);
            if let Some(cell) = wanted(model)
                && model.is_moving()
            {
                load(model, cell, When::BarLine, Entrance::SamePlace, effects);
            }
        }
        Action::Stand => {
            options.stand = !options.stand;
            let hidden = model
                .practising
                .as_ref()
                .is_some_and(Practising::is_by_heart);
            if hidden {
                say = Some("the music is hidden, so the stand view stays".to_owned());
            }
        }
        Action::Handed => {
            options.left_handed = !options.left_handed;
            say = Some(
                if options.left_handed {
                    "the picture is for a left-handed player"
                } else {
                    "the picture is for a right-handed player"
                }
                .to_owned(),
            );
        }
        Action::Explain => {
            options.explain = !options.explain;
        }
        _ => {}
    }
    if let Some(text) = say {
        model.notice = Some(Notice::plain(text));
    }
}

impl Practising {
    /// The plan of clicks as it sounds in this drill: in a bar of two beats, clicks on 1 and 3
    /// become one click a bar.
    pub fn clicks(&self, plan: ClickPlan) -> ClickPlan {
        match plan {
            ClickPlan::OneAndThree if self.drill.metre.counts_in_a_bar() < 3 => {
                ClickPlan::OnePerBar
            }
            plan => plan,
        }
    }
}

/// The name of a bus, for use in a sentence.
fn bus_name(bus: Bus) -> &'static str {
    match bus {
        Bus::Reference => "reference",
        Bus::Drones => "drones",
        Bus::Click => "click",
        Bus::Cue => "cues",
    }
}

fn reference_words(plan: ReferencePlan) -> &'static str {
    match plan {
        ReferencePlan::Every => "reference in every repetition",
        ReferencePlan::Alternate => "reference in every other repetition, you alone in between",
        ReferencePlan::Fading(_) => "reference fades out over six repetitions",
        ReferencePlan::Silent => "no reference: you alone with the click",
    }
}

fn click_words(plan: ClickPlan) -> &'static str {
    match plan {
        ClickPlan::Every => "a click on every beat",
        ClickPlan::OneAndThree => "clicks on beats 1 and 3",
        ClickPlan::OnePerBar => "one click a bar",
        ClickPlan::SilentBars { .. } => "two bars with clicks, two without",
    }
}

/// True where the drill's beats are counted in groups, so that the notes between the counts click
/// anyway.
fn counted_in_groups(practising: Option<&Practising>) -> bool {
    practising.is_some_and(|practising| practising.drill.metre.is_grouped())
}

fn subdivision_words(subdivision: Subdivision) -> &'static str {
    match subdivision {
        Subdivision::Beats => "no clicks between the beats",
        Subdivision::Halves => "clicks on half beats",
        Subdivision::Thirds => "clicks on thirds of a beat",
        Subdivision::Quarters => "clicks on quarters of a beat",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::app::{Message, OpenedDrill, update};
    use crate::drill::{built_in, read};
    use crate::practice::Moment;
    use crate::rhythm::Metre;

    /// The notice names the beats that really click, even where the plan was chosen in a drill of
    /// another metre. A wrong one would send the player to the wrong beat.
    #[test]
    fn the_line_names_the_beats_that_click_in_two_and_in_four() {
        let file = built_in("grip-from-d").expect("built in");
        let drill = read(file.text.as_bytes()).0.expect("it reads");
        let at = Moment {
            utc_us: 0,
            offset_s: 0,
            heard_ms: 0,
        };
        let open = |model: &mut Model, metre: &str| {
            let mut drill = drill.clone();
            drill.metre = Metre::parse(metre).expect("a metre");
            let opened = OpenedDrill::new("ours", drill);
            update(model, at, Message::Opened(Box::new(opened)));
        };
        let mut model = Model::new(Options::default());
        let said = |model: &mut Model| {
            update(model, at, Message::Act(Action::Clicks));
            model.notice.take().expect("it is said").text
        };
        open(&mut model, "4/4");
        assert_eq!(said(&mut model), "clicks on beats 1 and 3");
        assert_eq!(said(&mut model), "one click a bar");
        assert_eq!(said(&mut model), "two bars with clicks, two without");
        assert_eq!(said(&mut model), "a click on every beat");
        for metre in ["2/4", "6/8", "2/2"] {
            open(&mut model, metre);
            assert_eq!(said(&mut model), "one click a bar", "{metre}");
            assert_eq!(said(&mut model), "two bars with clicks, two without");
            assert_eq!(said(&mut model), "a click on every beat");
        }
        // chosen in 4/4 and heard in 2/4: only beat 1 clicks, and the notice says so
        open(&mut model, "4/4");
        assert_eq!(said(&mut model), "clicks on beats 1 and 3");
        open(&mut model, "2/4");
        let practising = model.practising.as_ref().expect("it is open");
        assert_eq!(
            practising.clicks(model.options.clicks),
            ClickPlan::OnePerBar
        );
        assert_eq!(said(&mut model), "two bars with clicks, two without");
    }

    /// In 5/8 each quaver clicks already, so the key for clicks between the beats changes nothing and
    /// must say so.
    #[test]
    fn what_clicks_already_is_told() {
        let file = built_in("grip-from-d").expect("built in");
        let mut drill = read(file.text.as_bytes()).0.expect("it reads");
        drill.metre = Metre::parse("5/8").expect("a metre");
        let at = Moment {
            utc_us: 0,
            offset_s: 0,
            heard_ms: 0,
        };
        let mut model = Model::new(Options::default());
        let opened = OpenedDrill::new("ours", drill);
        update(&mut model, at, Message::Opened(Box::new(opened)));
        update(&mut model, at, Message::Act(Action::Subdivision));
        assert_eq!(model.options.subdivision, Subdivision::Beats);
        let said = model.notice.take().expect("it is said").text;
        assert!(
            said.starts_with("each note that the tempo counts clicks"),
            "{said}"
        );
    }

    /// Without this warning a player would wonder why the microphone hears a low A that nobody
    /// played.
    #[test]
    fn drones_that_the_ear_would_take_for_low_a_are_told() {
        let mut options = Options {
            by_ear: true,
            drones: true,
            ..Options::default()
        };
        assert!(drones_words(&options).contains("headphones"));
        options.headphones = true;
        assert_eq!(drones_words(&options), "drones on");
        options.headphones = false;
        options.tuning = crate::chanter::Tuning::of(Instrument::PipeChanter);
        assert_eq!(drones_words(&options), "drones on");
    }
}
