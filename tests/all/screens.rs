//! Every page at five sizes, one below the other and without colour, and as the lines for a screen
//! reader. Each has a file in `tests/all/screens/` for people to read, which shows every change of
//! a page. `INSTA_UPDATE=always cargo test --test all screens` rewrites the files.

mod stage;

use gracerung::app::{
    Action, Blowing, Button, Came, Discriminating, FirstStart, HomeworkGoal, Listed, Message,
    Model, OpenedDrill, Opens, Options, Outcome, SessionPlan, WarmMusic, Warming, scores, update,
};
use gracerung::chanter::Note;
use gracerung::discrimination::spots;
use gracerung::drill::{Drill, built_in, read};

use gracerung::planning::{Item, SessionPart, WarmUpAsked, Why, warm_up};
use gracerung::practice::{Hand, Mark, Moment, Rung};
use gracerung::screen::{
    HELP_HEAR, HELP_WARM, Plain, Theme, view, view_blowing, view_discriminating, view_first,
    view_keys, view_warming,
};
use gracerung::sound::RendererReport;
use gracerung::timeline::{Layout, lay};
use gracerung::units::{Beats, Bpm, Cents, Frames, FullScale, Hertz, SampleRate, Seconds};
use ratatui::backend::TestBackend;
use ratatui::{Frame, Terminal};
use stage::{Stage, drill, heard, playing};
use std::fmt::Write as _;
use std::sync::Arc;

const SIZES: [(u16, u16); 5] = [(40, 10), (60, 20), (80, 24), (120, 40), (200, 60)];

/// Noon of a day, in microseconds since 1970.
const NOON: i64 = 20_000 * 86_400_000_000 + 43_200_000_000;

/// A page at all sizes.
fn drawn(name: &str, draw: impl Fn(Theme, &mut Frame)) -> String {
    let mut all = String::new();
    for (width, height) in SIZES {
        let mut terminal = Terminal::new(TestBackend::new(width, height)).expect("a screen");
        terminal
            .draw(|frame| draw(Theme::new(false), frame))
            .expect("drawn");
        let buffer = terminal.backend().buffer();
        let _ = writeln!(all, "{width}×{height}");
        for y in 0..height {
            let row: String = (0..width).map(|x| buffer[(x, y)].symbol()).collect();
            // from 80 columns on nothing is cut, except what a key shows in full
            let whole = width < 80 || !row.contains('…') || row.contains("(e)");
            assert!(whole, "{name} at {width}×{height}: {row}");
            all.push_str(format!("|{row}").trim_end());
            all.push('\n');
        }
    }
    all
}

/// A page at all sizes, followed by the lines for a screen reader.
fn pictures(name: &str, draw: impl Fn(Theme, &mut Frame), said: &[String]) {
    let mut all = drawn(name, draw);
    if !said.is_empty() {
        all.push_str("as lines\n");
        for line in said {
            let _ = writeln!(all, "{line}");
        }
    }
    let mut settings = insta::Settings::clone_current();
    settings.set_snapshot_path("screens");
    settings.set_prepend_module_to_snapshot(false);
    settings.set_omit_expression(true);
    settings.bind(|| insta::assert_snapshot!(name, all));
}

fn of_model(name: &str, model: &Model) {
    let said = Plain::default().lines(model);
    let draw = |theme, frame: &mut Frame| {
        view(model, theme, frame);
    };
    pictures(name, draw, &said);
}

