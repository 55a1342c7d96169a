//! `practise`, and the program without a command: the screen and its event loop.

use super::{
    Outcome, Ran, arguments, hear, screen_arguments::ScreenArguments,
    screen_arguments::settings_of, warmup,
};
use crate::app::{Care, Message, Model, Options, Page};
use crate::drill::{Drill, Stage, StageKind};
use crate::live::Quiet;
use crate::practice::Rung;
use crate::screen::{Plain, Theme, action, view};
use crate::services::{
    Failure,
    event_loop::{self, Canvas, Did, FRAME, Paged, World},
    homework, low_a,
    open::open,
    output, pedals, phrases, session, settings,
    shell::{Aside, Begin, Shell},
    stages,
    terminal::{self, Manner},
};
use crate::settings::{Id, Settings, keys};
use crate::units::{Bpm, Fraction};
use crate::wording;
use crossterm::event::KeyEvent;
use std::path::Path;
use std::time::{Duration, Instant};

/// Arguments of `practise`.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  gracerung practise grip-from-d\n  \
    gracerung practise grip-from-d --stage \"real time\" --tempo 60\n  \
    gracerung practise my-march.abc --bars 5-8\n  gracerung practise lamp-on-the-slipway --part 2 --phrase 1\n  \
    gracerung practise lamp-on-the-slipway --below-band 4\n  \
    gracerung practise bell-at-the-ferry --held-dots\n  \
    gracerung practise my-drill.yaml --pipes --drones\n  gracerung practise birl --mark-by ear --headphones\n  \
    gracerung practise week3.yaml    (homework)\n\n\
    A drill with a cell to be held begins on another day with its cold try: once, without reference.\n\
    Bars of a tune become a drill of their own, kept in your folder with a ladder and days of its own.\n\
    Phrases: parts of 8 bars are 4 + 4, of 4 bars 2 + 2; the field `phrases` of a drill says others.\n\
    Three not clean in a row stop play and offer other ways on; the setting `stop-rule` turns it off.\n\
    Without a sound device the drill runs silently on the same clock. ? lists the keys.")]
pub(crate) struct Arguments {
    /// A built-in drill's name, or a path to a drill, a tune (.abc, .musicxml) or a homework file.
    #[arg(value_name = "DRILL")]
    drill: String,
    /// Stage to begin with, by number from 1 or by name; else where the last session ended. With
    /// --bars, --part or --phrase the stage that holds the tune.
    #[arg(long)]
    stage: Option<String>,
    #[command(flatten)]
    of_tune: arguments::OfTune,
    #[command(flatten)]
    at: arguments::AtRung,
    /// Begin so many beats a minute under the tempo that is wanted: the top of the ladder, which for
    /// a tune of another program is the tempo written in it.
    #[arg(long, value_name = "BEATS", conflicts_with_all = ["tempo", "tone"],
          value_parser = clap::value_parser!(u16).range(0..=200))]
    below_band: Option<u16>,
    /// Which drill of a homework file; else the first that is not reached.
    #[arg(long, value_name = "NAME")]
    task: Option<String>,
    /// Begin with a phrase hidden; each clean repetition hides more, each other less; v and V change it.
    #[arg(long)]
    from_memory: bool,
    #[command(flatten)]
    screen: ScreenArguments,
    #[command(flatten)]
    marking: MarkingArguments,
}

/// Arguments about who marks: a warm-up marks nothing and has none of them.
#[derive(clap::Args)]
struct MarkingArguments {
    /// A repetition counts as clean unless a pedal or key says otherwise; after six without a key
    /// or pedal it pauses.
    #[arg(long)]
    hands_free: bool,
    /// Who marks: `hand` is keys and pedals, `ear` the microphone, which keys and pedals overrule.
    #[arg(long, value_name = "WHO", value_parser = ["hand", "ear"])]
    mark_by: Option<String>,
    /// Microphone, by the name that `devices` prints; the system's own when left out.
    #[arg(long, value_name = "NAME")]
    microphone: Option<String>,
    /// You wear headphones: the microphone hears you alone, also while the reference sounds.
    #[arg(long)]
    headphones: bool,
}

impl MarkingArguments {
    /// The given options, as settings.
    fn flags(&self) -> Vec<(Id, String)> {
        let mut flags = Vec::new();
        let mut give = |id, word: Option<String>| flags.extend(word.map(|word| (id, word)));
        let on = |flag: bool| flag.then(|| "true".to_owned());
        give(keys::HANDS_FREE.id(), on(self.hands_free));
        give(keys::MARK_BY.id(), self.mark_by.clone());
        give(keys::MICROPHONE.id(), self.microphone.clone());
        give(keys::HEADPHONES.id(), on(self.headphones));
        flags
    }
}

