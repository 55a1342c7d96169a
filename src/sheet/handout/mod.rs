//! A drill as one page for a phone or tablet. The music is SVG, laid out for three widths, and is
//! played by the browser. Ticks stay on the device. There is a view for print.
//!
//! The page makes no requests; its security policy forbids them all. Each stage contains its
//! timeline at every rung, so that the browser plays exactly what the program plays.

mod laid;

use super::bar_map::{map_words, step_of};
use super::drawing::{Ink, shape_ink};
use super::foot::rungs;
use super::svg::{Shapes, escape, number, path, write_ink};
use super::tune_head::kind_and_pointing;
use super::words::{in_full, in_words, sentence, where_the_time_comes_from};
use crate::chanter::{Finger, NOTES, Shape, Tuning};
use crate::drill::{Drill, SLOW, Stage};
use crate::engraving::{ElementKind, Engraved, LayoutSettings, System, lay_out};
use crate::planning::BarLine;
use crate::practice::Rung;
use crate::practice::ladder::climbs;
use crate::score::{NoteId, Score, resolve_music};
use laid::{BarInTime, Laid, bars, laid};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

/// The largest page that is handed out, in bytes.
pub const LARGEST_HANDOUT: usize = 400_000;

/// The widths of systems in staff spaces, for a phone held upright, a tablet and a desktop screen.
/// On a phone at least 360 pixels wide a staff is at least 28 pixels high (`page.html` has the
/// limits between the widths).
const WIDTHS: [f64; 3] = [48.0, 76.0, 108.0];

/// The strengths of the reed's partials, from the fundamental up. A cylindrical bore favours the
/// odd ones. Chosen by ear after the practice chanter's voice.
const PARTIALS: [f32; 12] = [
    1.0, 0.16, 0.72, 0.12, 0.46, 0.1, 0.3, 0.07, 0.18, 0.05, 0.1, 0.03,
];

#[derive(Serialize)]
struct StageData {
    name: String,
    /// For each width, the place of each note and gracenote: the index of its system, and its x in
    /// the system's unit.
    heads: Vec<Vec<(usize, f64)>>,
    /// The written bar of each note and gracenote.
    bar: Vec<usize>,
    /// For each note, 1 where it is a gracenote and 0 where it is not.
    grace: Vec<u8>,
    bars: Vec<BarInTime>,
    /// The indices of the stage's rungs among the page's rungs, lowest first.
    rows: Vec<usize>,
    /// The timeline of each of these rungs.
    laid: Vec<Laid>,
}

#[derive(Serialize)]
struct Data {
    key: String,
    /// The short name of every rung of the drill, and its name in full.
    rungs: Vec<String>,
    words: Vec<String>,
    /// The index of the rung that is the goal.
    goal: Option<usize>,
    clean: u32,
    hertz: Vec<f64>,
    /// The holes of each note from the thumb down: `x` for covered, `o` for open.
    fingers: Vec<String>,
    partials: Vec<f32>,
    stages: Vec<StageData>,
}

/// Writes the page, to be played with this tuning. It may be larger than [`LARGEST_HANDOUT`], which
/// the caller must check.
pub fn handout(drill: &Drill, tuning: Tuning) -> String {
    handout_with_map(drill, tuning, &[])
}

/// Writes the page like [`handout`]. `failing` holds the recent results of a tune's bars, which are
/// drawn as a map under its staves.
pub fn handout_with_map(drill: &Drill, tuning: Tuning, failing: &[BarLine]) -> String {
    let failing = if drill.is_tune() { failing } else { &[] };
    let climbs = climbs(drill);
    let rows = rungs(&climbs);
    let breath = drill.breath_beats();
    let mut shapes = Shapes::default();
    let mut sections = String::new();
    let mut stages = Vec::new();
    let mut scores = Vec::new();
    let mut key = String::new();
    for (place, (stage, own)) in drill.stages.iter().zip(&climbs).enumerate() {
        let score = resolve_music(&stage.music, breath, &drill.schools);
        key.push_str(&score.written_text());
        let layouts = layouts(drill, stage, &score);
        let all = heads_of(&layouts[0]);
        let index: BTreeMap<NoteId, usize> = all
            .iter()
            .enumerate()
            .map(|(at, head)| (head.0, at))
            .collect();
        section(
            &mut sections,
            &mut shapes,
            drill,
            place,
            (&score, &layouts),
            &index,
            failing,
        );
        stages.push(StageData {
            rows: own
                .iter()
                .filter_map(|rung| rows.iter().position(|row| row == rung))
                .collect(),
            laid: own
                .iter()
                .map(|rung| laid(&score, drill, *rung, &index))
                .collect(),
            ..stage_data(drill, stage, (&score, &layouts), &index)
        });
        scores.push(score);
    }
    // the data holds names from the drill, so `<` is escaped and no name can end the script
    let data = serde_json::to_string(&data(drill, tuning, &key, &rows, stages))
        .unwrap_or_else(|_| "null".to_owned())
        .replace('<', "\\u003c");
    include_str!("page.html")
        .replace("{{script}}", include_str!("page.js"))
        .replace("{{last}}", &rows.len().saturating_sub(1).to_string())
        .replace("{{defs}}", &shapes.definitions_for_use())
        .replace("{{head}}", &head(drill))
        .replace("{{words}}", &words(drill, &scores))
        .replace("{{stages}}", &sections)
        .replace("{{title}}", &escape(&drill.title))
        .replace("{{data}}", &data)
}

