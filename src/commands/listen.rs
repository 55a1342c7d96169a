//! `listen`: finds what was played in a recording, and compares it with a drill.

use super::{Outcome, Ran, arguments, sheet::format_of};
use crate::app::score_of;
use crate::chanter::{Note, Tuning, TuningTable};
use crate::listening::{
    ExpectedStage, HeardKind, Hearing, Repetition, align, hear, hear_piece, listen_document,
};
use crate::practice::{Mark, Rung, Thresholds, ToneShape, UNSURE, Verdict, judge};
use crate::screen::{longest, two_bars};
use crate::services::{Failure, files::recording, needs, open::open, output, settings, stages};
use crate::sheet::{FaultMark, PairsPlayed, Paper, Round, Take, TimedNote, draw_take};
use crate::timeline::{Layout, lay};
use crate::units::{Bpm, Hertz, SampleRate, Seconds};
use crate::wording;
use std::path::{Path, PathBuf};

/// The largest deviation of the played tempo from the wanted tempo that is not reported, as a
/// share. It is more than two clocks differ (crystals: 100 parts in a million) and less than is
/// felt as another tempo (1.5 %, Drake & Botte 1993).
const OTHER_TEMPO: f64 = 0.004;

/// Arguments of `listen`.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  gracerung listen take.flac\n  \
    gracerung listen take.wav --drill grip-from-d --stage 2 --tempo 60 --picture take.png\n\n\
    JSON: {\"la_hz\":…,\"seconds\":…,\"notes\":[{\"note\":\"LG\",\"start_s\":…,\"end_s\":…,\n\
    \"kind\":\"melody|gracenote|crossing\",\"confidence\":…,\"cents\":…,\"level_db\":…}],\n\
    \"noises\":[{\"start_s\":…,\"end_s\":…}],\"remarks\":[…]}; noises are too short to be named, in text `?`; with a drill each\n\
    note has score (id, repetition, written, offset_ms, longer_ms; null for a note nothing\n\
    explains), and there are repetitions (mark, null where there was too much around it to judge,\n\
    confidence 0 to 1, every figure measured, and shape: id, name, length_ms, model_ms, faulty of each\n\
    tone inside a movement; pointing where the tune says how: pairs, ratio, spread, least, most, each)\n\
    and faults (repetition, kind, id, measured,\n\
    limit, words).\n\n\
    Exit code 1: nothing was heard, or a repetition was not clean.")]
pub(crate) struct Arguments {
    /// A recording: wav, flac, mp3, ogg or m4a.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// The pitch of low A in hertz; found in the recording when left out.
    #[arg(long, value_name = "HZ", value_parser = arguments::low_a)]
    la: Option<Hertz>,
    /// The drill that was played: a built-in drill's name, or a path.
    #[arg(long)]
    drill: Option<String>,
    /// Its stage, by number from 1 or by name.
    #[arg(long, default_value = "1", requires = "drill")]
    stage: String,
    #[command(flatten)]
    at: arguments::AtRung,
    /// Draw what was heard, over what was expected, faults ringed: FILE.svg, FILE.png or FILE.pdf.
    #[arg(long, value_name = "FILE")]
    picture: Option<PathBuf>,
    /// Replace a picture that exists.
    #[arg(long)]
    force: bool,
    /// Print as JSON.
    #[arg(long)]
    json: bool,
}

/// Runs `listen`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    let format = match &arguments.picture {
        Some(target) => {
            let format = format_of(target)?;
            output::ready_to_write(target, arguments.force)?;
            Some((target, format))
        }
        None => None,
    };
    let asked = arguments
        .drill
        .as_deref()
        .map(|drill| asked(drill, &arguments.stage, arguments.at))
        .transpose()?;
    let piece = asked.as_ref().map(|asked| &asked.piece);
    let hearing = heard(&arguments.file, arguments.la, piece)?;
    let mut beside = Vec::new();
    let tuning = hearing.low_a.map_or_else(Tuning::default, |low_a| {
        Tuning::with_low_a(low_a, TuningTable::default())
    });
    let limits = settings::thresholds(&settings::load(&[], &[needs::JUDGING])?, tuning.instrument);
    let found = asked.as_ref().map(|asked| {
        let limits = limits.on(asked.rung, &asked.ladder);
        compare(&asked.piece, &hearing, &limits, &mut beside)
    });
    let compared = piece.zip(found.as_deref());
    let mut document = listen_document(&hearing, compared);
    if found.as_ref().is_some_and(Vec::is_empty) && !hearing.notes.is_empty() {
        document.remarks.push(
            "the notes heard are not this stage at this tempo: is it another drill, stage or tempo?"
                .to_owned(),
        );
    }
    document.remarks.append(&mut beside);
    if let Some((target, format)) = format {
        let name = arguments.file.file_name().unwrap_or_default();
        let file = name.to_string_lossy().into_owned();
        let mut take = match &asked {
            Some(asked) => drawn(asked.title.clone(), &hearing, compared),
            None => drawn(file.clone(), &hearing, None),
        };
        take.source = (take.title != file).then_some(file);
        let bytes = format.write(&draw_take(&take, Paper::A4))?;
        output::write_bytes(target, arguments.force, &bytes)?;
        if !arguments.json {
            output::wrote(target, "the take over what is written")?;
        }
    }
    if arguments.json {
        output::print_json(&document)?;
    } else {
        let mut text = match &found {
            Some(found) => report(found),
            None => table(&hearing),
        };
        for remark in &document.remarks {
            text.push_str(remark);
            text.push('\n');
        }
        output::print(&text)?;
    }
    let clean = found.is_none_or(|found| {
        !found.is_empty()
            && found
                .iter()
                .all(|(_, verdict)| verdict.mark == Some(Mark::Clean))
    });
    Ok(if hearing.notes.is_empty() || !clean {
        Outcome::Findings
    } else {
        Outcome::Done
    })
}

