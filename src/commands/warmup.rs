//! `warmup`: runs a warm-up by itself, without keys and without marks.

use super::{Outcome, Ran, arguments, screen_arguments::ScreenArguments};
use crate::app::{HeardPlace, WarmMusic, Warming, scores};
use crate::drill::{Drill, read};
use crate::live::{DeviceState, Player};
use crate::planning::{Purpose, WarmStep, WarmUpAsked, warm_up};
use crate::practice::{Mark, Rung};
use crate::score::Score;
use crate::screen::{HELP_WARM, Theme, music_line, view_keys, view_warming};
use crate::services::{
    Failure,
    event_loop::{self, Canvas, Did, FRAME, Foot, Paged, World},
    open, output, pedals, plan, settings,
    terminal::{self, Manner},
};
use crate::settings::{Settings, keys};
use crate::sound::{Bus, Command, Entrance, When};
use crate::timeline::{Layout, lay};
use crate::units::{Bpm, SampleRate, Seconds};
use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Arguments of `warmup`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung warmup\n  gracerung warmup --minutes 10\n  \
    gracerung warmup --for band --tempo 84\n  gracerung warmup --list\n\n\
    Fingers without blowing, long tones, down to a covered low G, the scale, high G, D and E \
    gracenotes, doublings, crossings, two movements you have cleared, a few bars. Before the band: \
    low A and E together, gracenotes in unison, doublings at the band's tempo, attacks of two bars \
    from the count-in and a stop together. It marks nothing and asks nothing. Two mornings differ; \
    in few minutes some parts are left out. How long a long tone lasts (6 to 10 s) and the band's \
    tempo are settings, `warmup.tone` and `warmup.band-tempo`."
)]
pub(crate) struct Arguments {
    /// Minutes.
    #[arg(long, default_value_t = 5, value_parser = clap::value_parser!(u32).range(1..=30))]
    minutes: u32,
    /// What comes after: before the band the warm-up is another.
    #[arg(long = "for", value_name = "WHAT", value_parser = ["band", "practice"])]
    before: Option<String>,
    /// The band's tempo, beats a minute; else the setting `warmup.band-tempo`. Given alone it means
    /// the warm-up before the band.
    #[arg(long, value_parser = arguments::tempo)]
    tempo: Option<Bpm>,
    /// Print the steps and play nothing.
    #[arg(long)]
    list: bool,
    /// Print the steps as JSON and play nothing.
    #[arg(long, conflicts_with = "list")]
    json: bool,
    #[command(flatten)]
    screen: ScreenArguments,
}

/// Runs `warmup`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let own = arguments.screen.settings()?;
    let before = arguments.before.as_deref();
    if arguments.tempo.is_some() && before == Some("practice") {
        return Err(Failure(
            "`--tempo` is the band's, and practice has none: leave `--for practice` out, or `--tempo`"
                .to_owned(),
        ));
    }
    let for_band = before == Some("band") || arguments.tempo.is_some();
    let usual = Bpm::whole(own.number(keys::WARMUP_BAND_TEMPO) as i128)
        .map_err(|error| Failure(error.to_string()))?;
    let steps = steps(
        arguments.minutes,
        for_band.then(|| arguments.tempo.unwrap_or(usual)),
        &own,
    )?;
    if arguments.json {
        output::print_json(&steps)?;
        return Ok(Outcome::Done);
    }
    if arguments.list {
        for step in &steps {
            output::print(&format!(
                "{}:{:02}  {}\n",
                step.seconds / 60,
                step.seconds % 60,
                step.says
            ))?;
        }
        return Ok(Outcome::Done);
    }
    terminal::require()?;
    let warming = warming(steps)?;
    event_loop::in_terminal(Manner::of(&own), |world| {
        play(&arguments.screen, &own, warming, world, false)
    })?;
    Ok(Outcome::Done)
}

/// Runs a warm-up within a session, in the terminal that the session uses already. At its end the
/// session goes on by itself. Returns true where the player left before the end.
pub(super) fn in_session(
    arguments: &ScreenArguments,
    own: &Settings,
    minutes: u32,
    world: &mut World<'_>,
) -> Result<bool, Failure> {
    let warming = warming(steps(minutes, None, own)?)?;
    play(arguments, own, warming, world, true)
}

