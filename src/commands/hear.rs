//! `hear`: plays a movement, either clean or with one fault, and asks the listener which of the two
//! it was.

mod keeping;
mod shown;
mod what;

use super::{Outcome, Ran, screen_arguments::ScreenArguments};
use crate::app::{Asking, Button, Discriminating, ToPlay};
use crate::discrimination::{Excerpt, excerpt, plant};
use crate::live::{DeviceState, Heard, Player, Quiet};
use crate::practice::Mark;
use crate::screen::Theme;
use crate::services::{
    Failure,
    event_loop::{self, Did, FRAME, Foot, Paged, World},
    open, output, pedals, settings,
    terminal::{self, Manner},
};
use crate::settings::Settings;
use crate::sound::{Bus, Entrance, RendererReport, When};
use crate::timeline::Timeline;
use crate::units::Seconds;
use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use keeping::Keeping;
use shown::Shown;
use std::sync::Arc;
use std::time::{Duration, Instant};
use uuid::Uuid;
use what::{What, chosen, music};

/// Arguments of `hear`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung hear grip-from-d\n  gracerung hear grip-from-d --fault unlike --minutes 3\n  \
    gracerung hear crossings --stage 1 --tempo 60\n\n\
    Faults: `crushed` (the tones inside too short), `unlike` (two like tones of unequal length), \
    `long` (a gracenote too long), `early` (the movement begun early), `blip` (a low A or low G \
    while the fingers cross). Left out, the one you have not heard for longest.\n\n\
    First both are played, then half of what you hear is clean and half has the fault, smaller as \
    you hear it and larger as you do not. The right pedal (page down, right, down, enter, c) says \
    clean, the left (page up, left, up, x) says fault; they also begin, and leave at the end. No \
    microphone is needed. It marks nothing; `progress` shows what you hear over the weeks.\n\n\
    As quiet as will do: it is the ear that is to work."
)]
pub(crate) struct Arguments {
    #[command(flatten)]
    what: What,
    #[command(flatten)]
    screen: ScreenArguments,
}

/// How long the device may take to open.
const OPENING: Duration = Duration::from_secs(5);

/// Runs `hear`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let own = arguments.screen.settings()?;
    terminal::require()?;
    let mut hearing = Hearing::begin(&arguments.what, &arguments.screen, &own)?;
    event_loop::in_terminal(Manner::of(&own), |world| {
        hearing.begins(&own)?;
        event_loop::run(&mut hearing, world)
    })?;
    let trouble = hearing.trouble.take();
    let page = &hearing.page;
    if page.asking() == Asking::Over && !page.read_aloud() {
        output::print(&format!("{}\n", page.says().join("\n")))?;
    }
    match trouble {
        Some(trouble) => Err(Failure(trouble)),
        None => Ok(Outcome::Done),
    }
}

/// Trains the ear with a drill's movement for a minute, within a session that has the terminal
/// already. Returns true where the player left before the end.
pub(super) fn in_session(
    screen: &ScreenArguments,
    own: &Settings,
    drill: &str,
    world: &mut World<'_>,
) -> Result<bool, Failure> {
    let what = What {
        drill: drill.to_owned(),
        fault: None,
        stage: None,
        tempo: None,
        minutes: 1.0,
    };
    let mut hearing = Hearing::begin(&what, screen, own)?;
    hearing.page.join_a_session();
    hearing.foot = Foot::on(Instant::now());
    hearing.begins(own)?;
    event_loop::run(&mut hearing, world)?;
    match hearing.trouble {
        Some(trouble) => Err(Failure(trouble)),
        None => Ok(hearing.page.asking() != Asking::Over),
    }
}

/// The running page with the player and what it plays.
struct Hearing {
    player: Player,
    page: Discriminating,
    clean: Timeline,
    journal: Keeping,
    pedals: pedals::Pedals,
    foot: Foot,
    /// The screen or the lines that show the page; none before the first drawing.
    shown: Option<Shown>,
    /// The serial number of the timeline that was loaded last. It may not sound yet.
    serial: Option<u64>,
    heard: bool,
    last: Instant,
    help: bool,
    over: bool,
    /// The error that ended the page, if any.
    trouble: Option<String>,
}

