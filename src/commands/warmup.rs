//! `warmup`: runs by itself, hands free, and marks nothing.

use super::practise::{FRAME, ScreenArguments};
use super::terminal::{self, Manner, Terminal};
use super::{Failure, Outcome, Ran, arguments, open, output, plan, settings};
use crate::app::{Place, WarmMusic, Warming, scores};
use crate::drill::{Drill, read};
use crate::live::{Player, State};
use crate::planning::{Asked, Purpose, WarmStep, warm_up};
use crate::practice::Rung;
use crate::score::Score;
use crate::screen::{Theme, music_line, view_warming};
use crate::settings::{Settings, keys};
use crate::sound::{Bus, Command, Entry, Sound, When};
use crate::timeline::{Layout, lay};
use crate::units::{Bpm, SampleRate};
use crossterm::event::{
    Event as Input, KeyCode, KeyEventKind, KeyModifiers, poll, read as read_key,
};
use ratatui::backend::CrosstermBackend;
use std::io::stdout;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
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
    /// The band's tempo, beats a minute; else the setting `warmup.band-tempo`.
    #[arg(long, value_parser = arguments::tempo, requires = "before")]
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
    let for_band = arguments.before.as_deref() == Some("band");
    if arguments.tempo.is_some() && !for_band {
        return Err(Failure(
            "`--tempo` is the band's: give it with `--for band`".to_owned(),
        ));
    }
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
    let log = super::practise::log_file();
    let terminate = super::signals::termination(super::terminal::give_back);
    let manner = if lines(&own) {
        Manner::Lines
    } else {
        Manner::Screen
    };
    let taken = Terminal::take(manner, log.as_ref())?;
    let ran = play(&arguments.screen, &own, warming, &terminate, false);
    drop(taken);
    ran?;
    Ok(Outcome::Done)
}

/// A warm-up within a session: the terminal is taken already, and at its end it goes on by itself.
pub(super) fn in_session(
    arguments: &ScreenArguments,
    own: &Settings,
    minutes: u32,
    terminate: &AtomicBool,
) -> Result<(), Failure> {
    let warming = warming(steps(minutes, None, own)?)?;
    play(arguments, own, warming, terminate, true)
}