/// A stage engraved for each of [`WIDTHS`].
fn layouts(drill: &Drill, stage: &Stage, score: &Score) -> Vec<Engraved> {
    WIDTHS
        .iter()
        .map(|width| {
            let settings = LayoutSettings {
                bars_in_a_system: drill.is_tune().then_some(4),
                grace_names: drill.movement.is_some(),
                ..LayoutSettings::paper(*width)
            };
            lay_out(score, Some(&stage.music), &settings)
        })
        .collect()
}

/// The script's data of a stage, without its rungs.
fn stage_data(
    drill: &Drill,
    stage: &Stage,
    (score, layouts): (&Score, &[Engraved]),
    index: &BTreeMap<NoteId, usize>,
) -> StageData {
    let all = heads_of(&layouts[0]);
    let bar_of: BTreeMap<NoteId, usize> = score
        .notes
        .iter()
        .filter_map(|note| Some((note.id.melody(), score.bars.get(note.bar)?.written)))
        .collect();
    let heads = layouts.iter().map(|engraved| {
        let mut places = vec![(0, 0.0); all.len()];
        for (id, system, x) in heads_of(engraved) {
            if let Some(place) = index.get(&id).and_then(|at| places.get_mut(*at)) {
                *place = (system, (x * 100.0).round() / 100.0);
            }
        }
        places
    });
    StageData {
        name: stage.name.clone(),
        heads: heads.collect(),
        bar: all
            .iter()
            .map(|(id, ..)| bar_of.get(&id.melody()).copied().unwrap_or(0))
            .collect(),
        grace: all.iter().map(|(id, ..)| u8::from(id.grace > 0)).collect(),
        bars: bars(drill, stage, score),
        rows: Vec::new(),
        laid: Vec::new(),
    }
}

/// The script's data of the whole drill. `key` is the written text of all its stages.
fn data(drill: &Drill, tuning: Tuning, key: &str, rows: &[Rung], stages: Vec<StageData>) -> Data {
    Data {
        key: crate::practice::StagePrint::of(key).to_string(),
        rungs: rows.iter().map(|rung| rung.spoken()).collect(),
        words: rows
            .iter()
            .map(|rung| in_full(*rung, drill.metre))
            .collect(),
        goal: rows.iter().rposition(|rung| !rung.is_opened()),
        clean: drill.clean,
        hertz: NOTES
            .iter()
            .map(|note| (tuning.hertz(*note).0 * 1000.0).round() / 1000.0)
            .collect(),
        fingers: NOTES
            .iter()
            .map(|note| {
                let shape = Shape::of(*note);
                let hole = |finger| if shape.covers(finger) { 'x' } else { 'o' };
                Finger::ALL.into_iter().map(hole).collect()
            })
            .collect(),
        partials: PARTIALS.to_vec(),
        stages,
    }
}

/// The title. For a tune it is centred, with the other lines of the tune's head.
fn head(drill: &Drill) -> String {
    let title = escape(&drill.title);
    if !drill.is_tune() {
        return format!("<h1>{title}</h1>\n");
    }
    let mut text = format!("<header class=\"tune\"><h1>{title}</h1>");
    for other in &drill.head.also {
        let _ = write!(text, "<p>{}</p>", escape(other));
    }
    let kind = kind_and_pointing(drill);
    let made = drill.head.made_by().unwrap_or_default();
    if !kind.is_empty() || !made.is_empty() {
        let (kind, made) = (escape(&kind), escape(&made));
        let _ = write!(
            text,
            "<p class=\"made\"><em>{kind}</em><span>{made}</span></p>"
        );
    }
    text.push_str("</header>\n");
    text
}

