//! Writes to standard streams and files. No file is left half written, no file is overwritten
//! without permission, and no text from a file, a name or a library reaches the terminal as a
//! control sequence.

use super::Failure;
use crate::wording::{is_hidden, visible};
use std::borrow::Cow;
use std::fmt::{Display, Write as _};
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

/// Writes to standard output. Control characters and other invisible characters are written as
/// escapes. A closed pipe is no error.
pub(crate) fn print(text: &str) -> Result<(), Failure> {
    written(&visible(text))
}

/// Writes lines of JSON to standard output, with invisible characters escaped as JSON escapes.
pub(crate) fn print_json_lines(lines: &str) -> Result<(), Failure> {
    written(&escaped_json(lines))
}

/// JSON with every invisible character escaped. Such characters can stand only inside strings,
/// where an escape means the same (RFC 8259, 7).
pub(crate) fn escaped_json(json: &str) -> Cow<'_, str> {
    if !json.contains(is_hidden) {
        return Cow::Borrowed(json);
    }
    let mut text = String::with_capacity(json.len() + 16);
    for sign in json.chars() {
        if is_hidden(sign) {
            for unit in sign.encode_utf16(&mut [0; 2]) {
                let _ = write!(text, "\\u{unit:04x}");
            }
        } else {
            text.push(sign);
        }
    }
    Cow::Owned(text)
}

fn written(text: &str) -> Result<(), Failure> {
    let mut out = std::io::stdout().lock();
    let written = out.write_all(text.as_bytes()).and_then(|()| out.flush());
    match written {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => {
            Err(Failure(format!("cannot write to the output: {error}")))
        }
        _ => Ok(()),
    }
}

/// Writes a JSON document to standard output.
pub(crate) fn print_json<T: serde::Serialize>(document: &T) -> Result<(), Failure> {
    let text = serde_json::to_string(document)
        .map_err(|error| Failure(format!("cannot write JSON: {error}")))?;
    print_json_lines(&(text + "\n"))
}

/// Writes an error message to standard error, with invisible characters escaped.
pub(crate) fn complain(text: &str) {
    say_error(&format!("gracerung: {}", text.trim_end()));
}

/// Writes a text to standard error, with invisible characters escaped.
pub(crate) fn say_error(text: &str) {
    let mut err = std::io::stderr().lock();
    let _ = writeln!(err, "{}", visible(text));
}

/// Refuses a target whose name does not end in one of the extensions `endings`.
///
/// # Errors
/// The name has another extension or none. A file with the wrong extension would be noticed too
/// late.
pub(crate) fn named(target: &Path, endings: &[&str]) -> Result<(), Failure> {
    let ending = target
        .extension()
        .map(|ending| ending.to_string_lossy().to_lowercase());
    if ending.is_some_and(|ending| endings.contains(&ending.as_str())) {
        return Ok(());
    }
    let wanted: Vec<String> = endings.iter().map(|ending| format!(".{ending}")).collect();
    let wanted: Vec<&str> = wanted.iter().map(String::as_str).collect();
    Err(Failure(format!(
        "`{}` should end in {}, which is what is written",
        target.display(),
        crate::wording::choice(&wanted)
    )))
}

/// The sentence for a target that could not be written.
///
/// The system's message contains error numbers and the name of the temporary file; both are left
/// out.
pub(crate) fn cannot_write(target: &Path, error: &impl Display) -> Failure {
    let said = error.to_string();
    let said = said.split(" at path ").next().unwrap_or_default();
    let said = said.split(" (os error ").next().unwrap_or_default();
    let why = if said.starts_with("No such file") {
        "new files cannot be made in that folder".to_owned()
    } else {
        let mut letters = said.chars();
        let first = letters.next().map(char::to_lowercase);
        first.into_iter().flatten().chain(letters).collect()
    };
    Failure(format!("cannot write `{}`: {why}", target.display()))
}

/// Makes a folder and its missing parents.
///
/// # Errors
/// The folder cannot be made.
pub(crate) fn make_folder(folder: &Path) -> Result<(), Failure> {
    std::fs::create_dir_all(folder).map_err(|error| {
        Failure(format!(
            "cannot make the folder `{}`: {error}",
            folder.display()
        ))
    })
}

/// Refuses a target that cannot be written, before any work is done.
///
/// # Errors
/// The target's folder does not exist, the target is a folder, or the file exists and `force` is
/// false.
pub(crate) fn ready_to_write(target: &Path, force: bool) -> Result<(), Failure> {
    ready(target)?;
    if stands(target) && !force {
        return Err(exists(target));
    }
    Ok(())
}