/// Runs `practise`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let begun = homework::begin(&arguments.drill, arguments.task.as_deref())?;
    let (mut opened, asked, goal) = match begun {
        Some(begun) => (begun.opened, Some(begun.asks), begun.goal),
        None => (open(&arguments.drill)?, None, None),
    };
    let at = match arguments.below_band {
        Some(beats) => below_band(&opened.drill, beats)?,
        None => arguments.at,
    };
    let wanted = arguments.stage.as_deref();
    let which = arguments.of_tune.which();
    let (opened, asked, stage) = if which.is_given() {
        let chosen = phrases::choose(&opened, wanted, &which)?;
        // no file is made where the terminal cannot be used for practice
        terminal::require()?;
        let (opened, told) = chosen.kept();
        (opened, told, which.first_stage())
    } else {
        if goal.is_none() {
            // names of stages are looked up in the drill as it is practised
            opened.drill = opened.practised();
        }
        let stage = match wanted {
            Some(wanted) => Some(stages::stage(&opened.drill, wanted)?.0),
            None => None,
        };
        (opened, asked, stage)
    };
    terminal::require()?;
    let begin = Begin {
        // bars of a tune have cells of their own, so the homework's goal does not apply to them
        goal: goal.filter(|_| !which.is_given()),
        says: asked,
        own_place: which.is_given(),
        ..begin(&opened.drill, stage, at)?
    };
    let mut flags = arguments.screen.flags();
    flags.extend(arguments.marking.flags());
    let settings = settings_of(&flags)?;
    let (mut shell, options) = start(&arguments.screen, &settings)?;
    let mut model = Model::straight(Options {
        from_memory: arguments.from_memory,
        ..options
    });
    let message = shell.opened(opened, begin);
    shell.tell(&mut model, message);
    screen(&arguments.screen, &settings, shell, model)
}

/// The rung whose tempo is this many beats a minute below the top of the ladder.
fn below_band(drill: &Drill, beats: u16) -> Result<arguments::AtRung, Failure> {
    let goal = drill.ladder.to();
    let tempo = goal.value() - Fraction::from_integer(i128::from(beats));
    let tempo = Bpm::new(tempo).map_err(|error| {
        Failure(format!(
            "{beats} beats under {goal}, the goal of `{}`: {error}",
            drill.title
        ))
    })?;
    Ok(arguments::AtRung {
        tempo: Some(tempo),
        tone: None,
    })
}

/// Where the command line asks to begin. A tone length alone asks for the stage that opens the
/// movement.
fn begin(drill: &Drill, stage: Option<usize>, at: arguments::AtRung) -> Result<Begin, Failure> {
    let opens = |stage: &Stage| matches!(stage.kind, StageKind::Opening { .. });
    let stage = match at.tone {
        Some(_) => stage.or_else(|| drill.stages.iter().position(opens)),
        None => stage,
    };
    let asked = at.tempo.is_some() || at.tone.is_some();
    let rung = match stage.filter(|_| asked) {
        Some(stage) => Some(at.rung(drill, stage)?),
        None if at.tone.is_some() => {
            return Err(Failure(format!(
                "`{}` has no stage that opens the movement: leave --tone out",
                drill.title
            )));
        }
        None => at.tempo.map(Rung::Tempo),
    };
    Ok(Begin {
        stage,
        rung,
        ..Begin::default()
    })
}

/// Runs the program without a command, which shows the list of drills.
pub(crate) fn choose() -> Ran {
    terminal::require()?;
    let arguments = ScreenArguments::default();
    let settings = arguments.settings()?;
    let (mut shell, options) = start(&arguments, &settings)?;
    let mut model = Model::new(options);
    let begun = Message::Begun {
        drills: shell.list(false),
        movements: Shell::movements(),
        last: shell.last_drill(),
    };
    shell.tell(&mut model, begun);
    screen(&arguments, &settings, shell, model)
}

/// The shell, with the player's choices from the settings.
pub(super) fn start(
    arguments: &ScreenArguments,
    settings: &Settings,
) -> Result<(Shell, Options), Failure> {
    let options = settings::options(settings);
    let mut shell = Shell::new(arguments.asked(settings), arguments.player(settings))?;
    if options.by_ear {
        let log = terminal::log_file();
        let quiet = Quiet::into_file(log.as_ref()).ok();
        let opened = shell.listen_to(
            settings.given(keys::MICROPHONE),
            low_a::begin(options.tuning, settings::gives_low_a(settings)),
            settings.number(keys::OFFSET) as i32,
        );
        drop(quiet);
        opened?;
    }
    Ok((shell, options))
}