fn steps(minutes: u32, band: Option<Bpm>, own: &Settings) -> Result<Vec<WarmStep>, Failure> {
    let asked = Asked {
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

/// Plain lines instead of a screen; a terminal that cannot be drawn on still has lines.
fn lines(own: &Settings) -> bool {
    own.switch(keys::PLAIN) || std::env::var_os("TERM").is_some_and(|name| name == "dumb")
}

/// A step's music, laid at its tempo.
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

/// The step in a line, for screens that are read aloud.
fn spoken(warming: &Warming) -> String {
    let Some(step) = warming.step() else {
        return "Warm: now play.".to_owned();
    };
    if warming.paused {
        return "Paused.".to_owned();
    }
    let tempo = crate::units::spell_fraction(&step.tempo.value());
    let notes = warming.present().map_or_else(String::new, |present| {
        format!(" Music: {}", music_line(&present.score))
    });
    format!(
        "{}, at {tempo}, {} seconds.{notes}",
        step.says, step.seconds
    )
}

fn play(
    arguments: &ScreenArguments,
    own: &Settings,
    mut warming: Warming,
    terminate: &AtomicBool,
    goes_on: bool,
) -> Result<(), Failure> {
    let options = settings::options(own);
    let mut player = Player::new(
        arguments.asked(own),
        Sound {
            tuning: options.tuning,
            drones: options.drones,
            levels: options.levels,
            click: options.click_sound,
        },
    );
    player.set_offset(own.number(keys::OFFSET) as i32);
    let alone = own.switch(keys::ALONE);
    let begin = |player: &mut Player, warming: &Warming, when: When| {
        if let (Some(step), Some(present)) = (warming.step(), warming.present()) {
            let silent = alone || step.purpose == Purpose::Silent;
            player.send(Command::Mute(Bus::Reference, silent));
            Some(player.load(Arc::clone(&present.timeline), when, Entry::CountIn))
        } else {
            None
        }
    };
    let theme = Theme::new(settings::colours(own));
    let told = |error: std::io::Error| Failure(format!("the terminal cannot be used: {error}"));
    let mut drawn = if lines(own) {
        output::print("Space or a pedal pauses, n goes on to the next, q leaves.\r\n")?;
        None
    } else {
        // Within a session the page before is still there.
        terminal::wipe().map_err(told)?;
        Some(ratatui::Terminal::new(CrosstermBackend::new(stdout())).map_err(told)?)
    };
    let mut said = String::new();
    let mut complained = None;
    let mut serial = begin(&mut player, &warming, When::Now);
    player.start();
    let mut last = Instant::now();
    let mut leave = false;
    while !leave && !terminate.load(std::sync::atomic::Ordering::Relaxed) {
        let now = Instant::now();
        let changed = warming.pass((now - last).as_secs_f64());
        last = now;
        player.poll(now);
        if changed {
            if warming.is_over() {
                player.stop();
            } else {
                serial = begin(&mut player, &warming, When::BarLine);
            }
        }
        if goes_on && warming.is_over() {
            break;
        }
        warming.heard = player
            .position(now)
            .filter(|position| Some(position.serial) == serial)
            .and_then(|position| {
                Some(Place {
                    serial: position.serial,
                    stage: 0,
                    rung: Rung::Tempo(warming.present()?.timeline.tempo),
                    timeline: Arc::clone(&warming.present()?.timeline),
                    counting_in: position.counting_in,
                    cycle: position.cycle,
                    beat: position.beat,
                })
            });
        let trouble = match player.state() {
            State::Silent { why } => Some(format!("no sound: {why}; it runs on silently")),
            State::Closed | State::Sounding { .. } => None,
        };
        if let Some(drawn) = &mut drawn {
            let trouble = trouble.as_deref();
            drawn
                .draw(|frame| view_warming(&warming, trouble, options.left_handed, theme, frame))
                .map_err(told)?;
        } else {
            // each once, when it changes
            if let Some(trouble) = trouble.filter(|trouble| Some(trouble) != complained.as_ref()) {
                output::print(&format!("{trouble}\r\n"))?;
                complained = Some(trouble);
            }
            let text = spoken(&warming);
            if text != said {
                output::print(&format!("{text}\r\n"))?;
                said = text;
            }
        }
        let wait = if warming.is_over() || warming.paused {
            Duration::from_millis(500)
        } else {
            FRAME
        };
        if !poll(wait).map_err(told)? {
            continue;
        }
        let Input::Key(key) = read_key().map_err(told)? else {
            continue;
        };
        if key.kind == KeyEventKind::Release {
            continue;
        }
        match key.code {
            KeyCode::Char('q') | KeyCode::Esc => leave = true,
            KeyCode::Char('c') if key.modifiers.contains(KeyModifiers::CONTROL) => leave = true,
            KeyCode::Char('n') if !warming.is_over() => {
                warming.skip();
                if warming.is_over() {
                    player.stop();
                } else {
                    serial = begin(&mut player, &warming, When::BarLine);
                }
            }
            KeyCode::Char(' ')
            | KeyCode::Enter
            | KeyCode::Up
            | KeyCode::Down
            | KeyCode::Left
            | KeyCode::Right
            | KeyCode::PageUp
            | KeyCode::PageDown
                if !warming.is_over() =>
            {
                warming.paused = !warming.paused;
                if warming.paused {
                    player.pause();
                } else {
                    serial = begin(&mut player, &warming, When::Now);
                    player.start();
                }
            }
            _ => {}
        }
    }
    player.stop();
    Ok(())
}
