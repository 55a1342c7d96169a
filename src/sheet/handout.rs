//! A drill as one page for a phone or tablet: the music as SVG, played by the browser's own sound,
//! ticks that stay on the device, a view for print.
//!
//! The page asks for nothing: its policy forbids every request. Each stage carries its timeline at
//! every rung, so that the browser plays exactly what the program plays.

use super::compose::{in_words, sentence, where_the_time_comes_from};
use super::drawing::shape_ink;
use super::foot::rungs;
use super::svg::{Shapes, escape, number, write_ink};
use crate::chanter::{NOTES, Tuning};
use crate::drill::{Drill, SLOW};
use crate::engraving::{Engraved, Kind, Settings, System, lay_out};
use crate::practice::Rung;
use crate::practice::ladder::climbs;
use crate::rhythm::ClickWeight;
use crate::score::{NoteId, Score, resolve_music};
use crate::timeline::{Event, EventKind, Layout, lay};
use crate::units::{Beats, Fraction, SampleRate, spell_fraction};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

/// The largest page that is handed out, bytes.
pub const LARGEST_HANDOUT: usize = 400_000;

/// Width of a system in staff spaces: two bars of a drill stay readable on a phone held upright.
const WIDTH: f64 = 72.0;

/// Strengths of the reed's partials from the fundamental up: a cylindrical bore favours the odd
/// ones. Chosen by ear after the practice chanter's voice.
const PARTIALS: [f32; 12] = [
    1.0, 0.16, 0.72, 0.12, 0.46, 0.1, 0.3, 0.07, 0.18, 0.05, 0.1, 0.03,
];

/// (tenths of a millisecond from the start, what, head). What: 0 to 8 a note, 10 a beat's click,
/// 11 a bar's, 12 a part's, 20 silence.
type Moment = (u32, u8, Option<usize>);

#[derive(Serialize)]
#[serde(rename_all = "camelCase")]
struct Laid {
    lead: Vec<Moment>,
    first: Vec<Moment>,
    /// Left out where it is as the first.
    #[serde(skip_serializing_if = "Option::is_none")]
    again: Option<Vec<Moment>>,
    lead_length: u32,
    cycle: u32,
}

#[derive(Serialize)]
struct StageData {
    name: String,
    /// (system, x in the system's own unit) of each note and gracenote.
    heads: Vec<(usize, f64)>,
    /// The page's rungs that are its own, lowest first.
    rows: Vec<usize>,
    /// How each of them sounds.
    laid: Vec<Laid>,
}

#[derive(Serialize)]
struct Data {
    key: String,
    /// Every rung of the drill in a word, and in full.
    rungs: Vec<String>,
    words: Vec<String>,
    clean: u32,
    hertz: Vec<f64>,
    partials: Vec<f32>,
    stages: Vec<StageData>,
}