impl Hearing {
    fn begin(what: &What, screen: &ScreenArguments, own: &Settings) -> Result<Self, Failure> {
        let opened = open::open(&what.drill)?;
        let music = music(&opened.drill, what)?;
        if settings::options(own).levels.of(Bus::Reference).0 <= 0.0 {
            return Err(Failure(
                "nothing can be heard: the setting `levels.reference` is 0".to_owned(),
            ));
        }
        let journal = Keeping::open(&opened.name, music.cell)?;
        let spot = chosen(&music, what.fault, &journal.before, &opened.drill)?;
        let piece = excerpt(&music.clean, &music.clean, &spot);
        let before = journal.last_of(spot.difference);
        let page = Discriminating::new(
            music.title.clone(),
            spot,
            Seconds(what.minutes * 60.0),
            (piece.length, piece.judged_from),
            seed(),
        )
        .compared_with(before)
        .aloud(Manner::of(own) == Manner::Lines);
        Ok(Self {
            player: sounding(screen, own, &piece)?,
            page,
            clean: music.clean,
            journal,
            pedals: pedals::Pedals::of(own),
            foot: Foot::default(),
            shown: None,
            serial: None,
            heard: false,
            last: Instant::now(),
            help: false,
            over: false,
            trouble: None,
        })
    }

    /// Opens the screen and plays the first piece.
    fn begins(&mut self, own: &Settings) -> Result<(), Failure> {
        let theme = Theme::new(settings::colours(own));
        self.shown = Some(Shown::new(theme, self.page.read_aloud())?);
        self.last = Instant::now();
        let examples = self.page.examples();
        self.play(examples);
        Ok(())
    }

    /// Carries out what the page asks for.
    fn play(&mut self, what: ToPlay) {
        if let ToPlay::Piece(size) = what {
            let (clean, spot) = (&self.clean, &self.page.spot());
            let piece = match size {
                Some(size) => excerpt(&plant(clean, spot, size), clean, spot),
                None => excerpt(clean, clean, spot),
            };
            let timeline = Arc::new(piece.timeline);
            self.serial = Some(self.player.load(timeline, When::Now, Entrance::FirstCycle));
            self.heard = false;
            self.player.start();
            return;
        }
        self.player.stop();
        if let Some(found) = self.page.take_found() {
            self.trouble = self.journal.store(&found).err().or(self.trouble.take());
        }
        self.over |= what == ToPlay::Leave;
    }
}

impl Paged for Hearing {
    fn is_over(&self) -> bool {
        self.over
    }

    fn wait(&self) -> Duration {
        FRAME
    }

    fn pressed(&mut self, key: KeyEvent) -> Result<Did, Failure> {
        if key.code == KeyCode::Char('z') && key.modifiers.contains(KeyModifiers::CONTROL) {
            self.player.pause();
            return Ok(Did::Changed);
        }
        if let Some(button) = button(&self.pedals, key)
            && !self.foot.is_still_on(self.pedals.side(key), Instant::now())
            && let Some(what) = self.page.press(button)
        {
            self.play(what);
        }
        Ok(Did::Changed)
    }

    fn turn(&mut self, _: &mut World<'_>) -> Result<Did, Failure> {
        let now = Instant::now();
        for what in self.player.poll(now) {
            if let Heard::Report(RendererReport::Took { serial: took, .. }) = what {
                self.heard |= Some(took) == self.serial;
            }
        }
        let passed = (now - self.last).as_secs_f64();
        self.last = now;
        if self.heard
            && !self.over
            && let Some(what) = self.page.pass(Seconds(passed))
        {
            self.play(what);
        }
        let quiet = matches!(self.page.asking(), Asking::Over | Asking::Ready);
        if !quiet
            && self.heard
            && let Some(failure) = silent(&self.player)
        {
            self.trouble = Some(failure.0);
            self.play(ToPlay::Leave);
        }
        Ok(Did::Changed)
    }

    fn terminate(&mut self) {
        self.play(ToPlay::Leave);
    }