/// The words about the drill. They are below its music, so that a phone shows a line of music
/// first.
fn words(drill: &Drill, scores: &[Score]) -> String {
    let about = drill.about.as_deref().map(sentence);
    let paragraphs: Vec<String> = about
        .into_iter()
        .chain(where_the_time_comes_from(scores))
        .collect();
    if paragraphs.is_empty() {
        return String::new();
    }
    let mut text = "<section aria-labelledby=\"about\"><h2 id=\"about\">About it</h2>\n".to_owned();
    for line in paragraphs {
        let _ = writeln!(text, "<p>{}</p>", escape(&line));
    }
    text.push_str("</section>\n");
    text
}

/// Writes a stage: its name, a button to play it, and its music in every width.
fn section(
    page: &mut String,
    shapes: &mut Shapes,
    drill: &Drill,
    place: usize,
    (score, layouts): (&Score, &[Engraved]),
    index: &BTreeMap<NoteId, usize>,
    failing: &[BarLine],
) {
    let stage: &Stage = &drill.stages[place];
    let name = if drill.stages.len() == 1 {
        escape(&stage.name)
    } else {
        format!("{} {}", place + 1, escape(&stage.name))
    };
    let _ = writeln!(
        page,
        "<section aria-labelledby=\"h{place}\"><div class=\"stage\"><h2 id=\"h{place}\">{name}</h2>\
         <button type=\"button\" data-stage=\"{place}\" aria-pressed=\"false\" aria-describedby=\"h{place}\">Play</button></div>"
    );
    let slow = stage.is_slow().then(|| sentence(SLOW));
    let listen = stage
        .listen_for
        .as_ref()
        .or(drill.listen_for.as_ref().filter(|_| place == 0));
    let listen = listen.map(|listen| sentence(&crate::wording::listen_for(listen)));
    let map = map_words(failing).filter(|_| place == 0);
    let said: Vec<String> = slow.into_iter().chain(listen).chain(map).collect();
    if !said.is_empty() {
        let _ = writeln!(
            page,
            "<p class=\"listen\"><em>{}</em></p>",
            escape(&said.join(" "))
        );
    }
    let _ = writeln!(
        page,
        "<p hidden id=\"w{place}\">{}</p>",
        escape(&in_words(score))
    );
    for (layout, engraved) in layouts.iter().enumerate() {
        let _ = write!(page, "<div class=\"layout l{layout}\">");
        for (number, system) in engraved.systems.iter().enumerate() {
            // the music in words is written once and not for every width
            let named = if number == 0 {
                format!("aria-labelledby=\"w{place}\"")
            } else {
                format!(
                    "aria-label=\"{}, line {}\"",
                    escape(&stage.name),
                    number + 1
                )
            };
            let id = format!("{layout}-{place}-{number}");
            let width = engraved.width.max(system.width);
            draw_system(page, shapes, system, width, (&id, &named), |note| {
                index
                    .get(&note)
                    .map(|head| format!("n{layout}-{place}-{head}"))
            });
            bar_buttons(page, system, width, place, failing);
            page.push_str("</div>\n");
        }
        page.push_str("</div>\n");
    }
    page.push_str("</section>\n");
}

/// Writes a button over each bar, which repeats the bar.
fn bar_buttons(page: &mut String, system: &System, width: f64, stage: usize, failing: &[BarLine]) {
    for bar in &system.bars {
        let name = match bar.number {
            0 => "pickup".to_owned(),
            number => format!("bar {number}"),
        };
        let failed = step_of(failing, bar.number);
        let class = failed.map_or_else(String::new, |step| format!(" fails{step}"));
        let name = match failed {
            Some(_) => format!("{name}, which failed lately"),
            None => name,
        };
        let _ = write!(
            page,
            "<button type=\"button\" class=\"bar{class}\" data-of=\"{stage}\" data-bar=\"{}\" aria-pressed=\"false\" aria-label=\"{name}\" style=\"left:{}%;width:{}%\"></button>",
            bar.written,
            number(bar.left * 100.0 / width),
            number((bar.right - bar.left) * 100.0 / width),
        );
    }
}