fn steps(minutes: u32, band: Option<Bpm>, own: &Settings) -> Result<Vec<WarmStep>, Failure> {
    let asked = WarmUpAsked {
        minutes,
        tone: own.number(keys::WARMUP_TONE) as u32,
        band,
    };
    let digest = plan::digest()?;
    Ok(warm_up(&digest, &plan::all_known(), plan::date(), &asked))
}

fn warming(steps: Vec<WarmStep>) -> Result<Warming, Failure> {
    let music = steps.iter().map(music).collect::<Result<Vec<_>, _>>()?;
    Ok(Warming::new(steps, music))
}

/// The music of a step, laid out at the step's tempo.
fn music(step: &WarmStep) -> Result<WarmMusic, Failure> {
    let (drill, stage): (Drill, usize) = match &step.drill {
        Some((name, stage)) => (open::open(name)?.drill, *stage),
        None => {
            let drill = read(step.document().as_bytes()).0.ok_or_else(|| {
                Failure(format!(
                    "the warm-up's music `{}` does not read",
                    step.music
                ))
            })?;
            (drill, 0)
        }
    };
    let scores: Vec<Score> = scores(&drill);
    let (score, written) = scores
        .into_iter()
        .zip(drill.stages)
        .nth(stage)
        .ok_or_else(|| Failure(format!("`{}` has no such stage", drill.title)))?;
    let layout = Layout {
        lengths: drill.lengths,
        ..Layout::at(step.tempo, SampleRate::USUAL)
    };
    let timeline = Arc::new(lay(&score, &layout));
    Ok(WarmMusic {
        music: written.music,
        score,
        timeline,
    })
}

/// The step as one line, for a screen reader.
fn spoken(warming: &Warming) -> String {
    let Some(step) = warming.step() else {
        return "Warm: now play.".to_owned();
    };
    if warming.paused() {
        return "Paused.".to_owned();
    }
    let tempo = crate::units::spell_fraction(&step.tempo.value());
    let notes = warming.present().map_or_else(String::new, |present| {
        format!(" Music: {}", music_line(&present.score, &BTreeSet::new()))
    });
    format!(
        "{}, at {tempo}, {} seconds.{notes}",
        step.says, step.seconds
    )
}

/// A running warm-up with its player and its screen.
struct Page {
    warming: Warming,
    player: Player,
    pedals: pedals::Pedals,
    foot: Foot,
    /// The serial number of the timeline of the present step.
    serial: Option<u64>,
    /// True where no reference sounds at all.
    alone: bool,
    left_handed: bool,
    /// True where a session goes on by itself at the end.
    goes_on: bool,
    shown: Shown,
    last: Instant,
    help: bool,
    left: bool,
}

/// The page on a screen, or in lines for a screen reader.
enum Shown {
    Screen(Box<Canvas>, Theme),
    /// The line and the error that were printed last.
    Lines(String, Option<String>),
}

impl Page {
    fn new(
        arguments: &ScreenArguments,
        own: &Settings,
        warming: Warming,
        goes_on: bool,
    ) -> Result<Self, Failure> {
        let shown = match Manner::of(own) {
            Manner::Lines => {
                output::print(
                    "Right pedal or space: pause and go on. Left pedal or n: on to the next. q: leave.\r\n",
                )?;
                Shown::Lines(String::new(), None)
            }
            Manner::Screen => {
                let theme = Theme::new(settings::colours(own));
                Shown::Screen(Box::new(Canvas::new()?), theme)
            }
        };
        let mut page = Self {
            warming,
            player: arguments.player(own),
            pedals: pedals::Pedals::of(own),
            foot: if goes_on {
                Foot::on(Instant::now())
            } else {
                Foot::default()
            },
            serial: None,
            alone: own.switch(keys::ALONE),
            left_handed: own.switch(keys::LEFT_HANDED),
            goes_on,
            shown,
            last: Instant::now(),
            help: false,
            left: false,
        };
        page.begin(When::Now);
        page.player.start();
        Ok(page)
    }

    /// Sends the music of the present step to the player, or stops the player after the last step.
    fn begin(&mut self, when: When) {
        let (Some(step), Some(present)) = (self.warming.step(), self.warming.present()) else {
            self.player.stop();
            return;
        };
        let silent = self.alone || step.purpose == Purpose::Silent;
        self.player.send(Command::Mute(Bus::Reference, silent));
        let timeline = Arc::clone(&present.timeline);
        self.serial = Some(self.player.load(timeline, when, Entrance::CountIn));
    }

    fn leave_out(&mut self) {
        if !self.warming.is_over() {
            self.warming.skip();
            self.begin(When::BarLine);
        }
    }

