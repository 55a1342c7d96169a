//! `warmup`: runs by itself, hands free, and marks nothing.

use super::practise::ScreenArguments;
use super::terminal::{self, Manner, Terminal};
use super::{Failure, Outcome, Ran, open, output, plan, settings};
use crate::app::{Warming, scores};
use crate::drill::{Drill, read};
use crate::live::{Player, State};
use crate::planning::{Purpose, WarmStep, warm_up};
use crate::score::Score;
use crate::screen::{Theme, view_warming};
use crate::sound::{Bus, Command, Entry, Sound, When};
use crate::timeline::{Layout, Timeline, lay};
use crate::units::SampleRate;
use crossterm::event::{
    Event as Input, KeyCode, KeyEventKind, KeyModifiers, poll, read as read_key,
};
use ratatui::backend::CrosstermBackend;
use std::io::stdout;
use std::sync::Arc;
use std::time::{Duration, Instant};

/// Arguments of `warmup`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung warmup\n  gracerung warmup --minutes 10 --for band\n  \
    gracerung warmup --list\n\n\
    Fingers without blowing, a long tone, gracenotes, crossings, two movements you have cleared, a \
    few bars. It marks nothing and asks nothing. Two mornings differ."
)]
pub(crate) struct Arguments {
    /// Minutes.
    #[arg(long, default_value_t = 5, value_parser = clap::value_parser!(u32).range(1..=30))]
    minutes: u32,
    /// What comes after: `band` is longer without blowing, and calmer.
    #[arg(long = "for", value_name = "WHAT", value_parser = ["band", "practice"])]
    before: Option<String>,
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
    let digest = plan::digest()?;
    let steps = warm_up(
        &digest,
        &plan::all_known(),
        plan::date(),
        arguments.minutes,
        for_band,
    );
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
    let timelines = steps.iter().map(timeline).collect::<Result<Vec<_>, _>>()?;
    play(&arguments.screen, &own, steps, &timelines)
}

/// A step's music as a timeline.
fn timeline(step: &WarmStep) -> Result<Arc<Timeline>, Failure> {
    let (drill, stage): (Drill, usize) = match &step.drill {
        Some((name, stage)) => (open::open(name)?.drill, *stage),
        None => {
            let text = format!(
                "title: warm-up\nunit: 1/4\nbreath: 0\nmusic: |\n  {}\nladder: {{from: 60, to: 60, step: 4%}}\n",
                step.music
            );
            let drill = read(text.as_bytes()).0.ok_or_else(|| {
                Failure(format!(
                    "the warm-up's music `{}` does not read",
                    step.music
                ))
            })?;
            (drill, 0)
        }
    };
    let scores: Vec<Score> = scores(&drill);
    let score = scores
        .get(stage)
        .ok_or_else(|| Failure(format!("`{}` has no such stage", drill.title)))?;
    let layout = Layout {
        lengths: drill.lengths,
        ..Layout::at(step.tempo, SampleRate::USUAL)
    };
    Ok(Arc::new(lay(score, &layout)))
}

/// Between two drawings.
const FRAME: Duration = Duration::from_millis(100);

fn play(
    arguments: &ScreenArguments,
    own: &crate::settings::Settings,
    steps: Vec<WarmStep>,
    timelines: &[Arc<Timeline>],
) -> Ran {
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
    let mut warming = Warming::new(steps);
    let begin = |player: &mut Player, warming: &Warming, when: When| {
        if let (Some(step), Some(timeline)) = (warming.step(), timelines.get(warming.at)) {
            let silent = step.purpose == Purpose::Silent;
            player.send(Command::Mute(Bus::Reference, silent));
            player.load(Arc::clone(timeline), when, Entry::CountIn);
        }
    };
    let log = super::practise::log_file();
    let terminate = super::practise::termination();
    let taken = Terminal::take(Manner::Screen, log.as_ref())?;
    let colours = std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty())
        && own.word("colours") != "never";
    let theme = Theme::new(colours);
    let told = |error: std::io::Error| Failure(format!("the terminal cannot be used: {error}"));
    let mut drawn = ratatui::Terminal::new(CrosstermBackend::new(stdout())).map_err(told)?;
    begin(&mut player, &warming, When::Now);
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
                begin(&mut player, &warming, When::BarLine);
            }
        }
        let trouble = match player.state() {
            State::Silent { why } => Some(format!("no sound: {why}; it runs on silently")),
            State::Closed | State::Sounding { .. } => None,
        };
        drawn
            .draw(|frame| view_warming(&warming, trouble.as_deref(), theme, frame))
            .map_err(told)?;
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
                    begin(&mut player, &warming, When::BarLine);
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
                    begin(&mut player, &warming, When::Now);
                    player.start();
                }
            }
            _ => {}
        }
    }
    player.stop();
    drop(taken);
    Ok(Outcome::Done)
}