/// Like [`ready_to_write`], for a command that never replaces a file.
///
/// # Errors
/// The target's folder does not exist, the target is a folder, or the file exists.
pub(crate) fn ready_for_new(target: &Path) -> Result<(), Failure> {
    ready(target)?;
    if stands(target) {
        return Err(Failure(format!(
            "`{}` exists and was left as it is; name a file that is not there yet",
            target.display()
        )));
    }
    Ok(())
}

fn ready(target: &Path) -> Result<(), Failure> {
    let folder = folder_of(target);
    if !folder.is_dir() {
        let why = format!(
            "the folder `{}` does not exist; make it first",
            folder.display()
        );
        return Err(cannot_write(target, &why));
    }
    if target.is_dir() {
        return Err(cannot_write(target, &"it is a folder; name a file in it"));
    }
    Ok(())
}

fn stands(target: &Path) -> bool {
    target.exists() && !is_stream(target)
}

fn exists(target: &Path) -> Failure {
    Failure(format!(
        "`{}` exists and was left as it is; add --force to replace it",
        target.display()
    ))
}

/// Reports what was written to which file. Nothing is reported for a stream such as `/dev/stdout`,
/// because the report would be mixed into it.
///
/// # Errors
/// Standard output cannot be written.
pub(crate) fn wrote(target: &Path, what: &str) -> Result<(), Failure> {
    if is_stream(target) {
        return Ok(());
    }
    print(&format!("{}: {what}\n", target.display()))
}

/// The path to write: the given one, or else a file with the drill's name in the present folder.
pub(crate) fn or_named(given: Option<&Path>, drill: &str, ending: &str) -> PathBuf {
    given.map_or_else(
        || {
            let stem = Path::new(drill).file_stem().unwrap_or_default();
            PathBuf::from(format!("{}.{ending}", stem.to_string_lossy()))
        },
        Path::to_owned,
    )
}

/// True for a device or a pipe, such as `/dev/stdout`, which is written into and never replaced.
fn is_stream(target: &Path) -> bool {
    std::fs::metadata(target).is_ok_and(|found| !found.is_file() && !found.is_dir())
}

/// Writes a whole file: first a temporary file beside the target, which is then renamed. So the
/// target is either complete or unchanged. Where the target is a symbolic link, the file that it
/// leads to is written.
///
/// # Errors
/// The same as of [`ready_to_write`], and any error of the file system.
pub(crate) fn write_file(
    target: &Path,
    force: bool,
    fill: impl FnOnce(&mut std::fs::File) -> Result<(), Failure>,
) -> Result<(), Failure> {
    write_readable(target, force, false, fill)
}

/// Writes bytes into a file that only its owner can read, and replaces an existing one.
///
/// # Errors
/// The same as of [`write_file`].
pub(crate) fn write_private(target: &Path, bytes: &[u8]) -> Result<(), Failure> {
    write_readable(target, true, true, |file| {
        file.write_all(bytes)
            .map_err(|error| cannot_write(target, &error))
    })
}

fn write_readable(
    target: &Path,
    force: bool,
    private: bool,
    fill: impl FnOnce(&mut std::fs::File) -> Result<(), Failure>,
) -> Result<(), Failure> {
    ready_to_write(target, force)?;
    let told = |error: std::io::Error| cannot_write(target, &error);
    if is_stream(target) {
        let mut stream = std::fs::OpenOptions::new()
            .write(true)
            .open(target)
            .map_err(told)?;
        fill(&mut stream)?;
        return stream.flush().map_err(told);
    }
    let place = std::fs::canonicalize(target).unwrap_or_else(|_| target.to_owned());
    let mut builder = tempfile::Builder::new();
    builder.prefix(".gracerung-");
    if !private {
        as_a_plain_file(&mut builder);
    }
    let mut temporary = builder.tempfile_in(folder_of(&place)).map_err(told)?;
    fill(temporary.as_file_mut())?;
    temporary.as_file_mut().flush().map_err(told)?;
    temporary.as_file().sync_all().map_err(told)?;
    if force {
        temporary
            .persist(&place)
            .map_err(|error| told(error.error))?;
    } else {
        temporary.persist_noclobber(&place).map_err(|error| {
            if error.error.kind() == ErrorKind::AlreadyExists {
                exists(target)
            } else {
                told(error.error)
            }
        })?;
    }
    Ok(())
}

/// Gives the temporary file the permissions of any new file, less the umask. On Windows a file has
/// the permissions of its folder.
fn as_a_plain_file(builder: &mut tempfile::Builder) {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        builder.permissions(std::fs::Permissions::from_mode(0o666));
    }
    #[cfg(not(unix))]
    let _ = builder;
}