    fn woke(&mut self) {
        self.last = Instant::now();
        if self.heard {
            self.player.start();
        }
    }

    fn help(&mut self) -> Option<&mut bool> {
        Some(&mut self.help)
    }

    fn show(&mut self, fresh: bool) -> Result<(), Failure> {
        match &mut self.shown {
            Some(shown) => shown.show(&self.page, self.help, fresh),
            None => Ok(()),
        }
    }
}

/// A seed for the random choice of clean and faulty movements, different each time.
fn seed() -> u64 {
    #[cfg(debug_assertions)]
    if let Some(seed) = std::env::var(TESTED)
        .ok()
        .and_then(|seed| seed.parse().ok())
    {
        return seed;
    }
    Uuid::new_v4().as_u64_pair().0
}

/// the name of a variable that lets tests run without a device and choose the seed; it does not
/// exist in a release build
#[cfg(debug_assertions)]
const TESTED: &str = "SILENT_FOR_A_TEST";

/// A player with an open device, and nothing loaded yet.
fn sounding(
    arguments: &ScreenArguments,
    own: &Settings,
    piece: &Excerpt,
) -> Result<Player, Failure> {
    let mut player = arguments.player(own);
    let mut silence = piece.timeline.clone();
    silence.first.clear();
    silence.again.clear();
    let log = terminal::log_file();
    let quiet = Quiet::into_file(log.as_ref()).ok();
    player.load(Arc::new(silence), When::Now, Entrance::FirstCycle);
    player.start();
    let until = Instant::now() + OPENING;
    while matches!(player.state(), DeviceState::Closed) && Instant::now() < until {
        player.poll(Instant::now());
        std::thread::sleep(Duration::from_millis(10));
    }
    drop(quiet);
    match silent(&player) {
        Some(why) => Err(why),
        None => Ok(player),
    }
}

/// The reason why nothing can be heard; none where the device plays.
fn silent(player: &Player) -> Option<Failure> {
    #[cfg(debug_assertions)]
    if std::env::var_os(TESTED).is_some() {
        return None;
    }
    let why = match player.state() {
        DeviceState::Sounding { .. } => return None,
        DeviceState::Silent { why } => why.as_str(),
        DeviceState::Closed => "the sound device does not open",
    };
    Some(Failure(format!(
        "nothing can be heard: {why}; `gracerung devices` lists the sound devices, `--device NAME` chooses one"
    )))
}

/// The button that a key stands for on this page.
fn button(pedals: &pedals::Pedals, key: KeyEvent) -> Option<Button> {
    if key.kind == KeyEventKind::Release {
        return None;
    }
    let control = key.modifiers.contains(KeyModifiers::CONTROL);
    Some(match (key.code, pedals.side(key)) {
        (KeyCode::Char('c'), _) if control => Button::Leave,
        (_, Some(Mark::Clean)) => Button::Right,
        (_, Some(Mark::NotClean)) => Button::Left,
        (KeyCode::Char('q') | KeyCode::Esc, _) => Button::Leave,
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Two buttons of any pedal control the whole page.
    #[test]
    fn both_pedals_and_their_keys_are_known() {
        let pressed = |code| {
            button(
                &pedals::Pedals::default(),
                KeyEvent::new(code, KeyModifiers::NONE),
            )
        };
        for code in [
            KeyCode::PageDown,
            KeyCode::Right,
            KeyCode::Down,
            KeyCode::Char('c'),
        ] {
            assert_eq!(pressed(code), Some(Button::Right));
        }
        for code in [
            KeyCode::PageUp,
            KeyCode::Left,
            KeyCode::Up,
            KeyCode::Char('x'),
        ] {
            assert_eq!(pressed(code), Some(Button::Left));
        }
        assert_eq!(pressed(KeyCode::Esc), Some(Button::Leave));
        assert_eq!(pressed(KeyCode::Tab), None);
        let interrupt = KeyEvent::new(KeyCode::Char('c'), KeyModifiers::CONTROL);
        assert_eq!(
            button(&pedals::Pedals::default(), interrupt),
            Some(Button::Leave)
        );
    }
}