/// A stage of a drill at a tempo.
struct Asked {
    /// The drill with its stage and tempo, which is the title of a picture.
    title: String,
    piece: ExpectedStage,
    rung: Rung,
    ladder: [Bpm; 2],
}

fn asked(drill: &str, stage: &str, at: arguments::AtRung) -> Result<Asked, Failure> {
    let opened = open(drill)?;
    let (stage, _) = stages::stage(&opened.drill, stage)?;
    let score = score_of(&opened.drill, stage);
    let ladder = &opened.drill.ladder;
    let rung = at.rung(&opened.drill, stage)?;
    let layout = Layout {
        lengths: rung.lengths(opened.drill.lengths),
        ..Layout::at(rung.tempo(), SampleRate::USUAL)
    };
    let title = if opened.drill.stages.len() > 1 {
        let stage = &opened.drill.stages[stage].name;
        format!("{}, {stage} at {}", opened.drill.title, rung.spoken())
    } else {
        format!("{} at {}", opened.drill.title, rung.spoken())
    };
    Ok(Asked {
        title,
        piece: ExpectedStage::of(&score, &lay(&score, &layout)),
        rung,
        ladder: [ladder.from(), ladder.to()],
    })
}

fn heard(
    path: &Path,
    la: Option<Hertz>,
    piece: Option<&ExpectedStage>,
) -> Result<Hearing, Failure> {
    let mut recording = recording(path)?;
    let rate = recording.rate();
    let table = TuningTable::default();
    let next = || recording.read(65_536);
    match piece {
        Some(piece) => hear_piece(rate, la, table, piece, next),
        None => hear(rate, la, table, next),
    }
    .map_err(|error| Failure(format!("`{}`: {error}", path.display())))
}

/// Compares the recording with the stage: the repetitions and their verdicts. Remarks about them
/// are added to `beside`.
fn compare(
    piece: &ExpectedStage,
    hearing: &Hearing,
    limits: &Thresholds,
    beside: &mut Vec<String>,
) -> Vec<(Repetition, Verdict)> {
    let alignment = align(piece, &hearing.notes);
    let tempo = 60.0 / piece.beat.0;
    if (alignment.pace - 1.0).abs() > OTHER_TEMPO {
        beside.push(format!(
            "it was played at {:.1} beats a minute, not {tempo:.1}: each note is measured by that",
            tempo / alignment.pace
        ));
    }
    if alignment.cut_short > 0 {
        beside.push(format!(
            "{} cut short and not judged",
            wording::count(alignment.cut_short, "repetition was", "repetitions were")
        ));
    }
    alignment
        .repetitions
        .into_iter()
        .map(|repetition| {
            let verdict = judge(&repetition.measured, limits);
            (repetition, verdict)
        })
        .collect()
}