    fn pause_or_go_on(&mut self) {
        self.warming.pause_or_go_on();
        if self.warming.paused() {
            self.player.pause();
        } else {
            self.begin(When::Now);
            self.player.start();
        }
    }

    fn trouble(&self) -> Option<String> {
        match self.player.state() {
            DeviceState::Silent { why } => Some(format!("no sound: {why}; it runs on silently")),
            DeviceState::Closed | DeviceState::Sounding { .. } => None,
        }
    }
}

impl Paged for Page {
    fn is_over(&self) -> bool {
        self.left || self.goes_on && self.warming.is_over()
    }

    fn wait(&self) -> Duration {
        if self.warming.is_over() || self.warming.paused() {
            Duration::from_millis(500)
        } else {
            FRAME
        }
    }

    fn pressed(&mut self, key: KeyEvent) -> Result<Did, Failure> {
        if key.kind == KeyEventKind::Release {
            return Ok(Did::Nothing);
        }
        let control = key.modifiers.contains(KeyModifiers::CONTROL);
        match key.code {
            KeyCode::Char('z') if control => {
                if !self.warming.is_over() && !self.warming.paused() {
                    self.pause_or_go_on();
                }
            }
            KeyCode::Char('c') if control => self.left = true,
            KeyCode::Char('q') | KeyCode::Esc => self.left = true,
            KeyCode::Char('n') => self.leave_out(),
            _ => match self.pedals.side(key) {
                side if self.foot.is_still_on(side, Instant::now()) => {}
                Some(_) if self.warming.is_over() => self.left = true,
                Some(Mark::Clean) => self.pause_or_go_on(),
                Some(Mark::NotClean) => self.leave_out(),
                None => return Ok(Did::Nothing),
            },
        }
        Ok(Did::Changed)
    }

    fn turn(&mut self, _: &mut World<'_>) -> Result<Did, Failure> {
        let now = Instant::now();
        let changed = self.warming.pass(Seconds((now - self.last).as_secs_f64()));
        self.last = now;
        self.player.poll(now);
        if changed {
            self.begin(When::BarLine);
        }
        let (warming, serial) = (&self.warming, self.serial);
        let place = self.player.position(now).and_then(|position| {
            let timeline = &warming.present()?.timeline;
            (Some(position.serial) == serial).then(|| HeardPlace {
                serial: position.serial,
                stage: 0,
                rung: Rung::Tempo(timeline.tempo),
                timeline: Arc::clone(timeline),
                counting_in: position.counting_in,
                cycle: position.cycle,
                beat: position.beat,
            })
        });
        self.warming.hears(place);
        Ok(Did::Changed)
    }

    fn terminate(&mut self) {
        self.left = true;
    }

    fn woke(&mut self) {
        self.last = Instant::now();
    }

    fn help(&mut self) -> Option<&mut bool> {
        Some(&mut self.help)
    }

    fn show(&mut self, fresh: bool) -> Result<(), Failure> {
        let trouble = self.trouble();
        let (warming, help) = (&self.warming, self.help);
        match &mut self.shown {
            Shown::Screen(canvas, theme) => {
                let (theme, left_handed) = (*theme, self.left_handed);
                canvas.draw(fresh, |frame| {
                    if help {
                        view_keys(&HELP_WARM, theme, frame);
                    } else {
                        view_warming(warming, trouble.as_deref(), left_handed, theme, frame);
                    }
                })
            }
            Shown::Lines(said, told) => {
                // each error is printed once, when it changes
                if let Some(trouble) = trouble.filter(|trouble| Some(trouble) != told.as_ref()) {
                    output::print(&format!("{trouble}\r\n"))?;
                    *told = Some(trouble);
                }
                let text = if help {
                    HELP_WARM.spoken()
                } else {
                    spoken(warming)
                };
                if text != *said {
                    output::print(&format!("{text}\r\n"))?;
                    *said = text;
                }
                Ok(())
            }
        }
    }
}

/// Runs a warm-up in a terminal that is already set up.
fn play(
    arguments: &ScreenArguments,
    own: &Settings,
    warming: Warming,
    world: &mut World<'_>,
    goes_on: bool,
) -> Result<bool, Failure> {
    let mut page = Page::new(arguments, own, warming, goes_on)?;
    event_loop::run(&mut page, world)?;
    page.player.stop();
    Ok(!page.warming.is_over())
}