#[test]
fn the_start() {
    let mut here = Stage::new(Options::default());
    let listed = |name: &str, progress: &str, share: Option<(usize, usize)>| Listed {
        about: drill(name).about.unwrap_or_default(),
        extent: "4 stages, 50 to 80".to_owned(),
        progress: progress.to_owned(),
        last: share.map_or_else(String::new, |_| "last played yesterday".to_owned()),
        share,
        preview: vec![
            "half beats at 52".to_owned(),
            "{ HG } D 1 LG ½ { B } LG ½ LA 2".to_owned(),
        ],
        board: vec![
            ("54".to_owned(), "○···".to_owned()),
            ("52".to_owned(), "■2··".to_owned()),
            ("50".to_owned(), "■■○·".to_owned()),
        ],
        ..Listed::new(Opens::Drill, name, &drill(name).title)
    };
    let broken = Listed {
        problems: vec!["stage 1, bar 2 lasts 3½ beats but the metre is 4/4".to_owned()],
        ..Listed::new(Opens::Drill, "my-reel", "My reel")
    };
    here.tell(Message::Begun {
        drills: vec![
            listed("grip-from-d", "5 of 52 cells clear, 1 held", Some((5, 52))),
            listed("taorluath-from-low-g", "", None),
            listed("doubling-on-e", "all clear, 3 held", Some((60, 60))),
            listed("lamp-on-the-slipway", "2 of 20 cells clear", Some((2, 20))),
            broken,
        ],
        movements: vec![Listed {
            also: "leumluath".to_owned(),
            extent: "a movement: enter makes its drill".to_owned(),
            ..Listed::new(Opens::Movement, "grip", "Grip")
        }],
        last: None,
    });
    let session = SessionPlan {
        parts: vec![
            SessionPart::WarmUp(3),
            cell(
                2,
                "half beats",
                Why::Cold,
                "cleared yesterday, not held yet; try it cold: once, first thing, without reference",
            ),
            cell(
                2,
                "half beats",
                Why::Climbing,
                "clean 2 of the last 5 times, yesterday; not cleared yet",
            ),
        ],
        at: 0,
        outcomes: Vec::new(),
        minutes: 15,
        used_ms: 0,
        ..SessionPlan::default()
    };
    let homework = Listed {
        extent: "due in 3 days".to_owned(),
        preview: vec![
            "Grip, half beats at 50: homework, due in 3 days; to reach real time at 60".to_owned(),
        ],
        ..Listed::new(Opens::Homework, "week3.yaml", "Homework: Grip")
    };
    here.tell(Message::Today(session, vec![homework]));
    of_model("start", &here.model);
    here.acts(Action::Move(-1));
    of_model("start-drill", &here.model);
    here.acts(Action::MoveToEnd { last: true });
    of_model("start-broken-drill", &here.model);
    for letter in "leum".chars() {
        here.acts(Action::Search(letter));
    }
    of_model("start-letters", &here.model);
}

#[test]
fn the_first_questions() {
    let mut first = FirstStart::default();
    pictures(
        "first-question",
        |theme, frame| view_first(&first, theme, frame),
        &[],
    );
    first.take();
    first.take();
    pictures(
        "first-question-marking",
        |theme, frame| view_first(&first, theme, frame),
        &[],
    );
}

#[test]
fn practice() {
    let mut here = Stage::opened("grip-from-d", 1, Options::default());
    of_model("practice-still", &here.model);
    here.acts(Action::PlayOrPause);
    here.at(true, 2.0);
    of_model("practice-count-in", &here.model);
    here.at(false, 1.25);
    of_model("practice-playing", &here.model);
    here.plays();
    here.at(false, 9.0);
    of_model("practice-breath", &here.model);
    here.acts(Action::Mark(Mark::Clean, Hand::Pedal));
    of_model("practice-clean", &here.model);
    here.acts(Action::PlayOrPause);
    of_model("practice-paused", &here.model);
    here.acts(Action::Explain);
    of_model("practice-explained", &here.model);
}

#[test]
fn practice_stops_and_offers() {
    let mut here = playing();
    for _ in 0..3 {
        here.marks(Mark::NotClean);
    }
    here.tell(Message::Heard(RendererReport::Bar {
        serial: here.model.sent(),
        cycle: here.cycle,
        bar: 1,
        frame: Frames(0),
    }));
    of_model("practice-offers", &here.model);
    // a second repetition that is not clean takes the step back, and the last line says so
    here.acts(Action::PlayOrPause);
    here.at(true, 1.0);
    of_model("practice-again", &here.model);
}

