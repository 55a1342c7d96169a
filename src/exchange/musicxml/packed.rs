//! Packed MusicXML (`.mxl`): a zip archive whose `META-INF/container.xml` names the score (MusicXML
//! 4.0, "Compressed .mxl files"). Names inside it are looked up in the archive and nowhere else.

use super::tree::read_tree;
use crate::drill::{Place, Problem};
use crate::exchange::LARGEST_FILE;
use crate::exchange::piece::foreign;
use std::borrow::Cow;
use std::io::{Cursor, Read};
use zip::ZipArchive;

/// How a zip archive begins.
const MAGIC: &[u8] = b"PK\x03\x04";
/// The file that names the score.
const CONTAINER: &str = "META-INF/container.xml";
/// The most that is unpacked of the container, bytes.
const LARGEST_CONTAINER: u64 = 64 << 10;

/// The score as text; bytes that are no archive stay as they are.
///
/// # Errors
/// An archive that is spoilt, names no score, or holds more than is unpacked.
pub fn unpacked(bytes: &[u8]) -> Result<Cow<'_, [u8]>, Box<Problem>> {
    if !bytes.starts_with(MAGIC) {
        return Ok(Cow::Borrowed(bytes));
    }
    let mut archive = ZipArchive::new(Cursor::new(bytes)).map_err(|error| {
        refused(
            format!("a packed file that cannot be opened: {error}"),
            "a score packed as .mxl",
        )
    })?;
    let container = entry(&mut archive, CONTAINER, LARGEST_CONTAINER)?;
    let container = String::from_utf8_lossy(&container);
    let root = read_tree(container.trim_start_matches('\u{feff}')).map_err(|(line, error)| {
        refused(
            format!("in `{CONTAINER}`, line {line}: this is not XML: {error}"),
            "the name of the score",
        )
    })?;
    // the first is the score; others are the same in another form, such as a PDF
    let named = root
        .child("rootfiles")
        .and_then(|files| files.child("rootfile"))
        .and_then(|file| file.attribute("full-path"));
    let Some(named) = named else {
        return Err(refused(
            format!("`{CONTAINER}` names no score"),
            "a `rootfile` with its `full-path`",
        ));
    };
    entry(&mut archive, named, LARGEST_FILE as u64).map(Cow::Owned)
}

fn refused(found: String, expected: &str) -> Box<Problem> {
    Box::new(foreign(Place::WHOLE_FILE, found, expected))
}

/// The bytes of one file of the archive.
fn entry(
    archive: &mut ZipArchive<Cursor<&[u8]>>,
    name: &str,
    most: u64,
) -> Result<Vec<u8>, Box<Problem>> {
    let shown: String = name.escape_debug().take(60).collect();
    let file = archive.by_name(name).map_err(|error| {
        refused(
            format!("`{shown}` cannot be taken out of the packed file: {error}"),
            "a score packed as .mxl",
        )
    })?;
    let mut unpacked = Vec::new();
    // what the archive says of its size is not believed: a few kilobytes may unpack to any size
    file.take(most + 1)
        .read_to_end(&mut unpacked)
        .map_err(|error| {
            refused(
                format!("`{shown}` cannot be unpacked: {error}"),
                "a score packed as .mxl",
            )
        })?;
    if unpacked.len() as u64 > most {
        return Err(refused(
            format!("`{shown}` unpacks to more than {} KiB", most >> 10),
            "less",
        ));
    }
    Ok(unpacked)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;
    use zip::ZipWriter;
    use zip::write::SimpleFileOptions;

    fn packed(files: &[(&str, &[u8])]) -> Vec<u8> {
        let mut writer = ZipWriter::new(Cursor::new(Vec::new()));
        let options =
            SimpleFileOptions::default().compression_method(zip::CompressionMethod::Deflated);
        for (name, bytes) in files {
            writer.start_file(*name, options).expect("a name");
            writer.write_all(bytes).expect("memory takes it");
        }
        writer.finish().expect("memory takes it").into_inner()
    }

    fn naming(path: &str) -> Vec<u8> {
        format!(
            "<?xml version=\"1.0\"?>\n<container><rootfiles><rootfile full-path=\"{path}\"/>\
             <rootfile full-path=\"other.pdf\"/></rootfiles></container>"
        )
        .into_bytes()
    }

    fn told(bytes: &[u8]) -> String {
        unpacked(bytes).expect_err("refused").kind.to_string()
    }

    #[test]
    fn the_score_that_the_container_names_is_unpacked() {
        let container = naming("scores/tune.musicxml");
        let bytes = packed(&[
            ("wrong.musicxml", b"<wrong/>"),
            (CONTAINER, &container),
            ("scores/tune.musicxml", b"<score-partwise/>"),
        ]);
        assert_eq!(
            &*unpacked(&bytes).expect("it unpacks"),
            b"<score-partwise/>"
        );
        assert_eq!(&*unpacked(b"<score/>").expect("as it is"), b"<score/>");
    }

    #[test]
    fn what_is_no_score_is_a_sentence_and_no_path_is_followed() {
        assert!(told(&packed(&[("a", b"b")])).contains(CONTAINER));
        let container = naming("../../etc/passwd");
        let bytes = packed(&[(CONTAINER, &container)]);
        assert!(told(&bytes).contains("etc/passwd` cannot be taken out of the packed file"));
        assert!(told(b"PK\x03\x04 and nothing more").contains("cannot be opened"));
        let bytes = packed(&[(CONTAINER, b"<container/>")]);
        assert!(told(&bytes).contains("names no score"));
    }

    /// A few bytes of an archive may unpack to gigabytes: unpacking stops at what a score can need.
    #[test]
    fn a_bomb_is_unpacked_no_further_than_any_score() {
        let container = vec![b' '; (LARGEST_CONTAINER + 1) as usize];
        let told = told(&packed(&[(CONTAINER, &container)]));
        assert!(told.contains("unpacks to more than 64 KiB"), "{told}");
    }
}