/// Writes the page, to be played at a pitch. It may be larger than [`LARGEST_HANDOUT`]; the caller decides.
pub fn handout(drill: &Drill, tuning: Tuning) -> String {
    let climbs = climbs(drill);
    let rows = rungs(&climbs);
    let breath = drill.metre.bar() * Fraction::from_integer(i128::from(drill.breath));
    let mut shapes = Shapes::default();
    let mut sections = String::new();
    let mut stages = Vec::new();
    let mut scores = Vec::new();
    let mut key = String::new();
    for (place, (stage, own)) in drill.stages.iter().zip(&climbs).enumerate() {
        let score = resolve_music(&stage.music, breath, &drill.schools);
        key.push_str(&score.written_text());
        let engraved = lay_out(&score, Some(&stage.music), &Settings::paper(WIDTH));
        let heads = heads_of(&engraved);
        let index: BTreeMap<NoteId, usize> = heads
            .iter()
            .enumerate()
            .map(|(index, (id, _, _))| (*id, index))
            .collect();
        let _ = writeln!(
            sections,
            "<section aria-labelledby=\"h{place}\"><h2 id=\"h{place}\">{} {}</h2>",
            place + 1,
            escape(&stage.name)
        );
        if stage.is_slow() {
            let _ = writeln!(sections, "<p><em>{}</em></p>", escape(&sentence(SLOW)));
        }
        if let Some(listen) = &stage.listen_for {
            let _ = writeln!(sections, "<p><em>Listen for {}</em></p>", escape(listen));
        }
        let _ = writeln!(
            sections,
            "<button type=\"button\" data-stage=\"{place}\" aria-pressed=\"false\" aria-describedby=\"h{place}\">Play</button>"
        );
        for (number, system) in engraved.systems.iter().enumerate() {
            let words = if number == 0 {
                in_words(&score)
            } else {
                format!("{}, line {}", stage.name, number + 1)
            };
            draw_system(
                &mut sections,
                &mut shapes,
                system,
                (place, number),
                &index,
                &words,
            );
        }
        sections.push_str("</section>\n");
        stages.push(StageData {
            name: stage.name.clone(),
            heads: heads
                .iter()
                .map(|(_, system, x)| (*system, (x * 100.0).round() / 100.0))
                .collect(),
            rows: own
                .iter()
                .filter_map(|rung| rows.iter().position(|row| row == rung))
                .collect(),
            laid: own
                .iter()
                .map(|rung| laid(&score, drill, *rung, &index))
                .collect(),
        });
        scores.push(score);
    }
    let data = Data {
        key: crate::practice::StagePrint::of(&key).to_string(),
        rungs: rows.iter().map(|rung| rung.spoken()).collect(),
        words: rows.iter().map(|rung| in_full(*rung)).collect(),
        clean: drill.clean,
        hertz: NOTES
            .iter()
            .map(|note| (tuning.hertz(*note).0 * 1000.0).round() / 1000.0)
            .collect(),
        partials: PARTIALS.to_vec(),
        stages,
    };
    // Numbers, and names from the drill: `<` is written so that no name ends the script.
    let data = serde_json::to_string(&data)
        .unwrap_or_else(|_| "null".to_owned())
        .replace('<', "\\u003c");
    include_str!("handout.html")
        .replace("{{script}}", include_str!("handout.js"))
        .replace("{{last}}", &rows.len().saturating_sub(1).to_string())
        .replace("{{defs}}", &shapes.definitions())
        .replace("{{head}}", &head(drill))
        .replace("{{words}}", &words(drill, &scores))
        .replace("{{stages}}", &sections)
        .replace("{{title}}", &escape(&drill.title))
        .replace("{{data}}", &data)
}

/// The title; of a tune in the middle, with what else stands at its head.
fn head(drill: &Drill) -> String {
    let title = escape(&drill.title);
    if !drill.is_tune() {
        return format!("<h1>{title}</h1>\n");
    }
    let mut text = format!("<header class=\"tune\"><h1>{title}</h1>");
    for other in &drill.head.also {
        let _ = write!(text, "<p>{}</p>", escape(other));
    }
    let kind = drill.head.kind.as_deref().unwrap_or_default();
    let made = drill.head.made_by().unwrap_or_default();
    if !kind.is_empty() || !made.is_empty() {
        let (kind, made) = (escape(kind), escape(&made));
        let _ = write!(
            text,
            "<p class=\"made\"><em>{kind}</em><span>{made}</span></p>"
        );
    }
    text.push_str("</header>\n");
    text
}

fn words(drill: &Drill, scores: &[Score]) -> String {
    let mut text = String::new();
    if let Some(about) = &drill.about {
        let _ = writeln!(text, "<p>{}</p>", escape(about));
    }
    if let Some(listen) = &drill.listen_for {
        let _ = writeln!(text, "<p><em>Listen for {}</em></p>", escape(listen));
    }
    for line in where_the_time_comes_from(scores) {
        let _ = writeln!(text, "<p>{}</p>", escape(&line));
    }
    text
}

/// The first head of every note in order: the note, its system, its left edge in staff spaces.
fn heads_of(engraved: &Engraved) -> Vec<(NoteId, usize, f64)> {
    let mut seen = BTreeSet::new();
    engraved
        .systems
        .iter()
        .enumerate()
        .flat_map(|(system, laid)| {
            laid.elements
                .iter()
                .filter(|element| matches!(element.kind, Kind::Head | Kind::GraceHead))
                .filter_map(move |element| {
                    Some((element.note?, system, element.shape.bounds().left))
                })
        })
        .filter(|(id, ..)| seen.insert(*id))
        .collect()
}