/// Writes bytes as a whole file.
///
/// # Errors
/// The same as of [`write_file`].
pub(crate) fn write_bytes(target: &Path, force: bool, bytes: &[u8]) -> Result<(), Failure> {
    write_file(target, force, |file| {
        file.write_all(bytes)
            .map_err(|error| cannot_write(target, &error))
    })
}

/// A temporary folder beside the target, which is removed when dropped. It is on the target's file
/// system, so that a rename or a hard link to the target works.
///
/// # Errors
/// The target's folder cannot be written.
pub(crate) fn work_beside(target: &Path) -> Result<tempfile::TempDir, Failure> {
    tempfile::Builder::new()
        .prefix(".gracerung-")
        .tempdir_in(folder_of(target))
        .map_err(|error| cannot_write(target, &error))
}

fn folder_of(target: &Path) -> &Path {
    match target.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::wording::is_unseen;

    #[test]
    fn json_keeps_its_meaning_without_a_sign_that_is_not_seen() {
        let text = "an escape \u{1b}, a reset \u{9b}c, turned \u{202e}, a tag \u{e0041}";
        let json = serde_json::to_string(text).expect("JSON");
        let escaped = escaped_json(&json);
        assert!(!escaped.contains(is_unseen), "{escaped}");
        let back: String = serde_json::from_str(&escaped).expect("JSON");
        assert_eq!(back, text);
    }

    #[test]
    fn a_file_that_exists_is_left_alone_without_force() {
        let folder = tempfile::tempdir().expect("a folder");
        let target = folder.path().join("x");
        write_bytes(&target, false, b"one").expect("it is new");
        assert!(write_bytes(&target, false, b"two").is_err());
        assert_eq!(std::fs::read(&target).expect("it is there"), b"one");
        write_bytes(&target, true, b"two").expect("forced");
        assert_eq!(std::fs::read(&target).expect("it is there"), b"two");
        assert_eq!(
            std::fs::read_dir(folder.path()).expect("a folder").count(),
            1
        );
    }

    /// The sentence must contain neither the name of the temporary file nor the system's error
    /// number.
    #[cfg(target_os = "linux")]
    #[test]
    fn what_cannot_be_written_is_told_without_what_it_was_tried_with() {
        let told = |target: &str| {
            let Failure(told) = write_bytes(Path::new(target), false, b"x").expect_err(target);
            told
        };
        assert_eq!(
            told("/proc/x.pdf"),
            "cannot write `/proc/x.pdf`: new files cannot be made in that folder"
        );
        assert_eq!(
            told("/proc/no/x.pdf"),
            "cannot write `/proc/no/x.pdf`: the folder `/proc/no` does not exist; make it first"
        );
        assert_eq!(
            told("/dev/full"),
            "cannot write `/dev/full`: no space left on device"
        );
        let Failure(told) = work_beside(Path::new("/proc/x")).expect_err("no folder");
        assert!(told.starts_with("cannot write `/proc/x`: "), "{told}");
        assert!(!told.contains(".gracerung"), "{told}");
    }

    /// `-o /dev/full --force` run by a superuser must not replace the device, and a symbolic link's
    /// target must be written.
    #[cfg(unix)]
    #[test]
    fn devices_are_written_into_and_links_are_followed() {
        assert!(write_bytes(Path::new("/dev/null"), false, b"gone").is_ok());
        let kind = std::fs::metadata("/dev/null").expect("it is there");
        assert!(!kind.is_file());
        let folder = tempfile::tempdir().expect("a folder");
        let (file, link) = (folder.path().join("file"), folder.path().join("link"));
        std::fs::write(&file, "one").expect("written");
        std::os::unix::fs::symlink(&file, &link).expect("a link");
        assert!(write_bytes(&link, false, b"two").is_err());
        write_bytes(&link, true, b"two").expect("forced");
        assert_eq!(std::fs::read(&file).expect("it is there"), b"two");
        let kind = std::fs::symlink_metadata(&link).expect("it is there");
        assert!(kind.is_symlink());
    }

    #[test]
    fn a_failure_while_writing_leaves_nothing_behind() {
        let folder = tempfile::tempdir().expect("a folder");
        let target = folder.path().join("x");
        let failed = write_file(&target, false, |_| Err(Failure("full".to_owned())));
        assert!(failed.is_err());
        assert_eq!(
            std::fs::read_dir(folder.path()).expect("a folder").count(),
            0
        );
        assert!(write_bytes(&folder.path().join("no/x"), false, b"").is_err());
    }
}