/// The content of the picture of a recording.
fn drawn(
    title: String,
    hearing: &Hearing,
    compared: Option<(&ExpectedStage, &[(Repetition, Verdict)])>,
) -> Take {
    let mut take = Take {
        title,
        heard: hearing
            .notes
            .iter()
            .map(|note| TimedNote {
                note: note.note,
                start: Seconds(note.start_s),
                end: Seconds(note.end_s),
            })
            .collect(),
        ..Take::default()
    };
    let Some((piece, found)) = compared else {
        return take;
    };
    take.beat = Some(piece.beat);
    for (number, (repetition, verdict)) in found.iter().enumerate() {
        take.rounds.push(Round {
            start: repetition.start,
            length: piece.length,
            words: format!("repetition {}: {}", number + 1, marked(verdict)),
        });
        take.expected
            .extend(piece.notes.iter().map(|note| TimedNote {
                note: note.note,
                start: repetition.start + Seconds(note.start_s),
                end: repetition.start + Seconds(note.start_s) + Seconds(note.length_s),
            }));
        take.pointing
            .extend(verdict.pointing.iter().map(|heard| PairsPlayed {
                words: format!("Repetition {}: {}", number + 1, heard.spoken()),
                heard: heard.clone(),
            }));
        for fault in &verdict.faults {
            let place = fault.id.map(|id| id as usize);
            let heard = place
                .and_then(|at| repetition.pairs.get(at).copied().flatten())
                .and_then(|at| hearing.notes.get(at));
            let written = place.and_then(|at| piece.notes.get(at));
            let (note, at) = match (heard, written) {
                (Some(note), _) => (note.note, Seconds(note.start_s)),
                (None, Some(note)) => (note.note, repetition.start + Seconds(note.start_s)),
                // a fault of the whole repetition, such as its tempo
                (None, None) => (Note::HighA, repetition.start),
            };
            let tone = verdict
                .worst_shape()
                .iter()
                .find(|tone| tone.faulty && Some(tone.id) == fault.id);
            take.faults.push(FaultMark {
                note,
                at,
                words: fault.words.clone(),
                lengths: tone.map(|tone| (tone.length_ms, tone.model_ms)),
            });
        }
    }
    take
}

fn marked(verdict: &Verdict) -> &'static str {
    match verdict.mark {
        Some(Mark::Clean) => "clean",
        Some(Mark::NotClean) => "not clean yet",
        None => UNSURE,
    }
}

fn report(found: &[(Repetition, Verdict)]) -> String {
    use std::fmt::Write as _;
    let mut text = String::new();
    let mut bars = false;
    for (number, (repetition, verdict)) in found.iter().enumerate() {
        let _ = writeln!(
            text,
            "repetition {}, from {:.2} s: {}",
            number + 1,
            repetition.start,
            marked(verdict),
        );
        for fault in verdict.work_on() {
            let _ = writeln!(text, "  {}", fault.words);
        }
        for heard in &verdict.pointing {
            let _ = writeln!(text, "  {}", heard.spoken());
        }
        if verdict.mark != Some(Mark::Clean) {
            bars |= !verdict.shape.is_empty();
            shape(verdict, &mut text);
        }
    }
    if !found.is_empty() {
        let clean = found
            .iter()
            .filter(|(_, verdict)| verdict.mark == Some(Mark::Clean))
            .count();
        let _ = writeln!(
            text,
            "{clean} of {} clean",
            wording::count(found.len(), "repetition", "repetitions"),
        );
    }
    if bars {
        text.push_str("bars: above what was played, below what is written\n");
    }
    text
}

/// Draws the two worst tones, each with its model: two bars in one row.
fn shape(verdict: &Verdict, text: &mut String) {
    use std::fmt::Write as _;
    const COLUMNS: usize = 24;
    let tones = verdict.worst_shape();
    let name = |tone: &ToneShape| format!("{}{}", tone.name, tone.bar);
    let widest = tones.iter().map(|tone| name(tone).chars().count()).max();
    let (width, longest) = (widest.unwrap_or(0), longest(tones));
    for tone in tones {
        let bars = two_bars(tone.length_ms, tone.model_ms, longest, COLUMNS);
        let _ = writeln!(
            text,
            "    {:width$}  {bars:COLUMNS$}  {}",
            name(tone),
            tone.figures()
        );
    }
}

fn table(hearing: &Hearing) -> String {
    use std::fmt::Write as _;
    let mut text = String::new();
    if hearing.notes.is_empty() {
        return text;
    }
    let low_a = hearing.low_a.map_or(0.0, |hertz| hertz.0);
    let named = hearing.notes.iter().filter(|note| note.named).count();
    let _ = writeln!(
        text,
        "low A {low_a:.1} Hz, {} in {:.1} s",
        wording::count(named, "note", "notes"),
        hearing.length,
    );
    text.push_str("     start    length  note  what       cents\n");
    for note in &hearing.notes {
        let (name, kind) = match note.kind() {
            _ if !note.named => ("?", "too short to name"),
            HeardKind::Melody => (note.note.name(), "melody"),
            HeardKind::Gracenote => (note.note.name(), "gracenote"),
            HeardKind::Crossing => (note.note.name(), "crossing"),
        };
        let line = format!(
            "{:>8.3} s {:>6.0} ms  {name:<4}  {kind:<9}  {}",
            note.start_s,
            note.length().milliseconds(),
            note.cents
                .map_or_else(String::new, |cents| format!("{:>+5.0}", cents.0)),
        );
        let _ = writeln!(text, "{}", line.trim_end());
    }
    text
}
