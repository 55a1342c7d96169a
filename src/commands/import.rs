//! `import`: makes a drill of another program's file.

use super::{Outcome, Ran, arguments, book, book::Book, export::format_of};
use crate::drill::{render, write};
use crate::exchange::{Format, LARGEST_FILE, abc, read, text_of};
use crate::services::{Failure, files::read_bytes, output, told};
use crate::wording;
use std::path::PathBuf;

/// Arguments of `import`.
#[derive(clap::Args)]
#[command(after_help = "Examples:\n  gracerung import tune.abc -o tune.yaml\n  \
    gracerung import march.musicxml -o march.yaml\n  \
    gracerung import book.abc --tune 12 -o twelfth.yaml\n  \
    gracerung import two-four.abc --kind march -o two-four.yaml\n  \
    gracerung import book.abc -o book/\n  \
    gracerung import folder-of-tunes -o drills/\n\n\
    An ABC file of several tunes becomes one drill with a stage for each, unless --tune takes one. Into\n\
    a folder each tune becomes a drill of its own, named after its title, with one report for all.\n\
    What a drill cannot hold is told with what was done about it.\n\
    Exit 0: imported as it stands. Exit 1: imported with changes, each told. Exit 2: not imported.")]
pub(crate) struct Arguments {
    /// FILE.abc, FILE.mid, FILE.musicxml or FILE.mxl, or a folder of such files.
    #[arg(value_name = "FILE")]
    file: PathBuf,
    /// Of an ABC file, the tune with this number (`X:`) alone.
    #[arg(long, value_name = "NUMBER")]
    tune: Option<u32>,
    /// What kind of tune it is, such as march or reel, in the place of what the file says: it tells a
    /// birl from a hiharin and says how the tune is pointed.
    #[arg(long, value_name = "KIND", value_parser = arguments::name)]
    kind: Option<String>,
    /// Where to write the drill; a folder, named with `/` at its end, for a drill of each tune.
    #[arg(short, long, value_name = "DRILL.yaml")]
    output: PathBuf,
    /// Replace a file that exists.
    #[arg(long)]
    force: bool,
}

/// Runs `import`.
pub(crate) fn run(arguments: &Arguments) -> Ran {
    if is_folder_meant(arguments) {
        if arguments.tune.is_some() {
            return Err(Failure(
                "`--tune` takes one tune: write it to a file that ends in .yaml".to_owned(),
            ));
        }
        return book::run(&Book {
            file: &arguments.file,
            kind: arguments.kind.as_deref(),
            folder: &arguments.output,
            force: arguments.force,
        });
    }
    let format = format_of(&arguments.file)?;
    if arguments.tune.is_some() && format != Format::Abc {
        return Err(Failure(format!(
            "`--tune` takes a tune out of an ABC file; `{}` is none",
            arguments.file.display()
        )));
    }
    output::named(&arguments.output, &["yaml", "yml"])?;
    output::ready_to_write(&arguments.output, arguments.force)?;
    let bytes = read_bytes(&arguments.file, LARGEST_FILE)?;
    let (piece, problems) = match format {
        Format::Abc => abc::read_tune(&bytes, arguments.tune),
        _ => read(format, &bytes),
    };
    let (piece, problems) = match (piece, arguments.kind.as_deref()) {
        (Some(piece), Some(kind)) => {
            let (piece, problems) = piece.of_kind(kind, problems);
            (Some(piece), problems)
        }
        (piece, _) => (piece, problems),
    };
    let shown = arguments.file.display().to_string();
    let told = render(&shown, &text_of(format, &bytes), &problems);
    let Some(piece) = piece else {
        return Err(Failure(format!("`{shown}` was not imported:\n{told}")));
    };
    let document = piece.document();
    let text = write(&document).map_err(Failure)?;
    output::write_bytes(&arguments.output, arguments.force, text.as_bytes())?;
    let stages = document.stages.as_ref().map_or(1, Vec::len);
    let stages = wording::count(stages, "stage", "stages");
    output::wrote(&arguments.output, &format!("{}, {stages}", document.title))?;
    if problems.is_empty() {
        return Ok(Outcome::Done);
    }
    output::complain(&format!("imported with changes:\n{told}"));
    if arguments.tune.is_none() {
        // remember that the notes on this file were shown, so that other commands do not repeat
        // them
        let _ = told::is_new(&text_of(format, &bytes));
    }
    Ok(Outcome::Findings)
}

/// True where the target is a folder, so that every tune becomes a drill of its own.
fn is_folder_meant(arguments: &Arguments) -> bool {
    let target = arguments.output.to_string_lossy();
    let named = target.ends_with(std::path::is_separator);
    named || arguments.file.is_dir() || arguments.output.is_dir()
}
