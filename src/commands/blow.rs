//! `blow`: the note that is held, for blowing evenly. Plays nothing and keeps the player's low A alone.

use super::terminal::{self, Manner, Terminal};
use super::{Failure, Outcome, Ran, arguments, low_a, practise, settings};
use crate::app::Blowing;
use crate::listening::Attention;
use crate::live::{Microphone, Quiet};
use crate::screen::{Theme, view_blowing};
use crate::settings::keys;
use crate::units::Hertz;
use crossterm::event::{
    Event as Input, KeyCode, KeyEventKind, KeyModifiers, poll, read as read_key,
};
use ratatui::backend::CrosstermBackend;
use std::io::stdout;
use std::sync::atomic::Ordering;
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

/// Between two drawings of the same note, and between two looks at the microphone: another note is
/// to be on the screen within 80 ms.
const FRAME: Duration = Duration::from_millis(33);
const LOOK: Duration = Duration::from_millis(5);
/// Nothing from the microphone for so long: it has gone.
const GONE: Duration = Duration::from_secs(1);

/// Runs `blow`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let own = settings::sounding(arguments.la, arguments.pipes, false)?;
    terminal::require()?;
    let (tuning, mut search) = low_a::begin(settings::tuning(&own), settings::gives_low_a(&own));
    let asked = arguments
        .microphone
        .as_deref()
        .or(own.given(keys::MICROPHONE));
    let log = practise::log_file();
    let quiet = Quiet::into_file(log.as_ref()).ok();
    let opened = Microphone::open(asked);
    drop(quiet);
    let mut microphone = opened.map_err(|error| Failure(error.to_string()))?;
    let mut attention = Attention::new(microphone.rate, tuning)
        .map_err(|error| Failure(format!("`{}`: {error}", microphone.name)))?;
    let mut blowing = Blowing::new(microphone.name.clone(), tuning.low_a.0);
    let terminate = super::signals::termination(super::terminal::give_back);
    let taken = Terminal::take(Manner::Screen, log.as_ref())?;
    let theme = Theme::new(settings::colours(&own));
    let told = |error: std::io::Error| Failure(format!("the terminal cannot be used: {error}"));
    let mut drawn = ratatui::Terminal::new(CrosstermBackend::new(stdout())).map_err(told)?;
    let mut samples = Vec::new();
    let mut last = Instant::now();
    let mut shown = None;
    while !terminate.load(Ordering::Relaxed) {
        samples.clear();
        microphone.take(&mut samples);
        if !samples.is_empty() {
            last = Instant::now();
            attention.push(&samples);
            if let Some(search) = &mut search {
                search.look(&mut attention, true);
            }
        }
        let now = (last.elapsed() < GONE).then(|| attention.now());
        let note = |now: Option<crate::listening::HeardNow>| now?.note.map(|(note, _)| note);
        let another = note(now) != note(blowing.now);
        blowing.hear(attention.seconds(), now);
        if another || shown.is_none_or(|shown: Instant| shown.elapsed() >= FRAME) {
            drawn
                .draw(|frame| view_blowing(&blowing, theme, frame))
                .map_err(told)?;
            shown = Some(Instant::now());
        }
        if !poll(LOOK).map_err(told)? {
            continue;
        }
        if let Input::Key(key) = read_key().map_err(told)?
            && key.kind != KeyEventKind::Release
            && (matches!(key.code, KeyCode::Char('q') | KeyCode::Esc)
                || (key.code == KeyCode::Char('c')
                    && key.modifiers.contains(KeyModifiers::CONTROL)))
        {
            break;
        }
    }
    drop(taken);
    Ok(Outcome::Done)
}