/// One system as an SVG of its own whose unit is the staff space; each head can be found by its
/// number.
fn draw_system(
    page: &mut String,
    shapes: &mut Shapes,
    system: &System,
    (stage, number_in_stage): (usize, usize),
    index: &BTreeMap<NoteId, usize>,
    words: &str,
) {
    let (top, height) = (system.top + 0.3, system.top - system.bottom + 0.6);
    let _ = write!(
        page,
        "<svg class=\"music\" role=\"img\" aria-label=\"{}\" viewBox=\"0 0 {} {}\">\
         <rect class=\"cursor\" id=\"c{stage}-{number_in_stage}\" x=\"0\" y=\"0\" width=\"1.2\" height=\"{}\"/>",
        escape(words),
        number(WIDTH),
        number(height),
        number(height)
    );
    let mut seen = BTreeSet::new();
    for element in &system.elements {
        let ink = shape_ink(&element.shape, 0.0, top, 1.0);
        let head = matches!(element.kind, Kind::Head | Kind::GraceHead);
        let place = element.note.and_then(|id| index.get(&id)).filter(|_| head);
        // a note's other heads are tied to its first, which may end the line before
        match place.filter(|place| seen.insert(**place)) {
            Some(place) => {
                let _ = write!(page, "<g id=\"n{stage}-{place}\">");
                write_ink(page, shapes, &ink);
                page.push_str("</g>");
            }
            None => write_ink(page, shapes, &ink),
        }
    }
    page.push_str("</svg>\n");
}

/// `66 beats a minute`, `tones of 104 ms at 60 beats a minute`.
fn in_full(rung: Rung) -> String {
    let tempo = spell_fraction(&rung.tempo().value());
    let opened = rung
        .tone()
        .map_or_else(String::new, |_| format!("tones of {} at ", rung.spoken()));
    format!("{opened}{tempo} beats a minute")
}

/// A score at a rung as moments.
fn laid(score: &Score, drill: &Drill, rung: Rung, index: &BTreeMap<NoteId, usize>) -> Laid {
    let tempo = rung.tempo();
    let layout = Layout {
        lengths: rung.lengths(drill.lengths),
        ..Layout::at(tempo, SampleRate(48_000))
    };
    let timeline = lay(score, &layout);
    let tenths = |beats: Beats| (beats.to_f64() * 600_000.0 / tempo.to_f64()).round() as u32;
    let moments = |events: &[Event]| -> Vec<Moment> {
        events
            .iter()
            .map(|event| match event.kind {
                EventKind::Sound(sounded) => {
                    // A repeated bar is drawn once, under the names of its first time through.
                    let id = NoteId {
                        pass: 1,
                        ..sounded.id
                    };
                    let note = u8::try_from(sounded.note.index()).unwrap_or(0);
                    (tenths(event.beat), note, index.get(&id).copied())
                }
                EventKind::Click(click) => {
                    let weight = match click.weight {
                        ClickWeight::Bar => 11,
                        ClickWeight::Beat => 10,
                        ClickWeight::Part => 12,
                    };
                    (tenths(event.beat), weight, None)
                }
                EventKind::Hush => (tenths(event.beat), 20, None),
            })
            .collect()
    };
    let (first, again) = (moments(&timeline.first), moments(&timeline.again));
    Laid {
        lead: moments(&timeline.lead_in),
        again: (again != first).then_some(again),
        first,
        lead_length: tenths(timeline.lead_in_length),
        cycle: tenths(timeline.cycle),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{BUILT_IN, read};

    /// A page over the size would not open at once on an old tablet, and one that asks for
    /// anything would show a hole without a network.
    #[test]
    fn every_built_in_handout_is_small_and_asks_for_nothing() {
        for drill in BUILT_IN {
            let value = read(drill.text.as_bytes()).0.expect("reads");
            let page = handout(&value, Tuning::default());
            assert!(
                page.len() <= LARGEST_HANDOUT,
                "{} {}",
                drill.name,
                page.len()
            );
            assert!(
                !page.contains("{{"),
                "{}: a part of the page is missing",
                drill.name
            );
            for asks in ["src=", "href=\"http", "url(", "@import", "fetch("] {
                assert!(!page.contains(asks), "{}: {asks}", drill.name);
            }
        }
    }

    /// A player tuned to another pitch would practise against a page that is out of tune.
    #[test]
    fn the_page_plays_at_the_pitch_it_is_given() {
        use crate::chanter::TuningTable;
        use crate::units::Hertz;
        let value = read(BUILT_IN[0].text.as_bytes()).0.expect("reads");
        let tuning = Tuning::with_low_a(Hertz(240.0), TuningTable::Modern);
        let page = handout(&value, tuning);
        // low G and low A at 240: 7/8 of it, and itself
        assert!(page.contains("\"hertz\":[210.0,240.0,270.0,"));
    }

    #[test]
    fn a_name_cannot_end_the_script_or_open_an_element() {
        let text = BUILT_IN[0].text.replace("title: ", "title: </script><b>");
        let value = read(text.as_bytes()).0.expect("reads");
        let page = handout(&value, Tuning::default());
        assert_eq!(page.matches("</script>").count(), 1);
        assert!(!page.contains("<b>"));
    }
}