/// Time between two readings of the microphone. A note should be on the screen within 80 ms of
/// sounding.
const EAR: Duration = Duration::from_millis(5);
/// Time between two drawings of a countdown.
const COUNTDOWN: Duration = Duration::from_millis(250);
/// Time between two checks for signals while nothing else happens.
const IDLE: Duration = Duration::from_millis(900);

pub(super) fn screen(
    arguments: &ScreenArguments,
    settings: &Settings,
    shell: Shell,
    mut model: Model,
) -> Ran {
    // A player who leaves before the device is open must not see the messages of the sound library.
    // So the shell, which waits for the device, is dropped before the redirection of those
    // messages.
    let log = terminal::log_file();
    let _quiet = Quiet::into_file(log.as_ref()).ok();
    let mut shell = shell;
    shell
        .day
        .get_or_insert_with(|| session::Asked::new(settings, None));
    let pedals = pedals::Pedals::of(settings);
    let manner = Manner::of(settings);
    let ran = event_loop::in_terminal(manner, |world| {
        let shown = match manner {
            Manner::Lines => Shown::Lines(Box::default()),
            Manner::Screen => {
                // without colours, bold and reverse video carry the meaning
                let theme = Theme::new(settings::colours(settings));
                Shown::Screen(Box::new(Canvas::new()?), theme)
            }
        };
        let rests = settings.switch(keys::CARE_REST);
        let mut paged = Practice {
            care: Care::after(rests.then(|| settings.number(keys::CARE_REST_AFTER) as u32)),
            page: model.page(),
            shell: &mut shell,
            model: &mut model,
            pedals: &pedals,
            arguments,
            chosen: settings,
            shown,
            drawn: Instant::now(),
        };
        paged.begins()?;
        event_loop::run(&mut paged, world)
    });
    let rescued = shell.rescue();
    ran?;
    rescued?;
    if model.left_session() && model.is_straight() {
        output::print("today's session goes on with `gracerung today --play`\n")?;
    }
    for file in model.reached() {
        let open = homework::still_asked(Path::new(file)).unwrap_or_default();
        output::print(&if open.is_empty() {
            format!("homework reached; send it: gracerung report {file} -o report.yaml\n")
        } else {
            format!(
                "homework reached in part; still asked: {}: gracerung practise {file}\n",
                wording::list(&open)
            )
        })?;
    }
    Ok(Outcome::Done)
}

/// The sentence for the start of the program: a wrong setting, a sharp rise of playing time in a
/// week, or the level of headphones.
fn opening_words(chosen: &Settings, shell: &Shell) -> Option<String> {
    if chosen.wrong() > 0 {
        let wrong = crate::wording::count(chosen.wrong(), "setting is", "settings are");
        return Some(format!(
            "{wrong} wrong: `gracerung settings` tells which and how to mend it"
        ));
    }
    let most = chosen.number(keys::CARE_RISE);
    if most > 0.0
        && let Some(rise) = shell.rise().filter(|rise| *rise > most)
    {
        return Some(format!(
            "{rise:.0} % more this week than in the four before: a sudden rise is what strains; build up slowly"
        ));
    }
    chosen.switch(keys::CARE_HEADPHONES).then(|| {
        "with headphones: as quiet as will do; you should still hear someone speak".to_owned()
    })
}

/// The note that the microphone hears now; none in silence.
fn note_heard(model: &Model) -> Option<crate::chanter::Note> {
    model.ear()?.note.map(|(note, _)| note)
}

/// The start page, practice and the session, on a screen or in lines.
enum Shown {
    Screen(Box<Canvas>, Theme),
    Lines(Box<Plain>),
}

/// The event loop of the start page, practice and the session, with all that it needs.
struct Practice<'a> {
    shell: &'a mut Shell,
    model: &'a mut Model,
    pedals: &'a pedals::Pedals,
    arguments: &'a ScreenArguments,
    chosen: &'a Settings,
    shown: Shown,
    care: Care,
    /// The page that was drawn last.
    page: Page,
    drawn: Instant,
}

