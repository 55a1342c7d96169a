//! `today`: shows what to practise now, and why.

use super::{Outcome, Ran, practise, screen_arguments::ScreenArguments};
use crate::app::{Message, Model};
use crate::planning::{Item, today};
use crate::practice::Rung;
use crate::services::{
    homework, output, plan,
    session::{self, is_heard_first},
    settings, terminal,
};
use crate::units::spell_fraction;
use crate::wording;
use jiff::civil::Date;
use serde::Serialize;
use std::io::IsTerminal as _;

/// Arguments of `today`.
#[derive(clap::Args)]
#[command(
    after_help = "Examples:\n  gracerung today\n  gracerung today --play --minutes 15\n  gracerung today --minutes 30\n  gracerung today --mix --json\n\n\
    The rule: cold tries first, at most a quarter of the time: a cell that was cleared counts as \
    held only when the first try of another day, without reference, is clean; then homework; then \
    cells that were cleared and are due again, after a gap that \
    doubles each time they hold and is a day again when they fail; then where each climb stands; \
    then something new, one a day, or as much as fills the minutes while nothing is cleared yet; \
    a movement is to be heard first. With --play it runs as a session: a warm-up, then each of these \
    until it is answered or its minutes are over, a pause between; what is due is answered by its \
    first try, and the minutes that are left go to the rest of the plan; the right pedal begins, the \
    left one leaves out, and what was interrupted goes on the same day. Gaps, order and minutes are settings (`gracerung settings`)."
)]
pub(crate) struct Arguments {
    /// Minutes to fill; else the setting `plan.minutes`.
    #[arg(long, value_parser = clap::value_parser!(u32).range(1..=600))]
    minutes: Option<u32>,
    /// Turn about between drills instead of one after the other.
    #[arg(long)]
    mix: bool,
    /// Play it as a session: each thing goes over to the next, by pedal or by itself.
    #[arg(long, conflicts_with_all = ["mix", "on", "json"])]
    play: bool,
    /// Plan for another day, such as 2027-01-15.
    #[arg(long, value_name = "DATE", value_parser = day)]
    on: Option<Date>,
    /// Print as JSON.
    #[arg(long)]
    json: bool,
    #[command(flatten, next_help_heading = "With --play")]
    screen: ScreenArguments,
}

/// Reads a date such as 2027-01-15.
pub(crate) fn day(text: &str) -> Result<Date, String> {
    text.trim()
        .parse()
        .map_err(|_| "expected a day such as 2027-01-15: year, month, day".to_owned())
}

#[derive(Serialize)]
struct Plan<'a> {
    date: Date,
    minutes: u32,
    items: &'a [Item],
    /// The drills of a new movement, which should be heard first with `gracerung hear`.
    hear: Vec<&'a str>,
}

/// Runs `today`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    if arguments.play {
        return play(&arguments.screen, arguments.minutes);
    }
    let settings = plan::own_settings()?;
    let mut rule = settings::rule(&settings);
    rule.minutes = arguments.minutes.unwrap_or(rule.minutes);
    if arguments.mix {
        rule.order = crate::planning::Order::Mix;
    }
    let date = arguments.on.unwrap_or_else(plan::date);
    let digest = plan::digest()?;
    let items = today(
        &digest,
        &plan::all_known(),
        &homework::open_tasks(&digest),
        date,
        &rule,
    );
    let minutes = items.iter().map(|item| item.minutes).sum();
    if arguments.json {
        output::print_json(&Plan {
            date,
            minutes,
            items: &items,
            hear: items
                .iter()
                .filter(|item| is_heard_first(item))
                .map(|item| item.open.as_str())
                .collect(),
        })?;
        return Ok(Outcome::Done);
    }
    let mut text = format!(
        "{date}, {}\n",
        wording::count(minutes as usize, "minute", "minutes")
    );
    if items.is_empty() {
        text.push_str("nothing is due and there is nothing new: play what you like\n");
    }
    // a sentence is not wrapped where another program reads the output
    let width = if std::io::stdout().is_terminal() {
        terminal::columns()
    } else {
        usize::MAX
    };
    for item in &items {
        use std::fmt::Write as _;
        let why = textwrap::fill(
            &format!("{:2} min  {}", item.minutes, item.why),
            textwrap::Options::new(width)
                .word_separator(textwrap::WordSeparator::AsciiSpace)
                .word_splitter(textwrap::WordSplitter::NoHyphenation)
                .subsequent_indent("        "),
        );
        let _ = writeln!(text, "\n{why}");
        if is_heard_first(item) {
            let _ = writeln!(
                text,
                "        gracerung hear {}    (first, a minute: what is clean?)",
                quoted(&item.open)
            );
        }
        let _ = writeln!(
            text,
            "        gracerung practise {}{} --stage {} {}",
            quoted(&item.open),
            item.task
                .as_ref()
                .map_or_else(String::new, |task| format!(" --task {}", quoted(task))),
            item.stage_number,
            asked(item.rung),
        );
    }
    output::print(&text)?;
    Ok(Outcome::Done)
}

/// A rung as an option of `practise`.
fn asked(rung: Rung) -> String {
    let number = |value| spell_fraction(&value).replace('½', ".5");
    match rung {
        Rung::Tempo(tempo) => format!("--tempo {}", number(tempo.value())),
        Rung::Opened { tone, .. } => format!("--tone {}", number(tone.0)),
    }
}

/// A word, quoted where a shell would split or change it.
fn quoted(word: &str) -> String {
    let plain = |sign: char| sign.is_alphanumeric() || "-_./".contains(sign);
    if word.chars().all(plain) {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', "'\\''"))
    }
}

/// Plays the plan as a session.
fn play(arguments: &ScreenArguments, minutes: Option<u32>) -> Ran {
    terminal::require()?;
    let own = arguments.settings()?;
    let asked = session::Asked::new(&own, minutes);
    let digest = plan::digest()?;
    let due = homework::open_tasks(&digest);
    let begun = session::begin(&digest, &plan::all_known(), &due, &asked);
    if begun.parts.is_empty() {
        output::print("nothing is due and there is nothing new: play what you like\n")?;
        return Ok(Outcome::Done);
    }
    let (mut shell, options) = practise::start(arguments, &own)?;
    let mut model = Model::straight(options);
    shell.day = Some(asked);
    shell.tell(&mut model, Message::Session(begun));
    practise::screen(arguments, &own, shell, model)
}