/// The first head of every note in order: the note, its system, and its left edge in staff spaces.
fn heads_of(engraved: &Engraved) -> Vec<(NoteId, usize, f64)> {
    let mut seen = BTreeSet::new();
    engraved
        .systems
        .iter()
        .enumerate()
        .flat_map(|(system, laid)| {
            laid.elements
                .iter()
                .filter(|element| {
                    matches!(element.kind, ElementKind::Head | ElementKind::GraceHead)
                })
                .filter_map(move |element| {
                    Some((element.note?, system, element.shape.bounds().left))
                })
        })
        .filter(|(id, ..)| seen.insert(*id))
        .collect()
}

/// Writes one system as an SVG whose unit is the staff space. Each head can be found by its name.
/// Lines, stems and beams have the same winding direction and are one outline.
fn draw_system(
    page: &mut String,
    shapes: &mut Shapes,
    system: &System,
    width: f64,
    (id, named): (&str, &str),
    name_of: impl Fn(NoteId) -> Option<String>,
) {
    let (top, height) = (system.top + 0.3, system.top - system.bottom + 0.6);
    let _ = write!(
        page,
        "<div class=\"line\" id=\"l{id}\"><svg class=\"music\" role=\"img\" {named} viewBox=\"0 0 {} {}\">\
         <rect class=\"cursor\" id=\"c{id}\" width=\"1.2\" height=\"{}\"/>",
        number(width),
        number(height),
        number(height)
    );
    let mut lines = String::new();
    let mut seen = BTreeSet::new();
    for element in &system.elements {
        let head = matches!(element.kind, ElementKind::Head | ElementKind::GraceHead);
        // a note's other heads are tied to its first head, which may be in the system before
        let name = element
            .note
            .filter(|note| head && seen.insert(*note))
            .and_then(&name_of);
        match shape_ink(&element.shape, 0.0, top, 1.0) {
            Ink::Glyph { glyph, x, y, space } => {
                shapes.place(page, glyph, (x, y), space, name.as_deref());
            }
            Ink::Fill(outline) => lines.push_str(&path(&outline, 2)),
            text @ Ink::Text { .. } => write_ink(page, shapes, &text),
        }
    }
    let _ = write!(page, "<path d=\"{lines}\"/></svg>");
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::drill::{BUILT_IN, read};

    /// A page over the limit would open slowly on an old tablet, and a page that makes requests
    /// would be incomplete without a network.
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
        // with low A at 240 Hz, low G is 7/8 of that
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

    /// In each layout every bar must have a button, or it could not be repeated on that screen. A
    /// phrase must include its pickup, or it would begin in the middle.
    #[test]
    fn every_bar_can_be_repeated_on_every_screen_and_a_phrase_has_its_pickup() {
        let text = "title: Two parts\nmetre: 2/4\nunit: 1/8\nmusic: \"|:e|A2 c2|e2 c2|d2 B2|G2 B2|A2 c2|e2 c2|d2 B2|G2 A:||:e|a2 e2|c2 e2|d2 B2|[1 G2 A:|[2 A3|]\"\nladder: {from: 50, to: 60, step: 4%}\n";
        let value = read(text.as_bytes()).0.expect("reads");
        let page = handout(&value, Tuning::default());
        let written = value.stages[0].music.bars.len();
        for bar in 0..written {
            let button = format!("data-of=\"0\" data-bar=\"{bar}\"");
            assert_eq!(page.matches(&button).count(), WIDTHS.len(), "bar {bar}");
        }
        let score = resolve_music(
            &value.stages[0].music,
            crate::units::Beats::ZERO,
            &value.schools,
        );
        let bars = serde_json::to_value(bars(&value, &value.stages[0], &score)).expect("JSON");
        let phrases: Vec<(u64, u64)> = (0..written)
            .map(|bar| {
                let phrase = &bars[bar]["phrase"];
                (
                    phrase[0].as_u64().expect("from"),
                    phrase[1].as_u64().expect("to"),
                )
            })
            .collect();
        // a pickup and 4 bars, then 4; a pickup and 2 bars, then 2; the second ending is played
        // separately
        assert_eq!(phrases[..5], [(0, 4); 5]);
        assert_eq!(phrases[5..9], [(5, 8); 4]);
        assert_eq!(phrases[9..12], [(9, 11); 3]);
        assert_eq!(phrases[12..14], [(12, 13); 2]);
        assert_eq!(phrases[14], (14, 14));
    }
}
