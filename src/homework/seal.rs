//! The checksum at the end of a homework file, which shows that a file was cut off or edited.
//!
//! It finds accidents and careless edits, and is no protection against forgery. It ignores line
//! ends, because mail programs change them.

use crate::practice::StagePrint;

/// The largest homework file that is read, in bytes. Chosen: enough for a class's drills and a
/// month of days.
pub const LARGEST_FILE: usize = 4 * 1024 * 1024;

const WORD: &str = "checksum: ";

/// How a file as a whole is damaged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Broken {
    /// The file is larger than the program reads; its size in bytes.
    TooLarge(usize),
    /// The file is not UTF-8 text.
    NotText,
    /// The file does not begin like homework.
    NoHomework,
    /// The file has no checksum at its end.
    CutOff,
    /// The checksum does not match the text.
    Edited,
}

impl std::fmt::Display for Broken {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::TooLarge(bytes) => {
                write!(
                    f,
                    "the file has {bytes} bytes; at most {LARGEST_FILE} are read"
                )
            }
            Self::NotText => write!(f, "the file is damaged: it is not UTF-8 text"),
            Self::NoHomework => write!(
                f,
                "this is no homework file: it does not begin with `homework:` or `report:`"
            ),
            Self::CutOff => write!(
                f,
                "the file is cut off: its last line is no checksum; ask for it again"
            ),
            Self::Edited => write!(
                f,
                "the file was damaged or edited since it was written: its checksum does not fit; ask for it again"
            ),
        }
    }
}

fn print(body: &str) -> String {
    StagePrint::of(&body.replace("\r\n", "\n")).to_string()
}

/// A document with its checksum in the last line: FNV-1a, 128 bits (RFC 9923), of the text above
/// that line.
pub fn sealed(body: &str) -> String {
    let body = format!("{}\n", body.trim_end());
    format!("{body}{WORD}{}\n", print(&body))
}

/// The checksum of an undamaged document; none for a damaged one.
pub fn checksum(bytes: &[u8]) -> Option<String> {
    open_seal(bytes).ok().map(print)
}

/// The text above the checksum.
///
/// # Errors
/// See [`Broken`].
pub fn open_seal(bytes: &[u8]) -> Result<&str, Broken> {
    if bytes.len() > LARGEST_FILE {
        return Err(Broken::TooLarge(bytes.len()));
    }
    let text = std::str::from_utf8(bytes).map_err(|_| Broken::NotText)?;
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    if !text.starts_with("homework:") && !text.starts_with("report:") {
        return Err(Broken::NoHomework);
    }
    let at = text
        .rfind(WORD)
        .filter(|at| *at > 0 && text.as_bytes()[at - 1] == b'\n')
        .ok_or(Broken::CutOff)?;
    let (body, last) = text.split_at(at);
    let said = last[WORD.len()..].trim_end();
    if said.len() != 32 {
        return Err(Broken::CutOff);
    }
    if print(body) == said {
        Ok(body)
    } else {
        Err(Broken::Edited)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_cut_and_every_changed_byte_is_told() {
        let file = sealed("homework: 1\ntitle: week 3\n");
        assert_eq!(
            open_seal(file.as_bytes()),
            Ok("homework: 1\ntitle: week 3\n")
        );
        assert!(
            open_seal(file.replace('\n', "\r\n").as_bytes()).is_ok(),
            "mail changes line ends"
        );
        for at in 0..file.trim_end().len() {
            assert!(open_seal(&file.as_bytes()[..at]).is_err(), "cut at {at}");
            let mut bytes = file.clone().into_bytes();
            bytes[at] ^= 1;
            assert!(open_seal(&bytes).is_err(), "changed at {at}");
        }
    }
}