/// The board of a drill with many stages leaves only a few columns for the figures.
#[test]
fn nothing_is_cut_beside_a_wide_board() {
    for name in ["grip", "birl", "doubling-on-e"] {
        let stages = drill(name).stages.len();
        for stage in 1..=stages {
            let mut here = Stage::opened(name, stage, Options::default());
            let uncut = |here: &Stage, what: &str| {
                let draw = |theme, frame: &mut Frame| {
                    view(&here.model, theme, frame);
                };
                drawn(&format!("{name}, stage {stage}, {what}"), draw);
            };
            uncut(&here, "still");
            here.acts(Action::PlayOrPause);
            here.at(true, 1.0);
            uncut(&here, "count-in");
            for _ in 0..3 {
                here.marks(Mark::NotClean);
            }
            uncut(&here, "three not clean");
            here.tell(Message::Heard(RendererReport::Bar {
                serial: here.model.sent(),
                cycle: here.cycle,
                bar: 1,
                frame: Frames(0),
            }));
            uncut(&here, "stopped");
            here.acts(Action::PlayOrPause);
            here.at(true, 1.0);
            uncut(&here, "again");
        }
    }
}

#[test]
fn practice_by_ear_with_homework() {
    let mut here = Stage::new(Options {
        by_ear: true,
        drones: true,
        ..Options::default()
    });
    let rung = Rung::Tempo(Bpm::whole(60).expect("a tempo"));
    let goal = HomeworkGoal {
        stage: 2,
        rung,
        file: "week3.yaml".to_owned(),
        until: None,
    };
    here.opens("grip-from-d", 1, Some(goal));
    here.acts(Action::PlayOrPause);
    here.at(false, 0.5);
    here.tell(Message::Ear(Some(heard(4.0))));
    of_model("practice-by-ear", &here.model);
}

#[test]
fn the_stand_view() {
    let mut here = playing();
    here.acts(Action::Stand);
    here.at(false, 2.0);
    of_model("stand", &here.model);
    here.acts(Action::PlayOrPause);
    of_model("stand-paused", &here.model);
}

#[test]
fn help_and_reading() {
    let mut here = playing();
    here.acts(Action::Help);
    of_model("help", &here.model);
    here.acts(Action::Leave);
    here.acts(Action::ReadMovement);
    of_model("reading", &here.model);
    pictures(
        "help-warm-up",
        |theme, frame| view_keys(&HELP_WARM, theme, frame),
        &[],
    );
    pictures(
        "help-hear",
        |theme, frame| view_keys(&HELP_HEAR, theme, frame),
        &[],
    );
}

fn cell(stage: usize, name: &str, kind: Why, why: &str) -> SessionPart {
    SessionPart::Cell(Box::new(Item {
        open: "grip-from-d".to_owned(),
        task: None,
        title: "Grip from D".to_owned(),
        stage: name.to_owned(),
        stage_number: stage,
        rung: Rung::Tempo(Bpm::whole(52).expect("a tempo")),
        minutes: 6,
        kind,
        why: format!("Grip from D, {name} at 52: {why}"),
    }))
}

#[test]
fn a_session() {
    let mut here = Stage::new(Options::default());
    let came = |part: &str, came| Outcome {
        part: part.to_owned(),
        came,
        beyond: None,
    };
    let again = || "comes again in 4 days, on 2024-10-08".to_owned();
    let plan = SessionPlan {
        parts: vec![
            SessionPart::WarmUp(3),
            cell(1, "full beats", Why::Again, "clean 2 days ago, due again"),
            cell(
                2,
                "half beats",
                Why::Climbing,
                "clean 2 of the last 5 times, yesterday; not cleared yet",
            ),
            SessionPart::Hear {
                open: "throw-on-d".to_owned(),
                title: "Throw on D".to_owned(),
            },
        ],
        at: 2,
        outcomes: vec![
            came("warm up the hands", Came::Done),
            came("Grip from D, full beats at 52", Came::StillClean(again())),
        ],
        minutes: 15,
        used_ms: 240_000,
        ..SessionPlan::default()
    };
    here.tell(Message::Session(plan.clone()));
    of_model("session-between", &here.model);
    here.now_ms += 1000;
    here.acts(Action::BeginPart);
    here.opens("grip-from-d", 1, None);
    here.at(true, 1.0);
    of_model("session-practice", &here.model);
    let over = SessionPlan {
        at: 4,
        outcomes: vec![
            came("warm up the hands", Came::Done),
            came("Taorluath, real time at 60", Came::Held(again())),
            came("Grip from D, full beats at 52", Came::StillClean(again())),
            came(
                "Grip from D, half beats at 52",
                Came::Climbed(vec![
                    "half beats at 54".to_owned(),
                    "half beats at 56".to_owned(),
                ]),
            ),
            came(
                "Throw on D, full beats at 50",
                Came::Worked { clean: 3, of: 7 },
            ),
            came(
                "Birl, real time at 60",
                Came::Reached("week3.yaml".to_owned()),
            ),
        ],
        ..plan
    };
    let mut here = Stage::new(Options::default());
    here.tell(Message::Session(over));
    of_model("session-over", &here.model);
}

