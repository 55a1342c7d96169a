//! A MusicXML file to a piece.

mod finish;
mod notes;
mod part;
mod text;

use super::packed::unpacked;
use super::tree::{Element, read_tree};
use super::{ALSO, KIND, ORIGIN, STAGES, in_stage};
use crate::drill::{Place, Problem, TuneHead};
use crate::exchange::LARGEST_FILE;
use crate::exchange::piece::{BEAT, Piece, REMARKS, REMARKS_HERE, adopted_at, foreign};
use part::PartReader;
use text::{at, shown};

/// The most measures that are read.
const MOST_MEASURES: usize = 4096;

/// Reads a partwise score, also packed.
pub fn read(bytes: &[u8]) -> (Option<Piece>, Vec<Problem>) {
    let refuse =
        |place: Place, found: String, expected: &str| (None, vec![foreign(place, found, expected)]);
    if bytes.len() > LARGEST_FILE {
        let found = format!("the file has {} bytes", bytes.len());
        return refuse(Place::WHOLE_FILE, found, "at most 16 MiB");
    }
    let unpacked = match unpacked(bytes) {
        Ok(unpacked) => unpacked,
        Err(problem) => return (None, vec![*problem]),
    };
    let bytes: &[u8] = &unpacked;
    let Ok(source) = std::str::from_utf8(bytes) else {
        let found = "text that is not UTF-8".to_owned();
        return refuse(Place::WHOLE_FILE, found, "a file saved as UTF-8");
    };
    let root = match read_tree(source.trim_start_matches('\u{feff}')) {
        Ok(root) => root,
        Err((line, error)) => {
            return refuse(at(line), format!("this is not XML: {error}"), "MusicXML");
        }
    };
    if root.name != "score-partwise" {
        let found = format!("a document of `{}`", shown(&root.name));
        return refuse(at(root.line), found, "`score-partwise`");
    }
    let mut problems = Vec::new();
    let parts: Vec<&Element> = root.all("part").collect();
    let Some(part) = parts.first() else {
        return refuse(
            at(root.line),
            "a score without a part".to_owned(),
            "one part",
        );
    };
    for other in &parts[1..] {
        problems.push(adopted_at(
            at(other.line),
            "another part",
            "left out: the chanter plays one line",
        ));
    }
    let fields = |name: &str| miscellaneous(&root, name);
    let field = |name: &str| fields(name).into_iter().next();
    let title = root
        .child("work")
        .and_then(|work| work.text_of("work-title"))
        .or_else(|| root.text_of("movement-title"))
        .unwrap_or_default()
        .to_owned();
    let composers: Vec<String> = root
        .child("identification")
        .into_iter()
        .flat_map(|own| own.all("creator"))
        .filter(|creator| creator.attribute("type") == Some("composer"))
        .map(|creator| creator.text.trim().to_owned())
        .filter(|name| !name.is_empty())
        .collect();
    // a movement's own title beside that of its work is a second line
    let second = root.text_of("movement-title").filter(|own| *own != title);
    let head = TuneHead {
        also: second
            .map(str::to_owned)
            .into_iter()
            .chain(fields(ALSO))
            .collect(),
        kind: field(KIND),
        composer: (!composers.is_empty()).then(|| composers.join(", ")),
        origin: field(ORIGIN),
    };
    let mut reader = PartReader {
        stages: field(STAGES).is_some(),
        beat: field(BEAT),
        problems,
        ..PartReader::default()
    };
    for (place, measure) in part.all("measure").enumerate() {
        if place >= MOST_MEASURES {
            reader.problems.push(adopted_at(
                at(measure.line),
                "a measure after the 4096th",
                "left out",
            ));
            continue;
        }
        reader.measure(measure);
    }
    let remarks: Vec<(&str, String)> = REMARKS
        .into_iter()
        .filter_map(|name| Some((name, field(name)?)))
        .collect();
    let here = (1..=reader.sections.len())
        .map(|number| {
            let named = REMARKS_HERE.into_iter();
            named
                .filter_map(|name| Some((name, field(&in_stage(name, number))?)))
                .collect()
        })
        .collect();
    reader.finish(title, head, remarks, here)
}

/// The texts that stand beside the music under a name.
fn miscellaneous(root: &Element, name: &str) -> Vec<String> {
    root.child("identification")
        .and_then(|own| own.child("miscellaneous"))
        .into_iter()
        .flat_map(|own| own.all("miscellaneous-field"))
        .filter(|field| field.attribute("name") == Some(name))
        .map(|field| field.text.trim().to_owned())
        .collect()
}