impl Practice<'_> {
    /// Reads today's session and homework for the start page.
    fn tell_of_today(&mut self) {
        if let Some(today) = self.shell.today() {
            self.shell.tell(self.model, today);
        }
    }

    /// Draws the first screen, and then loads what takes longer.
    fn begins(&mut self) -> Result<(), Failure> {
        self.show(false)?;
        // The list needs the marks of every drill. A program started with one drill shows no list.
        if self.model.page() == Page::Choose {
            let drills = self.shell.list(true);
            self.shell.tell(self.model, Message::Listed(drills));
        }
        self.tell_of_today();
        // A notice that is shown already stays, such as one about a journal that cannot be written.
        if self.model.notice().is_none()
            && let Some(word) = opening_words(self.chosen, self.shell)
        {
            self.shell.tell(self.model, Message::Care(word));
        }
        // Tests see here what a panic leaves behind. It does not exist in a release build.
        #[cfg(debug_assertions)]
        assert!(
            std::env::var_os("PANIC_FOR_A_TEST").is_none(),
            "a panic was asked for"
        );
        Ok(())
    }

    /// Runs a part of a session that has a page of its own, in the terminal that the program uses
    /// already. Returns true where the player left the page before its end.
    fn run_aside(&self, aside: &Aside, world: &mut World<'_>) -> Result<bool, Failure> {
        let (arguments, chosen) = (self.arguments, self.chosen);
        match aside {
            Aside::WarmUp(minutes) => warmup::in_session(arguments, chosen, *minutes, world),
            Aside::Hear(open) => hear::in_session(arguments, chosen, open, world),
        }
    }
}

impl Paged for Practice<'_> {
    fn is_over(&self) -> bool {
        self.model.quit()
    }

    fn wait(&self) -> Duration {
        let moving = self.model.is_sounding() || self.shell.is_busy();
        if self.shell.is_listening() {
            EAR
        } else if moving {
            FRAME.saturating_sub(self.drawn.elapsed())
        } else if self.model.page() == Page::Session {
            COUNTDOWN
        } else {
            IDLE
        }
    }

    fn pressed(&mut self, key: KeyEvent) -> Result<Did, Failure> {
        let pressed = self.pedals.action(self.model, key);
        let Some(action) = pressed.or_else(|| action(self.model, key)) else {
            return Ok(Did::Nothing);
        };
        self.shell.tell(self.model, Message::Act(action));
        Ok(if std::mem::take(&mut self.shell.suspend) {
            Did::Rests
        } else {
            Did::Changed
        })
    }

    fn turn(&mut self, world: &mut World<'_>) -> Result<Did, Failure> {
        let (shell, model) = (&mut *self.shell, &mut *self.model);
        let mut changed = false;
        if model.is_sounding() || shell.is_busy() {
            let before = note_heard(model);
            shell.listen(model);
            changed |= note_heard(model) != before;
            if model.is_moving()
                && let Some(word) = self.care.playing(shell.now().heard_ms)
            {
                shell.tell(model, Message::Care(word));
            }
            changed |= self.drawn.elapsed() >= FRAME;
        }
        if model.page() == Page::Session && self.drawn.elapsed() >= COUNTDOWN {
            shell.tell(model, Message::Tick);
            changed = true;
        }
        if let Some(aside) = shell.aside.take() {
            let ran = self.run_aside(&aside, world);
            self.shell.woke();
            let over = match ran {
                Ok(left) => Message::AsideOver {
                    left,
                    trouble: None,
                },
                Err(failure) => Message::AsideOver {
                    left: false,
                    trouble: Some(failure.0),
                },
            };
            self.shell.tell(self.model, over);
            return Ok(Did::Fresh);
        }
        if self.page != model.page() {
            self.page = model.page();
            if self.page == Page::Choose && !model.quit() {
                self.tell_of_today();
                changed = true;
            }
        }
        Ok(if changed { Did::Changed } else { Did::Nothing })
    }

    fn terminate(&mut self) {
        self.shell.tell(self.model, Message::Terminate);
    }

    fn woke(&mut self) {
        self.shell.woke();
    }

    fn show(&mut self, fresh: bool) -> Result<(), Failure> {
        self.drawn = Instant::now();
        match &mut self.shown {
            Shown::Screen(canvas, theme) => {
                let (model, theme) = (&*self.model, *theme);
                let mut first = 0;
                canvas.draw(fresh, |frame| first = view(model, theme, frame))?;
                if first != self.model.over_scroll() {
                    self.shell.tell(self.model, Message::ReadFrom(first));
                }
            }
            Shown::Lines(plain) => {
                for line in plain.lines(self.model) {
                    output::print(&format!("{line}\r\n"))?;
                }
            }
        }
        Ok(())
    }
}
