//! `blow`: shows the note that is held, for practising to blow evenly. It plays nothing and stores
//! only the player's low A.

use super::{Outcome, Ran, arguments};
use crate::app::Blowing;
use crate::listening::{Attention, HeardNow};
use crate::live::{Microphone, Quiet};
use crate::screen::{HELP_BLOW, Theme, view_blowing, view_keys};
use crate::services::{
    Failure,
    event_loop::{self, Canvas, Did, FRAME, Paged, World},
    low_a, settings,
    terminal::{self, Manner},
};
use crate::settings::keys;
use crate::units::Hertz;
use crossterm::event::{KeyCode, KeyEvent, KeyEventKind, KeyModifiers};
use std::time::{Duration, Instant};

/// Arguments of `blow`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung blow\n  gracerung blow --la 238\n  gracerung blow --pipes --microphone \"USB microphone\"\n\n\
    Shows the note you hold, its distance from the tuning in cents, how far it wandered over the\n\
    last three seconds, how long it has been held, and the level. It plays nothing, and keeps nothing\n\
    but your low A, which it hears in twenty seconds of playing where you do not give it."
)]
pub(crate) struct Arguments {
    /// Pitch of low A in hertz; when left out the last one you played, and yours once it is heard.
    #[arg(long, value_name = "HZ", value_parser = arguments::low_a)]
    la: Option<Hertz>,
    /// The pipe chanter instead of the practice chanter.
    #[arg(long)]
    pipes: bool,
    /// Microphone, by the name that `devices` prints; the system's own when left out.
    #[arg(long, value_name = "NAME")]
    microphone: Option<String>,
}

/// Time between two readings of the microphone. A new note should be on the screen within 80 ms.
const LOOK: Duration = Duration::from_millis(5);
/// A microphone that delivers nothing for this long counts as disconnected.
const GONE: Duration = Duration::from_secs(1);

/// Runs `blow`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let own = settings::sounding(arguments.la, arguments.pipes, false)?;
    terminal::require()?;
    let (tuning, search) = low_a::begin(settings::tuning(&own), settings::gives_low_a(&own));
    let asked = arguments
        .microphone
        .as_deref()
        .or(own.given(keys::MICROPHONE));
    let log = terminal::log_file();
    let quiet = Quiet::into_file(log.as_ref()).ok();
    let opened = Microphone::open(asked);
    drop(quiet);
    let microphone = opened.map_err(|error| Failure(error.to_string()))?;
    let attention = Attention::new(microphone.rate, tuning)
        .map_err(|error| Failure(format!("`{}`: {error}", microphone.name)))?;
    event_loop::in_terminal(Manner::Screen, |world| {
        let mut page = Page {
            attention,
            search,
            blowing: Blowing::new(microphone.name.clone(), tuning.low_a),
            microphone,
            theme: Theme::new(settings::colours(&own)),
            canvas: Canvas::new()?,
            samples: Vec::new(),
            last: Instant::now(),
            shown: Instant::now(),
            help: false,
            over: false,
        };
        event_loop::run(&mut page, world)
    })?;
    Ok(Outcome::Done)
}

/// The running page: the microphone, its analysis and what is shown.
struct Page {
    microphone: Microphone,
    attention: Attention,
    /// The search for the player's low A; none where low A is known.
    search: Option<low_a::Search>,
    blowing: Blowing,
    theme: Theme,
    canvas: Canvas,
    samples: Vec<f32>,
    /// When the microphone last delivered anything.
    last: Instant,
    shown: Instant,
    help: bool,
    over: bool,
}

impl Paged for Page {
    fn is_over(&self) -> bool {
        self.over
    }

    fn wait(&self) -> Duration {
        LOOK
    }

    fn pressed(&mut self, key: KeyEvent) -> Result<Did, Failure> {
        let control = key.modifiers.contains(KeyModifiers::CONTROL);
        let leaves = match key.code {
            KeyCode::Char('q') | KeyCode::Esc => true,
            KeyCode::Char('c') => control,
            _ => false,
        };
        self.over |= leaves && key.kind != KeyEventKind::Release;
        Ok(Did::Nothing)
    }

    fn turn(&mut self, _: &mut World<'_>) -> Result<Did, Failure> {
        self.samples.clear();
        self.microphone.take(&mut self.samples);
        if !self.samples.is_empty() {
            self.last = Instant::now();
            self.attention.push(&self.samples);
            if let Some(search) = &mut self.search {
                search.look(&mut self.attention, true);
            }
        }
        let now = (self.last.elapsed() < GONE).then(|| self.attention.now());
        let note = |now: Option<HeardNow>| now?.note.map(|(note, _)| note);
        let another = note(now) != note(self.blowing.now());
        self.blowing.hear(self.attention.seconds(), now);
        let due = another || self.shown.elapsed() >= FRAME;
        Ok(if due { Did::Changed } else { Did::Nothing })
    }

    fn terminate(&mut self) {
        self.over = true;
    }

    fn help(&mut self) -> Option<&mut bool> {
        Some(&mut self.help)
    }

    fn show(&mut self, fresh: bool) -> Result<(), Failure> {
        let (blowing, theme, help) = (&self.blowing, self.theme, self.help);
        self.shown = Instant::now();
        self.canvas.draw(fresh, |frame| {
            if help {
                view_keys(&HELP_BLOW, theme, frame);
            } else {
                view_blowing(blowing, theme, frame);
            }
        })
    }
}