#[test]
fn a_warm_up() {
    let asked = WarmUpAsked {
        minutes: 5,
        tone: 8,
        band: None,
    };
    let day = gracerung::planning::date_of(20_000);
    let steps = warm_up(&gracerung::planning::Digest::default(), &[], day, &asked);
    let music = steps
        .iter()
        .map(|step| {
            let drill = read(step.document().as_bytes()).0.expect("it reads");
            let score = scores(&drill).remove(0);
            let timeline = Arc::new(lay(&score, &Layout::at(step.tempo, SampleRate::USUAL)));
            WarmMusic {
                music: drill.stages[0].music.clone(),
                score,
                timeline,
            }
        })
        .collect();
    let mut warming = Warming::new(steps, music);
    let draw = |warming: &Warming, name: &str, trouble: Option<&str>| {
        pictures(
            name,
            |theme, frame| view_warming(warming, trouble, false, theme, frame),
            &[],
        );
    };
    let _ = warming.pass(Seconds(4.0));
    draw(&warming, "warm-up", None);
    warming.pause_or_go_on();
    draw(
        &warming,
        "warm-up-paused",
        Some("no sound: the device is gone; it runs on silently"),
    );
    while !warming.is_over() {
        warming.skip();
    }
    draw(&warming, "warm-up-over", None);
}

#[test]
fn hearing() {
    let drill = drill("grip-from-d");
    let stage = drill.stages.iter().find(|stage| stage.name == "real time");
    let music = &stage.expect("a stage").music;
    let score = gracerung::score::resolve_music(music, Beats::ZERO, &drill.schools);
    let tempo = Bpm::whole(80).expect("a tempo");
    let timeline = lay(&score, &Layout::at(tempo, SampleRate::USUAL));
    let movement = drill.movement.as_ref().map(|line| line.movement);
    let spot = spots(&score, &timeline, movement).remove(0);
    let title = "Grip from D · real time at 80".to_owned();
    let piece = (Seconds(1.5), Seconds(0.75));
    let mut page = Discriminating::new(title, spot, Seconds(30.0), piece, 1);
    let draw = |page: &Discriminating, name: &str| {
        pictures(
            name,
            |theme, frame| view_discriminating(page, theme, frame),
            &page.says(),
        );
    };
    draw(&page, "hear-ready");
    let _ = page.examples();
    draw(&page, "hear-example");
    let _ = page.press(Button::Right);
    draw(&page, "hear-question");
    for _ in 0..2000 {
        let _ = page.press(Button::Right);
        let _ = page.pass(Seconds(0.25));
        if page.trials().len() == 6 {
            break;
        }
    }
    draw(&page, "hear-answered");
    for _ in 0..2000 {
        if page.buttons() == ("leave", "once more") {
            break;
        }
        let _ = page.press(Button::Right);
        let _ = page.pass(Seconds(0.25));
    }
    draw(&page, "hear-over");
}

#[test]
fn blowing() {
    let mut blowing = Blowing::new("USB microphone".to_owned(), Hertz(236.0));
    for step in 0..60 {
        blowing.hear(
            Seconds(f64::from(step) * 0.21),
            Some(heard(12.0 - f64::from(step) * 0.3)),
        );
    }
    pictures(
        "blow",
        |theme, frame| view_blowing(&blowing, theme, frame),
        &[],
    );
}
